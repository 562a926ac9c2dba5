"""The tube result as text."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table

from airsense.report.text_parts import plain_table
from airsense.report.units_shown import Shown
from airsense.results import Interval
from airsense.transfer.tube import TubeResult


def render(result: TubeResult, console: Console, units: str | None) -> None:
    """Print the short answer."""
    console.print(result.sentence)
    if result.area_factor is not None:
        console.print(f"Area ratio alone: {100.0 * (result.area_factor - 1.0):+.2f} %")
    if result.by_flow:
        console.print(_table(result, units))
    if result.equivalent_bore_m is not None and units == "us":
        bore = result.equivalent_bore_m
        inches = [Shown("us").number(x, "m") for x in (bore.value, bore.low, bore.high)]
        console.print("Equivalent bore: {:.3f} in ({:.3f} to {:.3f})".format(*inches))
    for finding in result.findings:
        console.print(f"{finding.severity.value}: {finding.message}. {finding.fix}.")
    for assumption in result.assumptions:
        console.print(f"assumed: {assumption.quantity}: {assumption.value} ({assumption.source})")
    for caution in result.cautions:
        console.print(f"caution: {caution}")


def _table(result: TubeResult, units: str | None) -> Table:
    shown = Shown(units or "si")
    titles = (f"flow {shown.unit('kg/s')}", "Reynolds", "mean/centre velocity", "reading")
    table = plain_table(*titles, right=titles)
    table.title = "Indicated over true flow, range over profile models and bores, 95 %"
    for point in result.by_flow:
        flow = shown.number(point.flow_kgps, "kg/s")
        table.add_row(
            f"{flow:.1f}",
            f"{point.reynolds:.3g}",
            _bounds(point.mean_to_centre, "{:.3f}", 1.0, 0.0),
            _bounds(point.reading_factor, "{:+.1f} %", 100.0, 1.0),
        )
    return table


def _bounds(interval: Interval, form: str, scale: float, less: float) -> str:
    if interval.value != interval.value:
        return "-"
    low, high = (form.format(scale * (x - less)) for x in (interval.low, interval.high))
    return f"{low} to {high}"
