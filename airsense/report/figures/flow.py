"""Flow by route, run-to-run scatter and apparent breathing: shared by compare and check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.forest import shorten
from airsense.report.figures.style import (
    AFTER,
    BEFORE,
    INK,
    MARKERS,
    OPEN,
    SERIES,
    new_figure,
    percent_axis,
    speed_axis,
    zero_line,
)
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Baseline first: dashed with hollow squares, then solid with full dots, then the other styles.
LOOKS = (
    (BEFORE, "--", "s"),
    (AFTER, "-", "o"),
    (SERIES[2], "-.", "^"),
    (SERIES[3], ":", "D"),
)
MOST_CONFIGURATIONS = len(LOOKS)


def flow_pictures(curves: Node | None, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures that a result's curves allow."""
    if curves is None:
        return ()
    pictures = []
    if curves.flows:
        pictures.append(_flow_picture(curves.flows, shown))
    if len({r.configuration for r in curves.repeats or ()}) > 1:
        pictures.append(_scatter_picture(curves.repeats))
    if curves.apparent_ve:
        pictures.append(_ve_picture(curves.apparent_ve, shown))
    return tuple(pictures)


def _flow_picture(flows: Sequence[Node], shown: Shown) -> Picture:
    names = list(dict.fromkeys(f.configuration for f in flows))[:MOST_CONFIGURATIONS]
    routes = list(dict.fromkeys(f.method for f in flows))
    common = ", ".join(
        f"{say(route)} {percent(next(f.u_common for f in flows if f.method == route), sign=False)}"
        for route in routes
    )
    gap = (
        " If the gap between the configurations is wider in the sensor's panel than in the "
        "others, the sensor's reading changed."
    )
    return Picture(
        name="flow-by-route",
        title="Air mass flow by route",
        caption=f"Each panel is one way to the same air.{gap if len(names) > 1 else ''} Bands: "
        "95 % of what differs from run to run; left out is what all runs of a route share "
        f"(standard uncertainty: {common}), which moves all curves of a panel together.",
        alt=f"Air mass flow against engine speed, one panel each for "
        f"{', '.join(say(r) for r in routes)}; curves for {' and '.join(names)}.",
        draw=lambda: _draw_flows(flows, names, routes, shown),
    )


def _draw_flows(
    flows: Sequence[Node], names: Sequence[str], routes: Sequence[str], shown: Shown
) -> Figure:
    columns = 2 if len(routes) > 1 else 1
    lines = -(-len(routes) // columns)
    figure = new_figure(0.7 + 2.0 * lines)
    axes = figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)
    for k, panel in enumerate(axes.flat):
        if k >= len(routes):
            panel.set_visible(False)
            continue
        panel.set_title(say(routes[k]))
        for name, look in zip(names, LOOKS if len(names) > 1 else LOOKS[1:], strict=False):
            for curve in flows:
                if curve.configuration == name and curve.method == routes[k]:
                    _draw_curve(panel, curve, look, shown)
        if k >= len(routes) - columns:
            speed_axis(panel, narrow=columns > 1)
            panel.tick_params(labelbottom=True)
        if k % columns == 0:
            panel.set_ylabel(f"air mass flow, {shown.unit('kg/s')}")
    handles, labels = axes.flat[0].get_legend_handles_labels()
    if len(names) > 1:
        figure.legend(handles, labels, loc="outside upper right", ncols=2)
    return figure


def _draw_curve(panel: Axes, curve: Node, look: tuple[str, str, str], shown: Shown) -> None:
    colour, style, marker = look
    speed = [p.engine_speed_rpm for p in curve.points]
    low, value, high = (
        [shown.number(getattr(p.flow_kgps, end), "kg/s") for p in curve.points]
        for end in ("low", "value", "high")
    )
    panel.fill_between(speed, low, high, color=colour, alpha=0.18, linewidth=0)
    panel.plot(
        speed,
        value,
        style,
        color=colour,
        marker=marker,
        markersize=3.6,
        markerfacecolor="white" if style != "-" else colour,
        label=shorten(curve.configuration, 22),
    )


def _scatter_picture(repeats: Sequence[Node]) -> Picture:
    names = list(dict.fromkeys(r.configuration for r in repeats))
    return Picture(
        name="repeats",
        title="Run by run",
        caption="Sensor's reading over each route, run by run, against the mean of the first "
        "configuration. A step between the configurations is a changed reading; a slope over the "
        "run order is drift or heat soak; what is left is the scatter of the runs.",
        alt=f"Change of the ratio of sensor reading to each route for {len(names)} "
        "configurations in run order.",
        draw=lambda: _draw_scatter(repeats, names),
    )


