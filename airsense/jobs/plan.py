"""Plan a test: how many runs, in which order, and which sensor, to settle a change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from airsense.evidence.next_measurement import COSTS, NextMeasurement
from airsense.evidence.planning.channels import (
    STILL,
    USUAL_CHANNELS,
    missing,
    template_for,
    with_channels,
)
from airsense.evidence.planning.resolution import (
    SHOWN_RUNS,
    Component,
    Forecast,
    Look,
    Wish,
    budget_of,
    forecast,
    is_shown,
    look,
    run_orders,
)
from airsense.evidence.planning.states import PlannedQuantity, Template
from airsense.jobs.comparison.proposals import proposals
from airsense.jobs.observe import input_file, make_runs
from airsense.jobs.planning.pilot import channels_of, pilot_of, rest_of
from airsense.jobs.planning.result import PlannedMeasurement, PlanResult, QuantityRow, RunsRow
from airsense.jobs.planning.words import assumptions, known, refuse_tiny, says_nothing, sentence
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.logs.log import Log
from airsense.logs.suggest import read_logs
from airsense.results import K_95
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine

# Runs at which a plan is shown when no number of runs meets the wish.
RUNS_IF_OUT_OF_REACH = 6
PILOT_LOG = "pilot log"
_WORTH_SAYING, _SMALLER = 0.03, 0.85


def run(
    engine_file: Path,
    logs: Sequence[Path] = (),
    *,
    sensors: Sequence[str] = (),
    still: bool = False,
    quantity: PlannedQuantity = PlannedQuantity.AIRFLOW_CHANGE,
    wish: Wish | None = None,
) -> PlanResult:
    """Plan a test from the engine, and from pilot logs where there are any.

    Parameters
    ----------
    engine_file : Path
        engine.toml.
    logs : sequence of Path
        Pilot logs of one configuration: their channels and states are those of the test, and the
        scatter of two or more of them replaces the default.
    sensors : sequence of str
        Canonical channels that the test will have besides; alone, they replace the usual ones.
    still : bool
        Whether each log will begin with seconds of ignition on and the engine still.
    quantity : PlannedQuantity
        What the test is for.
    wish : Wish, optional
        Change, power and confidence.

    Raises
    ------
    InputError
        If a file, a name or the wish cannot be used, or the channels say nothing about the
        quantity.
    """
    asked = wish or Wish()
    refuse_tiny(asked)
    setup = load_engine(engine_file)
    named = frozenset(known(name) for name in sensors)
    read = read_logs(logs, setup.channels)
    result = plan_logs(read, setup, named=named, still=still, quantity=quantity, wish=asked)
    pilots = tuple(file_input(path, PILOT_LOG) for path in logs)
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *pilots))


def plan_logs(
    logs: Sequence[Log],
    setup: EngineSetup,
    *,
    named: frozenset[str],
    still: bool,
    quantity: PlannedQuantity,
    wish: Wish,
) -> PlanResult:
    """Return the plan from logs that are read; see `run`. Its inputs are the logs alone.

    Raises
    ------
    InputError
        If a log cannot be used, or the channels say nothing about the quantity.
    """
    runs = make_runs(logs, setup) if logs else ()
    pilot = pilot_of(runs, setup) if runs else None
    usual = named or frozenset({*USUAL_CHANNELS, *setup.channels})
    channels = named | channels_of(runs) if runs else usual
    later = frozenset({STILL}) if still else frozenset()
    if pilot is None:
        own = template_for(channels | later, setup)
    else:
        logged = channels_of(runs) | rest_of(pilot)
        own = with_channels(pilot, logged, (named | later) - logged, setup)
        later |= rest_of(pilot)
    channels |= later
    return replace(
        plan(own, channels, setup, quantity=quantity, wish=wish),
        assumptions=assumptions(channels, len(runs), declared=bool(named or logs)),
        inputs=tuple(input_file(run, PILOT_LOG) for run in runs),
    )


def plan(
    template: Template,
    channels: frozenset[str],
    setup: EngineSetup,
    *,
    quantity: PlannedQuantity,
    wish: Wish,
) -> PlanResult:
    """Return the plan for a test; see `run`.

    Raises
    ------
    InputError
        If the test says nothing about the quantity.
    """
    if not template.can(quantity):
        raise says_nothing(quantity, channels)
    rows = _rows(template, quantity, wish)
    needed = _needed(template, quantity, wish, rows)
    shown = RUNS_IF_OUT_OF_REACH if needed is None else needed
    found = _at(rows, shown) or forecast(template, quantity, shown, wish)
    rows = _scaled(rows, found) if quantity in _BY_READING else rows
    found = _no_worse([*(r for r in rows if r.runs < shown), found])[-1]
    by_runs = {r.runs: r for r in rows} | {shown: found}
    measurements = _measurements(
        template, channels, setup, quantity=quantity, wish=wish, found=found, rows=rows
    )
    return PlanResult(
        quantity=quantity,
        wish=wish,
        runs_per_configuration=needed,
        planned_runs=shown,
        detectable_change=found.detectable_change,
        half_width=found.half_width,
        sentence=sentence(quantity, wish, needed, found, measurements),
        budget=_power_budget(template, shown)
        if quantity is PlannedQuantity.BRAKE_POWER_CHANGE
        else budget_of(look(template, quantity, shown)),
        by_runs=tuple(
            RunsRow(
                runs_per_configuration=n,
                half_width=r.half_width,
                detectable_change=r.detectable_change,
            )
            for n, r in sorted(by_runs.items())
        ),
        by_quantity=tuple(
            QuantityRow(quantity=q, half_width=_half_width(template, q, shown, wish))
            for q in PlannedQuantity
            if template.can(q)
        ),
        run_orders=run_orders(shown),
        next_measurement=measurements,
        channels=tuple(sorted(channels)),
        assumptions=(),
    )


# What is claimed of these depends on what the reading shows, and each size is a look of its own.
_BY_READING = (PlannedQuantity.INDICATED_SURPLUS, PlannedQuantity.SENSOR_SKEW)


def _half_width(template: Template, quantity: PlannedQuantity, runs: int, wish: Wish) -> float:
    if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
        return forecast(template, quantity, runs, wish).half_width
    return look(template, quantity, runs).half_width(wish.confidence)


def _rows(template: Template, quantity: PlannedQuantity, wish: Wish) -> list[Forecast]:
    """Return what the usual numbers of runs give; of a reading, the interval alone for now."""
    if quantity not in _BY_READING:
        return _no_worse([forecast(template, quantity, n, wish) for n in SHOWN_RUNS])
    return [
        Forecast(
            runs=n,
            half_width=_half_width(template, quantity, n, wish),
            detectable_change=float("nan"),
        )
        for n in SHOWN_RUNS
    ]


def _at(rows: Sequence[Forecast], runs: int) -> Forecast | None:
    """Return the row of a number of runs, if it says what they show."""
    said = (r for r in rows if r.runs == runs and not np.isnan(r.detectable_change))
    return next(said, None)


def _no_worse(rows: Sequence[Forecast]) -> list[Forecast]:
    """Return rows in which more runs show what fewer do: the tail of few draws is ragged."""
    least = np.minimum.accumulate([r.detectable_change for r in rows])
    return [replace(r, detectable_change=float(v)) for r, v in zip(rows, least, strict=True)]


def _needed(
    template: Template, quantity: PlannedQuantity, wish: Wish, rows: Sequence[Forecast]
) -> int | None:
    """Return the fewest runs of each configuration that meet a wish; None beyond `MAX_RUNS`."""

    def meets(runs: int) -> bool:
        if quantity not in _BY_READING:
            own = _at(rows, runs) or forecast(template, quantity, runs, wish)
            return own.detectable_change <= wish.change
        half = _half_width(template, quantity, runs, wish)
        return is_shown(template, quantity, runs, wish, half)

    previous = 0
    for runs in SHOWN_RUNS:
        if meets(runs):
            return next(n for n in range(previous + 1, runs + 1) if n == runs or meets(n))
        previous = runs
    return None


def _scaled(rows: Sequence[Forecast], found: Forecast) -> list[Forecast]:
    """Return rows whose detectable change goes with the interval."""
    ratio = found.detectable_change / found.half_width
    return [replace(r, detectable_change=ratio * r.half_width) for r in rows]


def _measurements(
    template: Template,
    channels: frozenset[str],
    setup: EngineSetup,
    *,
    quantity: PlannedQuantity,
    wish: Wish,
    found: Forecast,
    rows: Sequence[Forecast],
) -> tuple[PlannedMeasurement, ...]:
    """Return the measurements that a test lacks: cheapest first, of one cost the best first."""
    if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
        return ()
    steps = []
    for a in missing(channels, template):
        then = with_channels(template, channels, frozenset({a.channel}), setup)
        step = NextMeasurement(
            key=a.key,
            cost=a.cost,
            measurement=a.measurement,
            reason=a.reason,
            toml="",
            worth=float("nan"),
        )
        own = forecast(then, quantity, found.runs, wish)
        steps.append(_planned(step, own, found, wish, rows))
    seen = look(template, quantity, found.runs)
    keys = {m.key for m in steps}
    for step in proposals(seen.posterior, seen.reading(), leak_open=False):
        if step.key not in keys and np.isfinite(step.worth):
            left = _left(seen, step.worth, found.half_width)
            own = Forecast(
                runs=found.runs,
                half_width=left * found.half_width,
                detectable_change=left * found.detectable_change,
            )
            steps.append(_planned(step, own, found, wish, rows))
    kept = [m for m in steps if _helps(m, found)]
    return tuple(sorted(kept, key=lambda m: (COSTS.index(m.cost), -m.reduction)))


def _helps(step: PlannedMeasurement, found: Forecast) -> bool:
    """Return whether a measurement narrows the interval, or makes a smaller change a claim."""
    smaller = step.detectable_change < _SMALLER * found.detectable_change
    return step.reduction >= _WORTH_SAYING or smaller


def _left(seen: Look, worth: float, half_width: float) -> float:
    """Return the part of the interval that stays once a share of the reading's variance goes."""
    weight, reading = seen.posterior.draws.weight, seen.reading()
    of_reading = float(weight @ (reading - weight @ reading) ** 2)
    total = max((half_width / K_95) ** 2, of_reading)
    return float(np.sqrt(max(1.0 - worth * of_reading / total, 0.0)))


