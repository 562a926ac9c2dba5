"""Figures of a plan: what repeats buy, and what another measurement buys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.forest import in_lines
from airsense.report.figures.style import AFTER, BAD, SOFT, new_figure, percent_axis
from airsense.report.node import Node
from airsense.report.units_shown import Shown
from airsense.report.words import percent

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# As many as one picture holds.
MOST_MEASUREMENTS = 8
# Nearer than this on the axis of runs, two numbers would touch.
LEAST_STEP = 1.12


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a plan."""
    found = []
    if [r for r in result.by_runs or () if r.detectable_change is not None]:
        found.append(_runs_picture(result))
    helpful = [m for m in result.next_measurement or () if m.detectable_change is not None]
    if helpful:
        found.append(_measurements_picture(helpful[:MOST_MEASUREMENTS], result.detectable_change))
    return tuple(found)


def _runs_picture(result: Node) -> Picture:
    return Picture(
        name="planning-curve",
        title="What repeats buy",
        caption="Smallest change that a test shows with the wanted certainty, against the runs of "
        "each configuration. Where the curve is flat, more runs do not help: another measurement "
        "does.",
        alt=f"Detectable change against number of runs; {result.planned_runs} runs of each detect "
        f"{percent(result.detectable_change, 2, sign=False)}.",
        draw=lambda: _draw_runs(result),
    )


def _draw_runs(result: Node) -> Figure:
    figure = new_figure(3.1)
    axes = figure.add_subplot()
    runs = [r.runs_per_configuration for r in result.by_runs]
    axes.plot(runs, [r.detectable_change for r in result.by_runs], "-o", color=AFTER)
    axes.axhline(result.wish.change, color=BAD, linestyle=":", linewidth=1.4, label="wanted")
    axes.plot(
        [result.planned_runs],
        [result.detectable_change],
        "o",
        color=AFTER,
        markersize=12,
        markerfacecolor="none",
        label="this plan",
    )
    axes.set_xscale("log")
    marked = _apart(runs)
    axes.set_xticks(marked, [str(r) for r in marked])
    axes.minorticks_off()
    axes.set_ylim(bottom=0.0)
    percent_axis(axes)
    axes.set_xlabel("runs of each configuration")
    axes.set_ylabel("detectable change in %")
    axes.legend(loc="upper right")
    return figure


def _apart(runs: Sequence[int]) -> list[int]:
    """Return the numbers of runs that can be written side by side on a logarithmic axis."""
    kept: list[int] = []
    for r in runs:
        if not kept or r > LEAST_STEP * kept[-1]:
            kept.append(r)
    return kept


def _measurements_picture(rows: Sequence[Node], now: float) -> Picture:
    return Picture(
        name="measurements",
        title="What another measurement buys",
        caption="Detectable change at the same number of runs with one more measurement; the line "
        "is the test as planned.",
        alt="; ".join(
            f"{m.measurement} {percent(m.detectable_change, 2, sign=False)}" for m in rows
        ),
        draw=lambda: _draw_measurements(rows, now),
    )


def _draw_measurements(rows: Sequence[Node], now: float) -> Figure:
    figure = new_figure(0.8 + 0.36 * len(rows))
    axes = figure.add_subplot()
    for k, row in enumerate(rows):
        axes.barh(-k, row.detectable_change, height=0.62, color=AFTER)
    axes.axvline(now, color=SOFT, linestyle="--", linewidth=1.3)
    axes.set_yticks([-k for k in range(len(rows))], [in_lines(m.measurement) for m in rows])
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(left=0.0)
    percent_axis(axes, axis="x")
    axes.set_xlabel("detectable change in % (dashed: as planned)")
    return figure
