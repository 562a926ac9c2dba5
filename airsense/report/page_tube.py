"""What the page of a change of bore shows beside figures."""

from __future__ import annotations

from airsense.report.blocks import Table, table
from airsense.report.figures_rescale import less_one
from airsense.report.node import Node
from airsense.report.page_parts import KeyFigure, changes_table, interval_text, key_change, quantity
from airsense.report.units_shown import Shown
from airsense.report.words import (
    number,
    percent,
    percent_interval,
)


def keys(result: Node) -> tuple[tuple[KeyFigure, ...], ...]:
    """Return the reading factor."""
    factor = result.reading_factor
    key = None if factor is None else key_change("change of reading", less_one(factor))
    return ((key,) if key is not None else (),)


def evidence(result: Node, shown: Shown) -> tuple[Table, ...]:
    """Return the geometry and the reading by flow."""
    rows = [("bore before", quantity(result.bore_before_m, "m", shown))]
    if result.bore_after_m is not None:
        rows.append(("bore after", quantity(result.bore_after_m, "m", shown)))
    if result.equivalent_bore_m is not None:
        rows.append(
            (
                "bore that would explain the skew",
                interval_text(result.equivalent_bore_m, "m", shown),
            )
        )
    if result.area_factor is not None:
        rows.append(("ratio of the areas alone", percent(result.area_factor - 1.0, 2)))
    found = [table("Geometry", ("what", "value"), rows, numbers=("value",))]
    if result.skew is not None:
        found.append(changes_table("Measured", (("sensor skew", result.skew),)))
    columns = (
        f"flow, {shown.unit('kg/s')}",
        "Reynolds number",
        "mean over centre velocity",
        "change of reading",
    )
    found.append(
        table(
            "By flow",
            columns,
            (
                (
                    number(shown.number(p.flow_kgps, "kg/s"), 4),
                    number(p.reynolds),
                    "–"
                    if p.mean_to_centre is None
                    else f"{number(p.mean_to_centre.low)} to {number(p.mean_to_centre.high)}",
                    "–"
                    if p.reading_factor is None
                    else percent_interval(less_one(p.reading_factor)),
                )
                for p in result.by_flow or ()
            ),
            numbers=columns,
        )
    )
    return tuple(found)


def method(result: Node) -> tuple[Table, ...]:
    """Return no tables of its own."""
    return ()
