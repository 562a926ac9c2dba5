"""Holds, steps and drives: credible states, known truth, and nothing but what was planted."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.arrays import FloatArray
from airsense.logs.log import Log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import BoostControl, Case, Driving, own_channels
from tests.simulate.engines import ENGINES, TURBO_DIESEL, EngineModel
from tests.simulate.history import RECORDED, History
from tests.simulate.inputs import run_inputs
from tests.simulate.road.response import Lags, respond
from tests.simulate.road.schedule import (
    GRID_S,
    Schedule,
    hold_speed_rpm,
    schedule,
    step_speeds_rpm,
)
from tests.simulate.standing import LEAN_LIMIT

QUIET = Case(drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0, rounding=False)
LAGS = Lags(film_s=0.03, film_delay_s=0.02, thermistor_s=3.0, pressure_s=0.03)
engines = pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)


@cache
def driven(engine: EngineModel, kind: Driving, **knobs: object) -> tuple[Schedule, History]:
    """The second configuration over one log: schedule and history."""
    case = replace(QUIET, n_before=1, n_after=1, **knobs)  # type: ignore[arg-type]
    plan = schedule(engine, kind, np.random.default_rng(6), still_s=4.0, idle_s=6.0, drive_s=200.0)
    inputs = run_inputs(engine, case, np.random.default_rng(6)).column(1)
    return plan, respond(engine, case, inputs, plan, LAGS)


@cache
def campaign(
    *driving: Driving, engine: EngineModel = TURBO_DIESEL, **knobs: object
) -> SimulatedCampaign:
    case = replace(
        QUIET,
        **{"driving": driving, "n_before": 1, "n_after": 1, "drive_s": 90.0, **knobs},  # type: ignore[arg-type]
    )
    return simulate_campaigns(engine, [case], 6)[0]


def apparent_ve(engine: EngineModel, history: History) -> FloatArray:
    """Fresh air over what fills the displacement; NaN at rest."""
    volume = engine.breathing.displacement_m3 * history.speed_rpm / 120.0
    with np.errstate(divide="ignore", invalid="ignore"):
        ve: FloatArray = (
            history.mdot_engine_kgps * 287.05 * history.t_charge_k
            / (history.p_manifold_pa * volume)
        )[:, 0]  # fmt: skip
    return ve


def settled(rows: np.ndarray, for_s: float) -> np.ndarray:
    """Where something has held that long."""
    return np.convolve(~rows, np.ones(round(for_s / GRID_S)))[: rows.size] == 0.0


def same(a: Log, b: Log) -> bool:
    return a.channels.keys() == b.channels.keys() and all(
        np.array_equal(a[name].value, b[name].value) for name in a.channels
    )


@engines
def test_the_still_engine_is_at_ambient_and_passes_no_air(engine: EngineModel) -> None:
    plan, history = driven(engine, Driving.DRIVE)
    rest = plan.time_s < 3.9
    np.testing.assert_allclose(history.p_manifold_pa[rest], 98_500.0, rtol=1e-9)
    for name in ("speed_rpm", "mdot_engine_kgps", "mdot_indicated_kgps", "mdot_fuel_kgps"):
        assert np.all(getattr(history, name)[rest] == 0.0), name


@engines
def test_a_drive_holds_every_kind_of_load(engine: EngineModel) -> None:
    plan, history = driven(engine, Driving.DRIVE)
    idling = (plan.pedal_frac < 0.01) & (plan.speed_rpm < 1.05 * engine.sweep.idle_rpm)
    shares = {
        "full load": plan.pedal_frac > 0.95,
        "part load": (plan.pedal_frac > 0.1) & (plan.pedal_frac < 0.6),
        "idle": idling & plan.running,
        "overrun": plan.fuel_cut,
    }
    for name, rows in shares.items():
        assert np.mean(rows) > 0.03, name
    assert np.all(history.mdot_fuel_kgps[plan.fuel_cut] == 0.0)
    cut = settled(plan.fuel_cut, 1.0)
    np.testing.assert_allclose(history.lambda_sensor[cut], LEAN_LIMIT, rtol=0.02)


@engines
def test_the_road_breathes_credibly_in_every_state(engine: EngineModel) -> None:
    plan, history = driven(engine, Driving.DRIVE)
    for name in RECORDED:
        assert np.all(np.isfinite(getattr(history, name))), name
    turning = plan.speed_rpm > 0.0
    ve = apparent_ve(engine, history)[turning]
    assert np.all((ve > 0.70) & (ve < 1.05))
    top = engine.reference_flow_kgps
    assert 0.6 * top < history.mdot_engine_kgps.max() < 1.25 * top
    charge = history.t_charge_k
    assert 290.0 < charge.min() < charge.max() < 350.0
    full = settled(plan.pedal_frac > 0.99, 2.0)
    lean = history.lambda_true[full, 0]
    low, high = (0.78, 1.05) if engine.spark else (1.1, 1.7)
    assert np.all((lean > low) & (lean < high))


@pytest.mark.parametrize("engine", ENGINES[:2], ids=lambda e: e.name)
def test_an_idling_diesel_is_near_the_barometer(engine: EngineModel) -> None:
    plan, history = driven(engine, Driving.IDLE)
    warm = plan.time_s > 12.0
    assert np.all(np.abs(history.p_manifold_pa[warm] - 98_500.0) < 2e3)
    flow = np.mean(history.mdot_engine_kgps[warm])
    assert 0.04 < flow / engine.reference_flow_kgps < 0.15


def test_recirculation_lives_at_part_load_alone() -> None:
    plan, closed = driven(TURBO_DIESEL, Driving.DRIVE)
    _, open_ = driven(TURBO_DIESEL, Driving.DRIVE, road_recirculation_frac=0.45)
    turning = plan.speed_rpm > 0.0
    ratio = np.ones(plan.time_s.size)
    ratio[turning] = (
        apparent_ve(TURBO_DIESEL, open_)[turning] / apparent_ve(TURBO_DIESEL, closed)[turning]
    )
    # Hot exhaust gas leaves the fresh air less room than its share alone would.
    assert 0.45 < ratio.min() < 0.58
    for rows in (plan.pedal_frac > 0.95, plan.fuel_cut, ~plan.running):
        shut = settled(rows, 2.0)
        assert shut.sum() > 100
        assert np.all(ratio[shut] > 0.99)
    part = (plan.pedal_frac > 0.2) & (plan.pedal_frac < 0.45) & (plan.speed_rpm < 2500.0)
    assert np.median(ratio[part]) < 0.65


def test_a_spark_engine_recirculates_nothing() -> None:
    _, closed = driven(ENGINES[2], Driving.DRIVE)
    _, open_ = driven(ENGINES[2], Driving.DRIVE, road_recirculation_frac=0.45)
    np.testing.assert_array_equal(open_.mdot_engine_kgps, closed.mdot_engine_kgps)


@engines
def test_pulsation_needs_load_and_low_speed(engine: EngineModel) -> None:
    plan, plain = driven(engine, Driving.DRIVE)
    _, pulsed = driven(engine, Driving.DRIVE, pulsation=0.12)
    excess = (pulsed.reading_frac / plain.reading_frac - 1.0)[:, 0]
    assert 0.08 < excess.max() < 0.121
    assert excess.min() >= 0.0
    sweep = engine.sweep
    fast = plan.speed_rpm > sweep.start_rpm + 0.7 * (sweep.end_rpm - sweep.start_rpm)
    assert np.all(excess[fast] < 0.002)
    idling = (plan.speed_rpm < 1.02 * sweep.idle_rpm) & (plan.pedal_frac < 0.01)
    quiet = settled(idling, 6.0)
    assert quiet.sum() > 100
    assert np.all(excess[quiet] < 1e-5)
    assert np.all(excess[~plan.running] == 0.0)


@engines
def test_air_is_neither_made_nor_lost(engine: EngineModel) -> None:
    plan, history = driven(engine, Driving.DRIVE, leak_after_compressor=0.05)
    net = (history.mdot_compressor_kgps - history.mdot_engine_kgps - history.mdot_leak_kgps)[:, 0]
    rows = plan.time_s > 5.0
    stored = history.stored_kg[rows, 0]
    passed = float(np.sum(history.mdot_engine_kgps[rows]) * GRID_S)
    assert np.sum(net[rows]) * GRID_S == pytest.approx(stored[-1] - stored[0], abs=2e-4 * passed)


@settings(max_examples=12, deadline=None)
@given(
    skew=st.floats(-0.1, 0.1),
    kind=st.sampled_from(list(Driving)),
    engine=st.sampled_from(ENGINES),
)
def test_a_factor_is_the_truth_of_whatever_is_driven(
    skew: float, kind: Driving, engine: EngineModel
) -> None:
    case = Case(skew=skew, driving=(kind,), n_before=1, n_after=1, drive_s=40.0)
    found = simulate_campaigns(engine, [case], 2)[0]
    assert found.driven is not None
    assert found.driven.sensor_skew == pytest.approx(skew, abs=1e-9)
    assert found.driven.indicated_surplus == pytest.approx(skew, abs=1e-9)
    assert found.skew(2000.0, 2500.0) == pytest.approx(skew, abs=1e-6)
    assert found.surplus(2000.0, 2500.0) == pytest.approx(skew, abs=2e-3)


def test_a_leak_is_a_surplus_and_no_skew() -> None:
    held = campaign(Driving.HOLD, leak_after_compressor=0.05)
    speed = hold_speed_rpm(TURBO_DIESEL)
    assert held.skew(speed - 20.0, speed + 20.0) == 0.0
    _, history = driven(TURBO_DIESEL, Driving.HOLD, leak_after_compressor=0.05)
    share = (history.mdot_leak_kgps / np.maximum(history.mdot_engine_kgps, 1e-6))[-100:]
    assert held.surplus(speed - 20.0, speed + 20.0) == pytest.approx(np.mean(share), rel=0.05)
    drive = campaign(Driving.DRIVE, leak_after_compressor=0.05)
    assert drive.driven is not None
    assert drive.driven.sensor_skew == 0.0
    assert 0.01 < drive.driven.indicated_surplus < 0.09


def test_unmetered_air_is_a_negative_surplus() -> None:
    drive = campaign(Driving.DRIVE, leak_before_compressor=0.05)
    assert drive.driven is not None
    assert drive.driven.sensor_skew == 0.0
    assert -0.06 < drive.driven.indicated_surplus < -0.01


@pytest.mark.parametrize(
    ("knob", "channel"),
    [("map_gain", "manifold_pressure"), ("lambda_scale", "lambda"), ("skew", "mass_air_flow")],
)
def test_a_fault_of_one_sensor_shows_in_its_channel(knob: str, channel: str) -> None:
    plain = campaign(Driving.STEPS)
    found = campaign(Driving.STEPS, **{knob: 0.04})
    changed = {
        name
        for name in plain.after[0].channels
        if not np.allclose(plain.after[0][name].value, found.after[0][name].value, rtol=1e-9)
    }
    # Fuel is cut to the reading where smoke limits it, and power and lambda with it.
    allowed = {"fuel_per_stroke", "lambda", "brake_power"} if knob == "skew" else set()
    assert channel in changed
    assert changed <= allowed | {channel}
    assert all(same(a, b) for a, b in zip(plain.before, found.before, strict=True))
    ratio = found.after[0][channel].value / plain.after[0][channel].value
    assert np.median(ratio) == pytest.approx(1.04, abs=1e-6)


@pytest.mark.parametrize(
    ("law", "expected"),
    [
        (BoostControl.ABSOLUTE, 0.0),
        (BoostControl.GAUGE, -2_000.0),
        (BoostControl.RATIO_AMBIENT, None),
    ],
)
def test_the_law_decides_what_a_thinner_day_does(law: BoostControl, expected: float | None) -> None:
    found = campaign(Driving.HOLD, boost_control=law, ambient_pressure_change_pa=-2_000.0)
    before, after = (
        float(np.mean(log["manifold_pressure"].value[-50:]))
        for log in (found.before[0], found.after[0])
    )
    if expected is None:
        assert after / before == pytest.approx(96_500.0 / 98_500.0, rel=1e-3)
    else:
        assert after - before == pytest.approx(expected, abs=100.0)


def test_steps_hold_five_speeds_at_full_load_and_a_hold_one() -> None:
    for kind, speeds in (
        (Driving.STEPS, step_speeds_rpm(TURBO_DIESEL)),
        (Driving.HOLD, np.array([hold_speed_rpm(TURBO_DIESEL)])),
    ):
        plan, history = driven(TURBO_DIESEL, kind)
        for speed in speeds:
            held = (np.abs(plan.speed_rpm / speed - 1.0) < 0.015) & (plan.pedal_frac > 0.99)
            assert held.sum() * GRID_S > 6.0
            last = np.flatnonzero(held)[-50:]
            flow = history.mdot_engine_kgps[last, 0]
            assert np.ptp(flow) < 0.03 * np.mean(flow)


def test_each_log_of_a_mixture_holds_its_own_driving() -> None:
    found = campaign(Driving.SWEEP, Driving.DRIVE, Driving.IDLE, n_before=3, n_after=3)
    for logs in (found.before, found.after):
        sweep, drive, idle = (log["engine_speed"] for log in logs)
        assert sweep.value.max() > 0.95 * TURBO_DIESEL.sweep.end_rpm
        assert drive.time_s[-1] > 2.5 * sweep.time_s[-1]
        assert idle.value.max() < 1.1 * TURBO_DIESEL.sweep.idle_rpm


def test_the_same_seed_drives_the_same_and_marched_neighbours_do_not_matter() -> None:
    road = Case(driving=(Driving.DRIVE,), n_before=1, n_after=1, drive_s=30.0)
    marched = Case(skew=0.03, n_before=1, n_after=1)
    first, second, third = simulate_campaigns(TURBO_DIESEL, [marched, road, marched], 9)
    assert [c.case for c in (first, second, third)] == [marched, road, marched]
    again = simulate_campaigns(TURBO_DIESEL, [Case(n_before=1, n_after=1), road], 9)[1]
    assert all(
        same(a, b)
        for a, b in zip(second.before + second.after, again.before + again.after, strict=True)
    )
    assert first.driven is None
    assert third.driven is None
    assert not same(second.before[0], second.after[0])


def test_own_channels_of_a_drive_have_no_lambda_and_begin_at_rest() -> None:
    case = own_channels(Case(driving=(Driving.DRIVE,), n_before=1, n_after=1, drive_s=30.0))
    log = simulate_campaigns(TURBO_DIESEL, [case], 9)[0].before[0]
    assert "lambda" not in log
    rest = log["engine_speed"].time_s < 3.5
    assert np.all(log["mass_air_flow"].value[rest] == 0.0)
    assert np.all(log["engine_speed"].value[rest] == 0.0)
    assert log["wheel_power"].value.min() == 0.0
