"""Figures of a screened folder: the most suspicious logs, and vehicles over time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.forest import TONE_MARKERS, TONES, Row, forest, shorten
from airsense.report.figures.style import SKEW, SOFT, new_figure, percent_axis, zero_line
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval, say, tone

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# As many as one picture holds.
MOST_LOGS = 25
MOST_VEHICLES = 6


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a screen."""
    found = []
    answered = [row for row in result.logs if row.sensor_error is not None][:MOST_LOGS]
    if answered:
        found.append(_logs_picture(answered, len(result.logs)))
    dated = [v for v in result.vehicles if v.line][:MOST_VEHICLES]
    if dated:
        found.append(_drift_picture(dated))
    return tuple(found)


def _logs_picture(logs: Sequence[Node], total: int) -> Picture:
    rows = [
        Row(
            label=log.log,
            interval=log.sensor_error,
            colour=TONES[tone(log.outcome)],
            marker=TONE_MARKERS[tone(log.outcome)],
            hollow=tone(log.outcome) == "open",
        )
        for log in logs
    ]
    return Picture(
        name="logs",
        title="The most suspicious logs",
        caption="Sensor's error with its 95 % interval, worst first. Cross: implausible; diamond: "
        "undetermined; dot: plausible.",
        alt=f"{len(rows)} of {total} logs: "
        + "; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows[:5]),
        draw=lambda: forest(rows, "sensor error in %"),
    )


def _drift_picture(vehicles: Sequence[Node]) -> Picture:
    return Picture(
        name="drift",
        title="Vehicles over time",
        caption="Sensor's error against one route, log by log, with the line through them. The "
        "whiskers hold only what the logs of a vehicle do not share.",
        alt="; ".join(
            f"{v.vehicle}: {say(v.drift)}, {percent_interval(v.change)}" for v in vehicles
        ),
        draw=lambda: _draw_drift(vehicles),
    )


def _draw_drift(vehicles: Sequence[Node]) -> Figure:
    from matplotlib.dates import AutoDateLocator

    columns = min(len(vehicles), 2)
    lines = -(-len(vehicles) // columns)
    figure = new_figure(0.7 + 1.9 * lines)
    panels = figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)
    for k, panel in enumerate(panels.flat):
        if k >= len(vehicles):
            panel.set_visible(False)
            continue
        vehicle = vehicles[k]
        zero_line(panel)
        error = [p.sensor_error for p in vehicle.points]
        panel.errorbar(
            [_day(p.started) for p in vehicle.points],
            [e.value for e in error],
            [[e.value - e.low for e in error], [e.high - e.value for e in error]],
            fmt="o",
            color=SKEW,
            ecolor=SOFT,
            elinewidth=0.9,
        )
        panel.plot(
            [_day(end.started) for end in vehicle.line],
            [end.sensor_error for end in vehicle.line],
            "-",
            color=SKEW,
        )
        panel.set_title(shorten(vehicle.vehicle or "no vehicle named", 26))
        percent_axis(panel)
        if k % columns == 0:
            panel.set_ylabel("sensor error in %")
    # Untyped in matplotlib; few marks, since a panel is narrow.
    panels[0, 0].xaxis.set_major_locator(AutoDateLocator(minticks=2, maxticks=4))  # type: ignore[no-untyped-call]
    return figure


def _day(started: str) -> datetime:
    return datetime.fromisoformat(started).replace(tzinfo=None)
