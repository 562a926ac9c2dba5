"""Figures of a comparison."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figure_style import (
    AFTER,
    INDICATED,
    OPEN,
    SKEW,
    TRUE,
    interval_band,
    margin_band,
    new_figure,
    percent_axis,
    speed_axis,
    zero_line,
)
from airsense.report.figures_causes import causes_picture
from airsense.report.figures_flow import flow_pictures
from airsense.report.figures_forest import Row, forest
from airsense.report.headline import configuration
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent, percent_interval, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SENSOR = "mass_air_flow"
_TRUE_PARTS = (
    ("manifold_pressure", "from manifold pressure"),
    ("charge_temperature", "from charge temperature"),
    ("volumetric_efficiency", "from breathing (remainder)"),
)
_POWER_PARTS = (
    ("power_from_fuel", "power, from fuel"),
    ("power_from_efficiency", "power, from efficiency"),
)
_BOUNDS = (
    ("fuelling_feedback", "air that added fuel may bring"),
    ("restriction_ceiling", "most that less restriction gives"),
)


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a comparison: the overview of a campaign, each pair, then the runs."""
    found: list[Picture] = []
    many = len(result.pairs) > 1
    if many:
        found.append(_campaign_picture(result))
    for number, pair in enumerate(result.pairs, start=1):
        tail = f"-{number}" if many else ""
        found.extend(_pair_pictures(pair, result, shown, tail))
    found.extend(flow_pictures(result.curves, shown))
    return tuple(found)


def _pair_pictures(pair: Node, result: Node, shown: Shown, tail: str) -> list[Picture]:
    of = f" ({configuration(pair)})" if tail else ""
    found = [_routes_picture(pair, result.margin, tail, of), _split_picture(pair, tail, of)]
    found.append(_skew_picture(pair, result, shown, tail, of))
    rows = attribution_rows(pair)
    if rows:
        found.append(_attribution_picture(rows, pair, tail, of))
    if pair.causes:
        found.append(causes_picture(pair.causes, tail, of))
    return found


def _campaign_picture(result: Node) -> Picture:
    rows = []
    for pair in result.pairs:
        name = configuration(pair)
        for label, interval, colour, marker in (
            (f"{name}: engine's air", pair.airflow_change, TRUE, "o"),
            (f"{name}: reading", pair.sensor_skew, SKEW, "s"),
        ):
            rows.append(
                Row(label=label, interval=interval, colour=colour, marker=marker, group=name)
            )
    return Picture(
        name="campaign",
        title="All configurations",
        caption="For each configuration the change of the air that the engine breathes (dots) and "
        "that of the sensor's reading (squares), with 95 % intervals.",
        alt="; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows),
        draw=lambda: forest(rows, "change in %", margin=result.margin, band_label="the margin"),
    )


def _routes_picture(pair: Node, margin: float, tail: str, of: str) -> Picture:
    rows = [
        Row(
            label="sensor's indication",
            interval=pair.airflow_change_indicated,
            colour=INDICATED,
            marker="D",
        )
    ]
    rows += [
        Row(
            label=say(e.method) if e.used else f"{say(e.method)} (not used)",
            interval=e.change,
            colour=OPEN,
            hollow=not e.used,
            group="routes",
        )
        for e in pair.estimates
        if e.change is not None and e.method != SENSOR
    ]
    rows += [
        Row(
            label="engine's air, all evidence",
            interval=pair.airflow_change,
            colour=TRUE,
            group="answer",
        ),
        Row(
            label="sensor's reading (skew)",
            interval=pair.sensor_skew,
            colour=SKEW,
            marker="s",
            group="answer",
        ),
    ]
    return Picture(
        name=f"routes{tail}",
        title=f"What each route says of the change{of}",
        caption="The routes that do not use the sensor (grey) bound the true change; where the "
        "sensor's indication (diamond) lies beside them, its reading changed. Lines are 95 % "
        "intervals.",
        alt="; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows),
        draw=lambda: forest(rows, "change in %", margin=margin, band_label="the margin"),
    )


def _split_picture(pair: Node, tail: str, of: str) -> Picture:
    return Picture(
        name=f"decomposition{tail}",
        title=f"Indicated change = engine's air and sensor's reading{of}",
        caption="The indicated change (diamonds) split by engine speed: the part that the engine "
        "breathes (solid) and the part that the sensor's changed reading adds (hatched). The "
        "whisker is the 95 % interval of the split.",
        alt=f"Stacked bars by engine speed. Mean: indicated "
        f"{percent(pair.airflow_change_indicated.value)}, engine's air "
        f"{percent(pair.airflow_change.value)}, reading {percent(pair.sensor_skew.value)}.",
        draw=lambda: _draw_split(pair.by_speed),
    )