def _planned(
    step: NextMeasurement, own: Forecast, found: Forecast, wish: Wish, rows: Sequence[Forecast]
) -> PlannedMeasurement:
    """Return a measurement with its worth; other numbers of runs scale as the plan's intervals."""
    scaled = {r.runs: own.detectable_change * r.half_width / found.half_width for r in rows}
    enough = [runs for runs, change in scaled.items() if change <= wish.change]
    return PlannedMeasurement(
        key=step.key,
        cost=step.cost,
        measurement=step.measurement,
        reason=step.reason,
        toml=step.toml,
        half_width=own.half_width,
        reduction=float(np.round(max(1.0 - own.half_width / found.half_width, 0.0), 6)),
        detectable_change=own.detectable_change,
        runs_per_configuration=min(enough) if enough else None,
    )


def _power_budget(template: Template, runs: int) -> tuple[Component, ...]:
    own = template.sizes.brake_power
    run_u, drift = own.run * float(np.sqrt(2.0 / runs)), own.run * float(np.sqrt(own.between))
    total = run_u**2 + drift**2
    return (
        Component(
            label=f"{own.label}, run to run",
            u=run_u,
            share=run_u**2 / total,
            averages_over_runs=True,
        ),
        Component(
            label=f"{own.label}, drift between the configurations",
            u=drift,
            share=drift**2 / total,
            averages_over_runs=False,
        ),
    )
