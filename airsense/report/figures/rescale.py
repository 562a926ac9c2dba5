"""Figures of a rescaled transfer table."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.style import (
    AFTER,
    BEFORE,
    OPEN,
    SKEW,
    interval_band,
    new_figure,
    percent_axis,
    zero_line,
)
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval
from airsense.results import Interval

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# (support, marker, hollow): a held breakpoint is no measurement and must not look like one.
_SUPPORT = (("measured", "o", False), ("interpolated", "^", False), ("held", "o", True))


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a rescaled table; none if no table could be given."""
    cells = sorted(result.cells, key=lambda c: c.signal)  # a file may hold them in any order
    if any(c.low is None or c.low != c.low for c in cells):
        return ()
    counts = ", ".join(f"{sum(c.support == name for c in cells)} {name}" for name, *_ in _SUPPORT)
    return (
        Picture(
            name="table",
            title="Transfer table, old and new",
            caption="Full dots: measured breakpoints; triangles: between measured ones; hollow "
            "dots: held, they carry the mean factor and no measurement.",
            alt=f"Air mass flow against signal for the old and the new table; {counts}.",
            draw=lambda: _draw_table(cells, result.signal_unit, shown),
        ),
        Picture(
            name="correction",
            title="Correction at each breakpoint, and what supports it",
            caption="New over old flow, with its 95 % interval. Below: samples at each breakpoint; "
            "where there are none, the correction is carried over.",
            alt=f"Correction in per cent against signal with interval; {counts}; mean "
            f"{percent_interval(less_one(result.scale))}.",
            draw=lambda: _draw_correction(cells, result.signal_unit),
        ),
    )


def less_one(factor: Interval) -> Interval:
    """Return a factor as a change: 1.05 is shown as +5 %."""
    return Interval(factor.value - 1.0, factor.low - 1.0, factor.high - 1.0)


def _draw_table(cells: Sequence[Node], signal_unit: str, shown: Shown) -> Figure:
    figure = new_figure(3.2)
    axes = figure.add_subplot()
    signal = [c.signal for c in cells]
    axes.plot(
        signal,
        [shown.number(c.flow_old, "kg/s") for c in cells],
        "--",
        color=BEFORE,
        label="old",
    )
    new = [shown.number(c.flow_new, "kg/s") for c in cells]
    axes.plot(signal, new, "-", color=AFTER, label="new")
    _draw_support(axes, cells, new)
    axes.set_xlabel(f"sensor signal, {signal_unit}")
    axes.set_ylabel(f"air mass flow, {shown.unit('kg/s')}")
    axes.legend(loc="upper left" if new[-1] > new[0] else "upper right")
    return figure


def _draw_support(axes: Axes, cells: Sequence[Node], y: Sequence[float]) -> None:
    for name, marker, hollow in _SUPPORT:
        chosen = [k for k, c in enumerate(cells) if c.support == name]
        if chosen:
            axes.plot(
                [cells[k].signal for k in chosen],
                [y[k] for k in chosen],
                marker=marker,
                linestyle="none",
                color=AFTER,
                markerfacecolor="white" if hollow else AFTER,
                label=name,
                zorder=3,
            )


def _draw_correction(cells: Sequence[Node], signal_unit: str) -> Figure:
    figure = new_figure(3.7)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
    signal = [c.signal for c in cells]
    zero_line(top)
    change = [less_one(Interval(c.correction, c.low, c.high)) for c in cells]
    interval_band(top, signal, change, SKEW, "-")
    _draw_support(top, cells, [c.value for c in change])
    percent_axis(top)
    top.set_ylabel("correction in %")
    figure.legend(*top.get_legend_handles_labels(), loc="outside upper right", ncols=3)
    width = 0.7 * min(b - a for a, b in pairwise(signal) if b > a)
    bottom.bar(signal, [c.samples for c in cells], width, color=OPEN)
    bottom.set_ylabel("samples")
    bottom.set_xlabel(f"sensor signal, {signal_unit}")
    return figure
