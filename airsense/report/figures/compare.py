"""Figures of a comparison."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from airsense.report.figure import Picture
from airsense.report.figures.causes import causes_picture
from airsense.report.figures.flow import flow_pictures
from airsense.report.figures.forest import Row, forest
from airsense.report.figures.full_load import full_load_pictures
from airsense.report.figures.style import (
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
from airsense.report.node import Node
from airsense.report.says.pair import configuration, parts_of
from airsense.report.units_shown import Shown
from airsense.report.words import percent_interval, say
from airsense.results import Interval

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SENSOR = "mass_air_flow"
# Of the room that a bar has.
BAR = 0.62
# Looks of what makes up the indicated change: colour, hatch.
WHOLE, PART, READING = (TRUE, None), (AFTER, "...."), (SKEW, "////")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One bar of the split: it begins where the parts above it have led, or at zero."""

    label: str
    start: float
    value: Interval
    look: tuple[str, str | None]

    @property
    def end(self) -> float:
        """Where the change stands after this part: parts multiply."""
        return (1.0 + self.start) * (1.0 + self.value.value) - 1.0


def pictures(result: Node, shown: Shown) -> tuple[Picture, ...]:
    """Return the figures of a comparison: the overview of a campaign, each pair, then the runs."""
    found: list[Picture] = []
    many = len(result.pairs) > 1
    if many:
        found += _campaign_pictures(result)
    for number, pair in enumerate(result.pairs, start=1):
        tail, of = (f"-{number}", f" ({configuration(pair)})") if many else ("", "")
        found += _pair_pictures(pair, result.margin, shown, tail, of)
    found += flow_pictures(result.curves, shown)
    return tuple(found)


def _pair_pictures(pair: Node, margin: float, shown: Shown, tail: str, of: str) -> list[Picture]:
    found = []
    steps = split(pair)
    if steps:
        found.append(_split_picture(steps, tail, of))
    found += full_load_pictures(pair, shown, tail, of)
    if pair.by_speed:
        found.append(_speed_picture(pair, margin, tail, of))
    rows = route_rows(pair)
    if rows:
        found.append(_routes_picture(rows, margin, tail, of))
    if pair.causes:
        found.append(causes_picture(pair.causes, tail, of))
    return found


def _campaign_pictures(result: Node) -> list[Picture]:
    rows = [
        Row(label=f"{name}: {label}", interval=value, colour=colour, marker=marker, group=name)
        for pair in result.pairs
        for name in (configuration(pair),)
        for label, value, colour, marker in (
            ("engine's air", pair.airflow_change, TRUE, "o"),
            ("the intake's part", pair.airflow_change_intake, AFTER, "D"),
            ("in the reading only", pair.indicated_surplus, SKEW, "s"),
        )
        if value is not None
    ]
    if not rows:
        return []
    return [
        Picture(
            name="campaign",
            title="All configurations",
            caption="For each configuration the change of the air that the engine breathes (dots), "
            "what of it the intake gave (diamonds) and what is in the reading only (squares), with "
            "95 % intervals; what was not looked at is left out.",
            alt=_alt(rows),
            draw=lambda: forest(rows, "change in %", margin=result.margin, band_label="margin"),
        )
    ]


def _alt(rows: Sequence[Row]) -> str:
    return "; ".join(f"{r.label} {percent_interval(r.interval)}" for r in rows)


def split(pair: Node) -> tuple[Step, ...]:
    """Return the steps from no change to the indicated one; none without matched full load."""
    if None in (pair.airflow_change, pair.airflow_change_indicated, pair.indicated_surplus):
        return ()
    steps: list[Step] = []
    at = 0.0
    joint = pair.demand_feedback_joint is not None
    for label, key in parts_of(pair):
        # Where demand and feedback are not told apart their product alone is known.
        alone = key in ("airflow_change_demand", "airflow_change_feedback")
        if pair[key] is not None and not (joint and alone):
            steps.append(Step(label=label, start=at, value=pair[key], look=PART))
            at = steps[-1].end
    whole = Step(label="the engine breathes", start=0.0, value=pair.airflow_change, look=WHOLE)
    steps += [
        whole,
        Step(
            label="in the reading only",
            start=whole.value.value,
            value=pair.indicated_surplus,
            look=READING,
        ),
        Step(
            label="the sensor shows",
            start=0.0,
            value=pair.airflow_change_indicated,
            look=(INDICATED, None),
        ),
    ]
    return tuple(steps)


def _split_picture(steps: Sequence[Step], tail: str, of: str) -> Picture:
    return Picture(
        name=f"decomposition{tail}",
        title=f"What the indicated change is made of{of}",
        caption="Dotted bars: the parts of what the engine breathes, each from where the ones "
        "above it have led; to the left of its start where it takes air away. Hatched: what is in "
        "the reading only, from the engine's air to what the sensor shows. Thin lines are the 95 % "
        "intervals of each bar's own length.",
        alt="; ".join(f"{s.label} {percent_interval(s.value)}" for s in steps),
        draw=lambda: _draw_split(steps),
    )