def _draw_split(rows: Sequence[Node]) -> Figure:
    figure = new_figure(3.0)
    axes = figure.add_subplot()
    speed = [r.engine_speed_rpm for r in rows]
    width = 0.72 * min((b - a for a, b in pairwise(speed)), default=150.0)
    true = [r.airflow_change.value for r in rows]
    rest = [(1.0 + r.airflow_change.value) * r.sensor_skew.value for r in rows]
    axes.bar(speed, true, width, color=TRUE, label="engine's air")
    axes.bar(
        speed,
        rest,
        width,
        bottom=true,
        color="#f4d3b3",
        edgecolor=SKEW,
        hatch="////",
        linewidth=0.8,
        label="sensor's reading",
    )
    errors = [
        [max(r.airflow_change.value - r.airflow_change.low, 0.0) for r in rows],
        [max(r.airflow_change.high - r.airflow_change.value, 0.0) for r in rows],
    ]
    axes.errorbar(speed, true, errors, fmt="none", ecolor=INDICATED, elinewidth=1.1, capsize=2.5)
    axes.plot(
        speed,
        [r.airflow_change_indicated for r in rows],
        "D",
        color=INDICATED,
        markerfacecolor="white",
        markersize=5.0,
        label="indicated",
    )
    zero_line(axes)
    percent_axis(axes)
    axes.set_ylabel("change in %")
    speed_axis(axes)
    figure.legend(loc="outside upper right", ncols=3)
    return figure


def _skew_picture(pair: Node, result: Node, shown: Shown, tail: str, of: str) -> Picture:
    flows = _baseline_flow(result, pair)
    by = "engine speed and air flow" if flows else "engine speed"
    return Picture(
        name=f"skew{tail}",
        title=f"Change of the sensor's reading by {by}{of}",
        caption="Flat: the sensor reads by another factor, as after a change of bore. Sloped or "
        "bent: its curve changed shape, or a leak or pulsation is at work. Band: 95 % interval; "
        "shaded: the margin inside which a change does not matter.",
        alt=f"Sensor skew against {by}, mean {percent_interval(pair.sensor_skew)}.",
        draw=lambda: _draw_skew(pair.by_speed, flows, result.margin, shown),
    )


def _baseline_flow(result: Node, pair: Node) -> dict[float, float]:
    """Return the baseline's indicated flow by engine speed; empty if the result lacks it."""
    if result.curves is None:
        return {}
    return {
        point.engine_speed_rpm: point.flow_kgps.value
        for curve in result.curves.flows
        if curve.method == SENSOR and curve.configuration == baseline_name(pair)
        for point in curve.points
    }


def baseline_name(pair: Node) -> str:
    """Return how the curves name the baseline of a pair."""
    return f"{pair.baseline}, {pair.tune}" if pair.tune else str(pair.baseline)


def _draw_skew(
    rows: Sequence[Node], flows: dict[float, float], margin: float, shown: Shown
) -> Figure:
    figure = new_figure(2.7)
    with_flow = [r for r in rows if r.engine_speed_rpm in flows]
    panels = figure.subplots(1, 2 if with_flow else 1, sharey=True, squeeze=False)[0]
    for panel in panels:
        margin_band(panel, margin)
        zero_line(panel)
        percent_axis(panel)
    speed = [r.engine_speed_rpm for r in rows]
    interval_band(panels[0], speed, [r.sensor_skew for r in rows], SKEW, "-s")
    speed_axis(panels[0], narrow=bool(with_flow))
    panels[0].set_ylabel("sensor skew in %")
    if with_flow:
        pairs = sorted(
            ((shown.number(flows[r.engine_speed_rpm], "kg/s"), r.sensor_skew) for r in with_flow),
            key=lambda pair: pair[0],
        )
        interval_band(panels[1], [x for x, _ in pairs], [y for _, y in pairs], SKEW, "-s")
        panels[1].set_xlabel(f"indicated air flow, {shown.unit('kg/s')}")
    return figure


def attribution_rows(pair: Node) -> list[Row]:
    """Return the parts of the true change and of the power that a result holds."""
    parts = pair.attribution
    if parts is None:
        return []
    rows = [
        Row(label="engine's air, whole", interval=pair.airflow_change, colour=TRUE, group="air")
    ]
    rows += _rows_of(parts, _TRUE_PARTS, AFTER, "air", hollow=True)
    if pair.brake_power_change is not None:
        rows.append(
            Row(
                label="brake power, whole",
                interval=pair.brake_power_change,
                colour=INDICATED,
                marker="D",
                group="power",
            )
        )
    rows += _rows_of(parts, _POWER_PARTS, INDICATED, "power", hollow=True)
    rows += _rows_of(parts, _BOUNDS, OPEN, "bounds", marker="s")
    return rows if len(rows) > 1 else []


def _rows_of(
    parts: Node,
    names: Sequence[tuple[str, str]],
    colour: str,
    group: str,
    *,
    hollow: bool = False,
    marker: str = "o",
) -> list[Row]:
    return [
        Row(
            label=label,
            interval=getattr(parts, name),
            colour=colour,
            group=group,
            hollow=hollow,
            marker=marker,
        )
        for name, label in names
        if getattr(parts, name) is not None
    ]


def _attribution_picture(rows: Sequence[Row], pair: Node, tail: str, of: str) -> Picture:
    note = (
        f" {pair.attribution.note[0].upper()}{pair.attribution.note[1:]}."
        if (pair.attribution.note)
        else ""
    )
    return Picture(
        name=f"attribution{tail}",
        title=f"Where the change comes from{of}",
        caption="Parts of the air multiply to the whole, and so do those of the power. Boost that "
        "rose, or a denser charge, is not the intake's own doing." + note,
        alt="; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows),
        draw=lambda: forest(rows, "change in %"),
    )
