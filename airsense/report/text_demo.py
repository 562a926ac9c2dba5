"""The demo as text: the three answers, then the truth that the simulator knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console

from airsense.report.text_audit import render as render_audit
from airsense.report.text_compare import render as render_compare
from airsense.report.text_rescale import render as render_rescale

if TYPE_CHECKING:
    from airsense.jobs.demo import DemoResult


def render(result: DemoResult, console: Console, units: str | None) -> None:
    """Print the three answers and the truth."""
    console.print(f"Scenario written to {result.folder}: an invented engine, invented figures.\n")
    console.rule("compare: is the gain real?")
    render_compare(result.compare, console, units)
    console.rule("rescale: the table that reads true")
    render_rescale(result.rescale, console, units)
    console.rule("audit: do the printed figures hold?")
    render_audit(result.audit, console, units)
    console.rule("what the simulator knows")
    for row in result.truth:
        where = "inside" if row.inside else "OUTSIDE"
        console.print(
            f"{row.quantity}: truth {100 * row.truth:+.1f} %, {where} the interval "
            f"{100 * row.low:+.1f} to {100 * row.high:+.1f} %"
        )
