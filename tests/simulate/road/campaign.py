"""Holds, steps, drives and mixtures: logs of both configurations and what is true of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.logs.log import Log
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import Inputs, nominal_inputs, run_inputs
from tests.simulate.road.response import Lags, boost_share, lagged, reading_frac, respond
from tests.simulate.road.schedule import Schedule, nominal_sweep, schedule
from tests.simulate.sampling import sample_logs
from tests.simulate.truth import Truth, change_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Driven:
    """Changes over all that was driven with the second configuration, as plain fractions.

    Means of natural logarithms, each moment weighted by its air mass, filling left out; the
    comparison is with the first configuration in the very same states.
    """

    sensor_skew: float
    indicated_surplus: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadCampaign:
    """Logs, before-runs first, and their truth: at full load, and over what was driven."""

    logs: tuple[Log, ...]
    truth: Truth
    driven: Driven


def simulate_road(engine: EngineModel, case: Case, stream: np.random.SeedSequence) -> RoadCampaign:
    """Simulate the logs of one campaign from its own random stream."""
    rng = np.random.default_rng(stream)
    inputs = run_inputs(engine, case, rng)
    nominal = nominal_inputs(engine, case, np.random.default_rng(stream))
    lags = Lags.drawn(rng)
    logs = []
    kept: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for run in range(case.n_runs):
        plan = schedule(
            engine,
            case.driven(run),
            rng,
            still_s=case.still_s,
            idle_s=case.idle_s,
            drive_s=case.drive_s,
        )
        own = inputs.column(run)
        history = respond(engine, case, own, plan, lags)
        logs.append(_log(engine, case, run, history, own, lags, rng))
        if run >= case.n_before:
            kept.append(_apart(engine, nominal, plan, history))
    return RoadCampaign(
        logs=tuple(logs),
        truth=_truth(engine, case, nominal),
        driven=_driven(kept),
    )


def _log(
    engine: EngineModel,
    case: Case,
    run: int,
    history: History,
    inputs: Inputs,
    lags: Lags,
    rng: np.random.Generator,
) -> Log:
    shown = lagged(history.p_manifold_pa[:, 0], lags.pressure_s)[:, None]
    end = np.array([history.time_s[-1] - engine.sweep.lift_off_s])
    single = replace(inputs, sweep_end_s=end)
    (log,) = sample_logs(engine, case, replace(history, p_manifold_pa=shown), single, rng)
    side, number = ("before", run) if run < case.n_before else ("after", run - case.n_before)
    return replace(log, path=f"{case.name}/{side}_{number + 1}")


def _apart(
    engine: EngineModel, nominal: Inputs, plan: Schedule, history: History
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return air mass flow, and the logarithms of skew and surplus, where the engine turns."""
    turning = history.mdot_engine_kgps[:, 0] > 0.0
    sensor, load = history.mdot_sensor_kgps[:, 0], boost_share(engine, plan)
    before, after = (
        reading_frac(engine, nominal.column(k), sensor, plan.speed_rpm, load) for k in (0, 1)
    )
    skew = np.log(after / before)[turning]
    air = history.mdot_engine_kgps[turning, 0]
    lost = np.log1p(history.mdot_leak_kgps[turning, 0] / air)
    depression = history.p_depression_pa[turning, 0] / engine.charge.depression_pa
    unmetered = np.log1p(-nominal.column(1).leak_before * np.sqrt(depression))
    return air, skew, skew + lost + unmetered


def _driven(kept: Sequence[tuple[FloatArray, FloatArray, FloatArray]]) -> Driven:
    air, skew, surplus = (np.concatenate(parts) for parts in zip(*kept, strict=True))
    return Driven(
        sensor_skew=float(np.expm1(np.average(skew, weights=air))),
        indicated_surplus=float(np.expm1(np.average(surplus, weights=air))),
    )


def _truth(engine: EngineModel, case: Case, nominal: Inputs) -> Truth:
    """Compare slow full-load sweeps of both configurations, without run-to-run effects."""
    plan = nominal_sweep(engine)
    lags = Lags(film_s=0.03, film_delay_s=0.0, thermistor_s=2.0, pressure_s=0.03)
    before, after = (respond(engine, case, nominal.column(k), plan, lags) for k in (0, 1))
    # The first second settles the lags.
    rows = plan.time_s > 2.0
    return change_of(before, after, rows)
