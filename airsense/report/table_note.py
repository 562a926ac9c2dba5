"""The note beside a new table: what supports it, and what to mind, as plain text."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rich.console import Console

from airsense.report.text import render

if TYPE_CHECKING:
    from airsense.jobs.rescaling.result import RescaleResult

# A line that any editor shows.
NOTE_WIDTH = 100


def note(result: RescaleResult, units: str | None) -> str:
    """Return what is written beside the new table."""
    stream = io.StringIO()
    console = Console(file=stream, width=NOTE_WIDTH, color_system=None, highlight=False)
    console.print(f"airsense {result.version}, rescale, engine: {result.engine}", markup=False)
    for file in result.inputs:
        console.print(f"{file.role}: {file.path} sha256 {file.sha256}", markup=False)
    render(result, console, units, everything=True)
    return stream.getvalue()
