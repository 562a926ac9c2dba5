"""The curves that a workshop shows: full load before and after, and how boost builds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.forest import shorten
from airsense.report.figures.style import AFTER, BEFORE, new_figure, speed_axis
from airsense.report.node import Node
from airsense.report.units_shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TITLES: Mapping[str, str] = MappingProxyType(
    {
        "power": "power at the engine",
        "wheel_power": "power at the wheels",
        "torque": "torque at the engine",
        "wheel_torque": "wheel power over speed",
        "manifold_pressure": "pressure, absolute",
        "fuel_per_stroke": "fuel a stroke",
        "air_shown": "air, as shown",
        "engine_air": "air breathed",
    }
)
SIDES = (("before", BEFORE, "--"), ("after", AFTER, "-"))
# Pale enough for two bands to show where they cross.
BAND = 0.2


def full_load_pictures(pair: Node, shown: Shown, tail: str, of: str) -> list[Picture]:
    """Return the curves over engine speed, and boost over time after a load step."""
    found = []
    if pair.full_load:
        found.append(_full_load_picture(pair.full_load, shown, tail, of))
    if pair.spool_up is not None and pair.spool_up.build_up:
        found.append(_build_up_picture(pair.spool_up, shown, tail, of))
    return found


def _full_load_picture(rows: Sequence[Node], shown: Shown, tail: str, of: str) -> Picture:
    names = list(dict.fromkeys(r.quantity for r in rows))
    breathed = (
        " The engine's air after the change is the reading before it, raised by the engine's "
        "change with its 95 % interval."
        if "engine_air" in names
        else ""
    )
    return Picture(
        name=f"full-load{tail}",
        title=f"Full load over engine speed{of}",
        caption="As measured, uncorrected. Dashed: before, solid: after, means of the repeats; "
        f"bands reach from the lowest to the highest of them.{breathed}",
        alt=f"Before and after over engine speed: {', '.join(TITLES.get(n, n) for n in names)}.",
        draw=lambda: _draw_full_load(rows, names, shown),
    )


def _draw_full_load(rows: Sequence[Node], names: Sequence[str], shown: Shown) -> Figure:
    columns = 2 if len(names) > 1 else 1
    lines = -(-len(names) // columns)
    figure = new_figure(0.6 + 1.75 * lines)
    axes = figure.subplots(lines, columns, sharex=True, squeeze=False)
    for k, panel in enumerate(axes.flat):
        if k >= len(names):
            panel.set_visible(False)
            continue
        own = [r for r in rows if r.quantity == names[k]]
        _draw_sides(panel, [r.engine_speed_rpm for r in own], own, own[0].unit, shown)
        panel.set_title(TITLES.get(names[k], shorten(names[k], 26)))
        panel.set_ylabel(shown.unit(own[0].unit))
        if k >= len(names) - columns:
            speed_axis(panel, narrow=columns > 1)
            panel.tick_params(labelbottom=True)
    figure.legend(*axes.flat[0].get_legend_handles_labels(), loc="outside upper right", ncols=2)
    return figure


def _draw_sides(
    panel: Axes, at: Sequence[float], rows: Sequence[Node], unit: str, shown: Shown
) -> None:
    for side, colour, style in SIDES:
        low, value, high = (
            [shown.number(getattr(r[side], end), unit) for r in rows]
            for end in ("low", "value", "high")
        )
        panel.fill_between(at, low, high, color=colour, alpha=BAND, linewidth=0)
        panel.plot(at, value, style, color=colour, label=side)


def _build_up_picture(spool: Node, shown: Shown, tail: str, of: str) -> Picture:
    return Picture(
        name=f"build-up{tail}",
        title=f"How boost builds after the load comes{of}",
        caption="Manifold pressure over the time since the load step, dashed before and solid "
        f"after; bands reach from the lowest to the highest repeat. {spool.sentence}",
        alt="Manifold pressure before and after over the time since the load step.",
        draw=lambda: _draw_build_up(spool.build_up, shown),
    )


def _draw_build_up(rows: Sequence[Node], shown: Shown) -> Figure:
    figure = new_figure(2.6)
    panel = figure.add_subplot()
    _draw_sides(panel, [r.time_s for r in rows], rows, "Pa", shown)
    panel.set_xlabel("time since the load step, s")
    panel.set_ylabel(f"manifold pressure, {shown.unit('Pa')} absolute")
    figure.legend(loc="outside upper right", ncols=2)
    return figure
