"""What a change of bore says."""

from __future__ import annotations

from airsense.report.blocks import Block, Table, table
from airsense.report.figures.rescale import less_one
from airsense.report.node import Node
from airsense.report.says.shared import answered, caveat_of, laid_out
from airsense.report.tables import changes_table, interval_text, quantity
from airsense.report.units_shown import Shown
from airsense.report.words import number, percent, percent_interval, percent_range


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return the reading factor, the geometry and the reading by flow."""
    factor = result.reading_factor
    change = None if factor is None else less_one(factor)
    answer = answered(
        "What does the change of bore alone do to the reading?",
        result.sentence,
        keys=()
        if change is None
        else (("change of reading", percent(change.value), percent_range(change)),),
        but=caveat_of(result.findings)
        or "Geometry alone: bends, filters and steps ahead of the sensor add to it.",
        measure_next="Run before and after with independent routes logged, and compare.",
    )
    return laid_out(result, shown, answer, _tables(result, shown))


def _tables(result: Node, shown: Shown) -> tuple[Table, ...]:
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
