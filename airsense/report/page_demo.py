"""What the page of the demo shows: its comparison, held against the truth of the simulator."""

from __future__ import annotations

from airsense.report import page_compare
from airsense.report.node import Node
from airsense.report.page_parts import KeyFigure, Table, table
from airsense.report.units_shown import Shown
from airsense.report.words import percent


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the key figures of the comparison."""
    return page_compare.keys(result.compare)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return the truth beside the answers, then the comparison's tables."""
    numbers = ("truth", "lower bound", "upper bound")
    truth = table(
        "What the simulator knows",
        ("quantity", *numbers, "inside the interval"),
        (
            (
                row.quantity,
                percent(row.truth),
                percent(row.low),
                percent(row.high),
                "yes" if row.inside else "no",
            )
            for row in result.truth
        ),
        numbers=numbers,
        note="An invented engine with invented figures, made by the simulator in this package.",
    )
    return (truth, *page_compare.evidence(result.compare, shown))


def method(result: Node) -> tuple[Table, ...]:
    """Return the method's tables of the comparison."""
    return page_compare.method(result.compare)