def _draw_scatter(repeats: Sequence[Node], names: Sequence[str]) -> Figure:
    figure = new_figure(2.9)
    axes = figure.add_subplot()
    zero_line(axes)
    rows = [r for r in repeats if r.reading_change is not None]
    routes = list(dict.fromkeys(r.method for r in rows))
    for k, route in enumerate(routes):
        own = [r for r in rows if r.method == route]
        shift = 0.16 * (k - 0.5 * (len(routes) - 1))
        axes.plot(
            [r.order + shift for r in own],
            [r.reading_change for r in own],
            linestyle="none",
            marker=MARKERS[k % len(MARKERS)],
            color=SERIES[k % len(SERIES)],
            markersize=6.0,
            label=say(route),
        )
    _mark_configurations(axes, rows)
    percent_axis(axes)
    axes.set_ylabel("reading over route, %")
    axes.set_xlabel("run, in order")
    axes.set_xticks(sorted({r.order for r in rows})[:: 1 + len({r.order for r in rows}) // 20])
    figure.legend(loc="outside upper right", ncols=len(routes))
    return figure


def _mark_configurations(axes: Axes, rows: Sequence[Node]) -> None:
    """Name each stretch of runs of one configuration, and part the stretches by a line."""
    ordered = sorted({(r.order, r.configuration) for r in rows})
    start = 0
    axes.margins(y=0.14)
    for k in range(1, len(ordered) + 1):
        if k < len(ordered) and ordered[k][1] == ordered[start][1]:
            continue
        first, last = ordered[start][0], ordered[k - 1][0]
        axes.text(
            0.5 * (first + last),
            0.99,
            shorten(ordered[start][1], 8 + 6 * (last - first)),
            transform=axes.get_xaxis_transform(),
            ha="center",
            va="top",
            fontsize=8.5,
            color=OPEN,
        )
        if k < len(ordered):
            axes.axvline(0.5 * (last + ordered[k][0]), color=OPEN, linewidth=0.8, linestyle=":")
        start = k


def _ve_picture(points: Sequence[Node], shown: Shown) -> Picture:
    suspected = sum(p.recirculation_suspected for p in points)
    marked = (
        f" {suspected} of the {len(points)} samples drawn are left out as exhaust gas "
        "recirculation (crosses)."
        if suspected
        else " No sample drawn is marked as exhaust gas recirculation."
    )
    return Picture(
        name="apparent-ve",
        title="Volumetric efficiency as the reading implies it",
        caption="Sensor's reading over what the cylinders would hold at manifold state. It should "
        "change slowly over the map; two groups under boost mean recirculated exhaust gas."
        + marked,
        alt="Apparent volumetric efficiency as colour over engine speed and absolute manifold "
        "pressure, one panel a configuration.",
        draw=lambda: _draw_ve(points, shown),
    )


def _draw_ve(points: Sequence[Node], shown: Shown) -> Figure:
    names = list(dict.fromkeys(p.configuration for p in points))[:MOST_CONFIGURATIONS]
    columns = min(len(names), 2)
    lines = -(-len(names) // columns)
    figure = new_figure(0.7 + 2.2 * lines)
    axes = figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)
    values = sorted(p.ve_frac for p in points)
    low, high = values[len(values) // 50], values[-1 - len(values) // 50]
    shades = None
    for k, panel in enumerate(axes.flat):
        if k >= len(names):
            panel.set_visible(False)
            continue
        own = [p for p in points if p.configuration == names[k]]
        panel.set_title(shorten(names[k], 26))
        shades = panel.scatter(
            [p.engine_speed_rpm for p in own if not p.recirculation_suspected],
            [shown.number(p.p_manifold_pa, "Pa") for p in own if not p.recirculation_suspected],
            c=[p.ve_frac for p in own if not p.recirculation_suspected],
            cmap="cividis",
            vmin=low,
            vmax=high,
            s=11,
            linewidths=0,
        )
        panel.scatter(
            [p.engine_speed_rpm for p in own if p.recirculation_suspected],
            [shown.number(p.p_manifold_pa, "Pa") for p in own if p.recirculation_suspected],
            marker="x",
            s=13,
            color=INK,
            linewidths=0.9,
        )
        speed_axis(panel, narrow=columns > 1)
        if k % columns == 0:
            panel.set_ylabel(f"manifold pressure, {shown.unit('Pa')} absolute")
    assert shades is not None
    figure.colorbar(shades, ax=axes, label="apparent VE", shrink=0.9, aspect=25)
    return figure
