"""The rescale result as text: on the terminal, and as the note beside a new table."""

from __future__ import annotations

import io
from collections.abc import Iterator

from rich.console import Console
from rich.table import Table

from airsense.report.text_parts import plain_table
from airsense.report.units_shown import Shown
from airsense.results import Severity
from airsense.transfer.cells import Cell, Support
from airsense.transfer.result import RescaleResult

NOTE_WIDTH = 100


def render(result: RescaleResult, console: Console, units: str | None) -> None:
    """Print the short answer."""
    console.print(result.sentence, markup=False)
    console.print(_cells(result, units))
    for line in _lines(result):
        console.print(line, markup=False)


def note(result: RescaleResult, units: str | None) -> str:
    """Return what is written beside the new table, as plain text."""
    stream = io.StringIO()
    console = Console(file=stream, width=NOTE_WIDTH, color_system=None, highlight=False)
    console.print(f"airsense {result.version}, rescale, engine: {result.engine}", markup=False)
    for file in result.inputs:
        console.print(f"{file.role}: {file.path} sha256 {file.sha256}", markup=False)
    render(result, console, units)
    return stream.getvalue()


def _cells(result: RescaleResult, units: str | None) -> Table:
    shown = Shown(units or result.units_read)
    unit = shown.unit("kg/s")
    numbers = (
        f"signal {result.signal_unit}",
        f"old {unit}",
        f"new {unit}",
        "correction",
        "95 % interval",
        "samples",
    )
    table = plain_table(*numbers, "support", right=numbers)
    for cell in result.cells:
        table.add_row(*_row(cell, shown))
    return table


def _row(cell: Cell, shown: Shown) -> Iterator[str]:
    yield f"{cell.signal:g}"
    yield f"{shown.number(cell.flow_old, 'kg/s'):.2f}"
    yield f"{shown.number(cell.flow_new, 'kg/s'):.2f}"
    yield f"{100.0 * (cell.correction - 1.0):+.1f} %"
    yield f"{100.0 * (cell.low - 1.0):+.1f} to {100.0 * (cell.high - 1.0):+.1f} %"
    yield str(cell.samples)
    yield cell.support.value


def _lines(result: RescaleResult) -> Iterator[str]:
    measured = sum(c.support is Support.MEASURED for c in result.cells)
    yield (
        f"{result.runs} runs, {result.baseline_runs} baseline runs; {measured} of "
        f"{len(result.cells)} breakpoints measured."
    )
    left_out = (
        ""
        if result.residual_left_out != result.residual_left_out
        else f", {_percent(result.residual_left_out)} on runs left out of the fit"
    )
    yield (
        f"Disagreement with the true flow (root mean square): {_percent(result.residual_before)} "
        f"before, {_percent(result.residual_after)} after{left_out}."
    )
    for route in result.routes:
        yield f"route {route.method}: {'used' if route.used else 'not used: ' + route.reason}"
    if result.equivalent_bore_m is not None:
        bore = result.equivalent_bore_m
        yield (
            f"equivalent bore: {bore.value * 1e3:.1f} mm "
            f"({bore.low * 1e3:.1f} to {bore.high * 1e3:.1f})"
        )
    order = (Severity.ERROR, Severity.WARNING, Severity.INFO)
    for finding in sorted(result.findings, key=lambda f: order.index(f.severity)):
        where = f" ({finding.where})" if finding.where else ""
        yield f"{finding.severity.value}: {finding.message}{where}. To do: {finding.fix}."
    for assumption in result.assumptions:
        yield f"assumed: {assumption.quantity}: {assumption.value} ({assumption.source})"
    for caution in result.cautions:
        yield f"caution: {caution}"


def _percent(fraction: float) -> str:
    return f"{100.0 * fraction:.2f} %"
