"""Intervals side by side: one row a route, quantity, configuration or log."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from airsense.report.figures.style import (
    BAD,
    GOOD,
    INK,
    OPEN,
    margin_band,
    new_figure,
    percent_axis,
    zero_line,
)
from airsense.results import Interval

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Inches a row.
ROW_IN = 0.3
TONES = {"good": GOOD, "bad": BAD, "open": OPEN}
TONE_MARKERS = {"good": "o", "bad": "X", "open": "D"}
# Letters that fit beside the axis.
LABEL_WIDTH = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One interval with its label and look."""

    label: str
    interval: Interval
    colour: str = INK
    marker: str = "o"
    hollow: bool = False
    group: str = ""


def shorten(text: str, most: int = LABEL_WIDTH) -> str:
    """Return a label of one line that fits beside an axis."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def in_lines(text: str, width: int = LABEL_WIDTH, lines: int = 2) -> str:
    """Return a label broken into lines that fit beside an axis."""
    return "\n".join(
        textwrap.wrap(" ".join(text.split()), width, max_lines=lines, placeholder=" …")
    )


def forest(
    rows: Sequence[Row], label: str, *, margin: float | None = None, band_label: str = ""
) -> Figure:
    """Return a figure of intervals in per cent, first row on top, a gap between groups."""
    labels = [in_lines(row.label, lines=3) for row in rows]
    positions = _positions(rows, labels)
    figure = new_figure(max(1.7, 0.85 + ROW_IN * (1.0 - min(positions))))
    axes = figure.add_subplot()
    margin_band(axes, margin, axis="x")
    zero_line(axes, axis="x")
    for row, y in zip(rows, positions, strict=True):
        _draw_row(axes, row, y)
    axes.set_yticks(positions, labels)
    axes.set_ylim(min(positions) - 0.7, 0.7)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
    percent_axis(axes, axis="x")
    axes.set_xlabel(label + (f" (shaded: {band_label})" if margin and band_label else ""))
    return figure


def _positions(rows: Sequence[Row], labels: Sequence[str]) -> list[float]:
    positions: list[float] = []
    y = 0.0
    for k, row in enumerate(rows):
        if k:
            y -= 1.0 if row.group == rows[k - 1].group else 1.7
            y -= 0.25 * (labels[k].count("\n") + labels[k - 1].count("\n"))
        positions.append(y)
    return positions


def _draw_row(axes: Axes, row: Row, y: float) -> None:
    interval = row.interval
    if math.isfinite(interval.low + interval.high):
        axes.plot([interval.low, interval.high], [y, y], color=row.colour, linewidth=2.2)
    axes.plot(
        [interval.value],
        [y],
        marker=row.marker,
        color=row.colour,
        markersize=6.5,
        markerfacecolor="white" if row.hollow else row.colour,
        linestyle="none",
    )
