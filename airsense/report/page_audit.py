"""What the page of an audit shows beside figures."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.headline import claim_of
from airsense.report.node import Node
from airsense.report.page_parts import (
    KeyFigure,
    Table,
    interval_text,
    key_change,
    table,
)
from airsense.report.units_shown import Shown
from airsense.report.words import (
    number,
    percent_interval,
    say,
)
from airsense.results import Interval


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the claimed change of each claim."""
    return tuple(
        () if (key := key_change("printed change", v.change)) is None else (key,)
        for v in result.verdicts or ()
    ) or ((),)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return claims, findings, what to ask for, and the power corrections."""
    found = [
        table(
            "Claims",
            ("claim", "verdict", "printed change", "why"),
            (
                (claim_of(v), say(v.verdict), percent_interval(v.change), v.sentence)
                for v in result.verdicts or ()
            ),
            numbers=("printed change",),
        ),
        table(
            "Checks",
            ("outcome", "check", "subject", "finding", "what would settle it"),
            (
                (f.outcome, say(f.check), f.subject, f.sentence, f.settle_by)
                for f in result.findings or ()
            ),
        ),
        table(
            "Measured and expected",
            ("check", "subject", "printed", "sound", "difference"),
            (
                (
                    say(f.check),
                    f.subject,
                    _measured(f.measured, f.unit, shown),
                    _measured(f.expected, f.unit, shown),
                    _measured(f.difference, f.unit, shown),
                )
                for f in result.findings or ()
                if f.measured is not None or f.expected is not None
            ),
            numbers=("printed", "sound", "difference"),
        ),
        table(
            "Ask the publisher for",
            ("request", "why", "worth"),
            ((a.request, a.reason, number(a.worth, 2)) for a in result.ask_the_publisher_for or ()),
            numbers=("worth",),
            note="Worth: open findings that hang on it, weighted; most telling first.",
        ),
    ]
    if result.corrections:
        found.append(_corrections_table(result.corrections))
    return tuple(found)


def _measured(interval: Interval | None, unit: str, shown: Shown) -> str:
    if interval is None:
        return "–"
    if unit == "fraction":
        return percent_interval(interval)
    if unit == "1":
        return f"{number(interval.value)} ({number(interval.low)} to {number(interval.high)})"
    return interval_text(interval, unit, shown, 3)


def _corrections_table(rows: Iterable[Node]) -> Table:
    return table(
        "Power correction by each text",
        ("configuration", "text", "factor", "fa", "fm", "allowed here"),
        (
            (
                r.configuration,
                r.text,
                number(r.factor, 5),
                number(r.fa, 5),
                number(r.fm, 4),
                "yes" if r.in_range else "no",
            )
            for r in rows
        ),
        numbers=("factor", "fa", "fm"),
    )


def method(result: Node) -> tuple[Table, ...]:
    """Return no tables of its own."""
    return ()