def _draw_split(steps: Sequence[Step]) -> Figure:
    figure = new_figure(0.75 + 0.32 * len(steps))
    axes = figure.add_subplot()
    zero_line(axes, axis="x")
    for k, step in enumerate(steps):
        colour, hatch = step.look
        axes.barh(
            -k,
            step.end - step.start,
            BAR,
            left=step.start,
            color="white" if hatch else colour,
            edgecolor=colour,
            hatch=hatch,
            linewidth=0.9,
        )
        ends = [(1.0 + step.start) * (1.0 + x) - 1.0 for x in (step.value.low, step.value.high)]
        axes.plot(ends, [-k, -k], color=OPEN, linewidth=1.4, marker="|", markersize=6.0)
        if k + 1 < len(steps) and steps[k + 1].start:
            axes.plot([step.end] * 2, [-k - 1 + BAR / 2, -k - BAR / 2], ":", color=OPEN)
    axes.set_yticks([-k for k in range(len(steps))], [s.label for s in steps])
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    percent_axis(axes, axis="x")
    axes.set_xlabel("change in %")
    return figure


def _speed_picture(pair: Node, margin: float, tail: str, of: str) -> Picture:
    return Picture(
        name=f"by-speed{tail}",
        title=f"By engine speed{of}",
        caption="Diamonds: what the sensor shows. Dots: what the engine breathes. Squares: what is "
        "in the reading only; flat if the sensor reads by another factor, sloped or bent if its "
        "curve changed shape or a leak or pulsation is at work. Bands: 95 % intervals; shaded: the "
        "margin inside which a change does not matter.",
        alt="Indicated change, engine's air and what is in the reading only against engine speed; "
        f"over all speeds {percent_interval(pair.airflow_change_indicated)}, "
        f"{percent_interval(pair.airflow_change)} and {percent_interval(pair.indicated_surplus)}.",
        draw=lambda: _draw_speed(pair.by_speed, margin),
    )


def _draw_speed(rows: Sequence[Node], margin: float) -> Figure:
    figure = new_figure(3.0)
    axes = figure.add_subplot()
    margin_band(axes, margin)
    zero_line(axes)
    speed = [r.engine_speed_rpm for r in rows]
    axes.plot(
        speed,
        [r.airflow_change_indicated for r in rows],
        "--D",
        color=INDICATED,
        markerfacecolor="white",
        label="shown",
    )
    interval_band(axes, speed, [r.airflow_change for r in rows], TRUE, "-o", label="engine's air")
    surplus = [r.indicated_surplus for r in rows]
    interval_band(axes, speed, surplus, SKEW, "-.s", label="in the reading only")
    percent_axis(axes)
    axes.set_ylabel("change in %")
    speed_axis(axes)
    figure.legend(loc="outside upper right", ncols=3)
    return figure


def route_rows(pair: Node) -> list[Row]:
    """Return what each route says: of the engine's air, or of the reading where that is all."""
    key = "surplus" if pair.airflow_change is None else "change"
    rows = [
        Row(
            label=say(e.method) if e.used else f"{say(e.method)} (not used)",
            interval=e[key],
            colour=OPEN,
            hollow=not e.used,
            group="routes",
        )
        for e in pair.estimates
        if e[key] is not None and e.method != SENSOR
    ]
    answers = (
        ("what the sensor shows", pair.airflow_change_indicated, INDICATED, "D", ""),
        ("engine's air, all evidence", pair.airflow_change, TRUE, "o", "answer"),
        ("in the reading only", pair.indicated_surplus, SKEW, "s", "answer"),
    )
    said = [
        Row(label=label, interval=value, colour=colour, marker=marker, group=group)
        for label, value, colour, marker, group in answers
        if value is not None
    ]
    return [*said[:1], *rows, *said[1:]] if key == "change" else [*rows, *said]


def _routes_picture(rows: Sequence[Row], margin: float, tail: str, of: str) -> Picture:
    matched = any(r.group == "answer" and r.colour == TRUE for r in rows)
    says = (
        "What the routes that do not use the sensor (grey) say of the engine's air; where the "
        "sensor's indication (diamond) lies beside them, its reading changed."
        if matched
        else "What the reading gained over each route that does not use the sensor (grey); the "
        "engine's own change was not looked at."
    )
    return Picture(
        name=f"routes{tail}",
        title=f"What each route says of the change{of}",
        caption=f"{says} Hollow: not used. Lines are 95 % intervals.",
        alt=_alt(rows),
        draw=lambda: forest(rows, "change in %", margin=margin, band_label="margin"),
    )
