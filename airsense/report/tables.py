"""Tables that several kinds of result share, and quantities in the units shown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from airsense.report.blocks import Table, table
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    cause,
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    say,
)
from airsense.results import Interval


def changes_table(title: str, rows: Iterable[tuple[str, Interval | None]], note: str = "") -> Table:
    """Return changes with their 95 % intervals; what the result lacks is left out."""
    numbers = ("change", "95 % interval")
    return table(
        title,
        ("quantity", *numbers),
        (
            (label, percent(interval.value), percent_range(interval))
            for label, interval in rows
            if interval is not None
        ),
        numbers=numbers,
        note=note,
    )


def routes_table(estimates: Iterable[Node], figures: Mapping[str, str]) -> Table:
    """Return what each route says, whether it was used, and why.

    `figures` names the key of each interval that is shown by the title of its column.
    """
    return table(
        "Routes to the air flow",
        ("route", *figures, "used", "why"),
        (
            (
                say(row.method),
                *(percent_interval(row[key]) for key in figures.values()),
                "yes" if row.used else "no",
                row.reason,
            )
            for row in estimates
        ),
        numbers=figures,
        note="In brackets the 95 % interval.",
    )


def causes_table(causes: Iterable[Node]) -> Table:
    """Return the causes with probability, size and look-alikes."""
    numbers = ("probability", "size if at work")
    return table(
        "Causes weighed",
        ("cause", *numbers, "not told apart from"),
        (
            (
                cause(row.cause),
                probability(row.probability),
                _size_text(row),
                ", ".join(map(cause, row.not_separable_from)),
            )
            for row in causes
        ),
        numbers=numbers,
    )


def _size_text(row: Node) -> str:
    if row.cause != "charge_temperature" or row.size is None:
        return percent_range(row.size)
    return f"{number(row.size.low, 2)} to {number(row.size.high, 2)} K"


def budget_table(budget: Iterable[Node], *, of: str) -> Table:
    """Return the uncertainty budget, in the order of the result."""
    rows = tuple(budget)
    known = (*rows, None)[0] or ()
    extra = next((title for key, title in _OF_BUDGET.items() if key in known), None)
    numbers = ("standard uncertainty", *((extra,) if extra else ()))
    return table(
        f"Uncertainty budget of {of}",
        ("component", *numbers),
        (
            (row.label, percent(row.u, 2, sign=False), *([_budget_cell(row)] if extra else []))
            for row in rows
        ),
        numbers=numbers,
        note="Standard uncertainties (k = 1), as a part of the flow; combined after JCGM 100.",
    )


_OF_BUDGET = {
    "averages_over_runs": "averages over runs",
    "share": "share of variance",
    "dof": "degrees of freedom",
}


def _budget_cell(row: Node) -> str:
    if "averages_over_runs" in row:
        return "yes" if row.averages_over_runs else "no"
    return percent(row.share, 0, sign=False) if "share" in row else number(row.dof, 3)


def findings_table(findings: Iterable[Node]) -> Table:
    """Return what was seen in logs and setup with the remedy, each once with all its places."""
    places: dict[tuple[str, str, str], list[str]] = {}
    for f in findings:
        places.setdefault((f.severity, f.message, f.fix), []).append(f.where or "")
    return table(
        "Seen in the data",
        ("severity", "finding", "where", "what to do"),
        (
            (severity, message, ", ".join(dict.fromkeys(filter(None, where))), fix)
            for (severity, message, fix), where in places.items()
        ),
    )


def assumptions_table(assumptions: Iterable[Node]) -> Table:
    """Return what was assumed, and on whose word."""
    return table(
        "Assumed, not measured here",
        ("quantity", "value", "source"),
        ((a.quantity, a.value, a.source) for a in assumptions),
    )


def inputs_table(inputs: Iterable[Node]) -> Table:
    """Return the input files with their checksums."""
    return table(
        "Input files",
        ("role", "file", "SHA-256"),
        ((f.role or "", f.path, f.sha256 or "") for f in inputs),
    )


def channels_table(channels: Iterable[Node]) -> Table:
    """Return what was recognised in the logs, in the units of the logs."""
    numbers = ("lowest", "highest", "step", "samples", "rate, Hz")
    return table(
        "Channels recognised",
        ("header", "channel", "unit", *numbers, "recognised by"),
        (
            (
                c.header,
                say(c.name),
                c.unit_read,
                number(c.low_read, 4),
                number(c.high_read, 4),
                number(c.resolution_read, 2),
                str(c.samples),
                number(c.rate_hz, 3),
                c.recognised_by,
            )
            for c in channels
        ),
        numbers=numbers,
    )


def quantity(value: float | None, canonical: str, shown: Shown, digits: int = 4) -> str:
    """Return a quantity in the unit shown, with its unit."""
    if value is None:
        return NOTHING
    return f"{number(shown.number(value, canonical), digits)} {shown.unit(canonical)}"


def interval_text(interval: Interval | None, canonical: str, shown: Shown, digits: int = 4) -> str:
    """Return 'value (low to high) unit' in the unit shown."""
    if interval is None:
        return NOTHING
    value, low, high = (
        number(shown.number(x, canonical), digits)
        for x in (interval.value, interval.low, interval.high)
    )
    return f"{value} ({low} to {high}) {shown.unit(canonical)}"
