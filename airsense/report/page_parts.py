"""Pieces of a page: what stands in it, without how it looks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    cause,
    number,
    percent,
    percent_range,
    probability,
    say,
)
from airsense.results import Interval

LONG_CELL = 36


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of a page. Columns whose title is in `numbers` are flush right."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[str] = frozenset()
    note: str = ""

    @property
    def wordy(self) -> bool:
        """Whether a cell holds a sentence: such rows are stacked on a phone."""
        return any(len(cell) > LONG_CELL for row in self.rows for cell in row)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyFigure:
    """A number that the first screen shows large: label, value, interval."""

    label: str
    value: str
    interval: str


def table(
    title: str,
    columns: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Iterable[str] = (),
    note: str = "",
) -> Table:
    """Return a table from any sequences."""
    return Table(
        title=title,
        columns=tuple(columns),
        rows=tuple(tuple(row) for row in rows),
        numbers=frozenset(numbers),
        note=note,
    )


def key_change(label: str, interval: Interval | None) -> KeyFigure | None:
    """Return a change as a key figure, or None if the result lacks it."""
    if interval is None:
        return None
    return KeyFigure(label=label, value=percent(interval.value), interval=percent_range(interval))


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


def routes_table(estimates: Iterable[Node], value: str) -> Table:
    """Return what each route says, whether it was used, and why; `value` heads its figure."""
    given = tuple(estimates)
    tested = any(row.test_z is not None for row in given)
    numbers = (value, "95 % interval", *(("test z", "weight") if tested else ()))
    rows = []
    for row in given:
        interval = row.change if row.change is not None else row.sensor_error
        test = (number(row.test_z, 2), percent(row.weight, 0, sign=False)) if tested else ()
        rows.append(
            (
                say(row.method),
                NOTHING if interval is None else percent(interval.value),
                percent_range(interval),
                *test,
                "yes" if row.used else "no",
                row.reason or "",
            )
        )
    note = "A |z| above about 2.6 means that a route disagrees with the others by more than chance."
    return table(
        "Routes to the air flow",
        ("route", *numbers, "used", "why"),
        rows,
        numbers=numbers,
        note=note if tested else "",
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
                percent_range(row.size),
                ", ".join(cause(name) for name in row.not_separable_from or ()),
            )
            for row in causes
        ),
        numbers=numbers,
    )


def budget_table(budget: Iterable[Node], *, of: str) -> Table:
    """Return the uncertainty budget, in the order of the result."""
    rows = tuple(budget)
    with_share = any(row.share is not None for row in rows)
    numbers = ("standard uncertainty", "share of variance" if with_share else "degrees of freedom")
    return table(
        f"Uncertainty budget of {of}",
        ("component", *numbers),
        (
            (
                row.label,
                percent(row.u, 2, sign=False),
                percent(row.share, 0, sign=False) if with_share else number(row.dof, 3),
            )
            for row in rows
        ),
        numbers=numbers,
        note="Standard uncertainties (k = 1), as a part of the flow; combined after JCGM 100.",
    )


def findings_table(findings: Iterable[Node] | None) -> Table:
    """Return what was seen in logs and setup, with the remedy."""
    return table(
        "Seen in the data",
        ("severity", "finding", "where", "what to do"),
        ((f.severity, f.message, f.where or "", f.fix) for f in findings or ()),
    )


def assumptions_table(assumptions: Iterable[Node] | None) -> Table:
    """Return what was assumed, and on whose word."""
    return table(
        "Assumed, not measured here",
        ("quantity", "value", "source"),
        ((a.quantity, a.value, a.source) for a in assumptions or ()),
    )


def inputs_table(inputs: Iterable[Node] | None) -> Table:
    """Return the input files with their checksums."""
    return table(
        "Input files",
        ("role", "file", "SHA-256"),
        ((f.role or "", f.path, f.sha256 or "") for f in inputs or ()),
    )


def channels_table(channels: Iterable[Node] | None) -> Table:
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
            for c in channels or ()
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
