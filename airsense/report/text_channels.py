"""The readable answer of `airsense channels`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.jobs.channels import ChannelRow, ChannelsResult


def render(result: ChannelsResult, console: Console, units: str | None) -> None:
    """Print the channels, then what is ignored, then the findings."""
    started = f", started {result.started}" if result.started else ""
    console.print(
        f"{escape(result.log)}: read as {result.reader}, {result.duration_s:.1f} s{escape(started)}"
    )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("header", "channel", "rate", "range", "step", "recognised by"):
        table.add_column(title, overflow="fold", no_wrap=title == "channel")
    for row in result.channels:
        table.add_row(*(escape(cell) for cell in _cells(row)))
    console.print(table if result.channels else "no channel recognised")
    if result.ignored:
        console.print(f"ignored: {escape(', '.join(result.ignored))}")
    for finding in result.findings:
        place = f" ({finding.where})" if finding.where else ""
        console.print(
            escape(f"{finding.severity.value}: {finding.message}{place}; {finding.fix}"),
            soft_wrap=True,
        )


def _cells(row: ChannelRow) -> tuple[str, ...]:
    return (
        row.header,
        row.name,
        f"{row.rate_hz:.3g} Hz" if row.samples > 1 else "one sample",
        f"{row.low_read:.4g} to {row.high_read:.4g} {row.unit_read}",
        f"{row.resolution_read:.2g}",
        row.recognised_by,
    )
