"""Figure of a change of bore."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.rescale import less_one
from airsense.report.figures.style import (
    SKEW,
    SOFT,
    interval_band,
    new_figure,
    percent_axis,
    zero_line,
)
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figure of a change of bore; none without a second bore."""
    points = [p for p in result.by_flow or () if p.reading_factor is not None]
    if not points:
        return ()
    return (
        Picture(
            name="reading",
            title="Reading against true flow after the change of bore",
            caption="What geometry alone does to the reading. Band: over profile models and the "
            "uncertainty of the bores, 95 %; dashed: the ratio of the areas.",
            alt="Change of reading against air mass flow: "
            + "; ".join(percent_interval(less_one(p.reading_factor)) for p in points),
            draw=lambda: _draw(points, result.area_factor, shown),
        ),
    )


def _draw(points: Sequence[Node], area_factor: float | None, shown: Shown) -> Figure:
    figure = new_figure(2.8)
    axes = figure.add_subplot()
    zero_line(axes)
    interval_band(
        axes,
        [shown.number(p.flow_kgps, "kg/s") for p in points],
        [less_one(p.reading_factor) for p in points],
        SKEW,
        "-s",
        label="reading",
    )
    if area_factor is not None:
        axes.axhline(area_factor - 1.0, color=SOFT, linestyle="--", label="ratio of the areas")
    percent_axis(axes)
    axes.set_xlabel(f"air mass flow, {shown.unit('kg/s')}")
    axes.set_ylabel("change of reading in %")
    figure.legend(loc="outside upper right", ncols=2)
    return figure
