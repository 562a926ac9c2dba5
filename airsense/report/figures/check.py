"""Figures of the check of one configuration."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.causes import causes_picture
from airsense.report.figures.flow import flow_pictures
from airsense.report.figures.forest import Row, forest
from airsense.report.figures.style import (
    OPEN,
    SKEW,
    interval_band,
    new_figure,
    percent_axis,
    speed_axis,
    zero_line,
)
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a check."""
    found = [_routes_picture(result)] if result.sensor_error is not None else []
    if result.by_speed:
        found.append(_speed_picture(result))
    if result.causes:
        found.append(causes_picture(result.causes))
    found.extend(flow_pictures(result.curves, shown))
    return tuple(found)


def _routes_picture(result: Node) -> Picture:
    rows = [
        Row(label=say(e.method), interval=e.sensor_error, colour=OPEN, hollow=not e.used)
        for e in result.estimates
        if e.sensor_error is not None
    ]
    rows.append(
        Row(
            label="all evidence",
            interval=result.sensor_error,
            colour=SKEW,
            marker="s",
            group="answer",
        )
    )
    return Picture(
        name="routes",
        title="Sensor's error by route",
        caption="The reading against each route that does not use the sensor, and against all of "
        "them. An interval that holds zero does not show an error. Lines are 95 % intervals.",
        alt="; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows),
        draw=lambda: forest(rows, "sensor error in %"),
    )


def _speed_picture(result: Node) -> Picture:
    return Picture(
        name="error-by-speed",
        title="Sensor's error by engine speed",
        caption="Flat: a factor. Sloped or bent: the curve of the sensor, a leak, or pulsation at "
        "low speed. Band: 95 % interval.",
        alt=f"Sensor error against engine speed, mean {percent_interval(result.sensor_error)}.",
        draw=lambda: _draw_speed(result.by_speed),
    )


def _draw_speed(rows: Sequence[Node]) -> Figure:
    figure = new_figure(2.6)
    axes = figure.add_subplot()
    zero_line(axes)
    interval_band(
        axes, [r.engine_speed_rpm for r in rows], [r.sensor_error for r in rows], SKEW, "-s"
    )
    percent_axis(axes)
    axes.set_ylabel("sensor error in %")
    speed_axis(axes)
    return figure
