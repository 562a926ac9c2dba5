"""Campaigns: reproducible, of the stated scatter, and logged as a logger would."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.logs.canon import CANON
from airsense.logs.log import Log
from airsense.setup.engine import TemperaturePlace
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import ENGINES, TURBO_DIESEL, TURBO_PETROL, EngineModel

pytestmark = pytest.mark.slow

QUIET = Case(drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0, rounding=False)
ALL_CHANNELS = Case(log_depression=True, log_maf_signal=True, circular_air_per_stroke=True)


def one(case: Case, engine: EngineModel = TURBO_DIESEL, seed: int = 1) -> SimulatedCampaign:
    return simulate_campaigns(engine, [case], seed)[0]


def same(a: Log, b: Log) -> bool:
    return a.channels.keys() == b.channels.keys() and all(
        np.array_equal(a[name].value, b[name].value)
        and np.array_equal(a[name].time_s, b[name].time_s)
        for name in a.channels
    )


def at_speed(log: Log, name: str, speed_rpm: float) -> float:
    """The channel where the pull passes a speed."""
    speed = log["engine_speed"]
    pulling = log.at("pedal", speed.time_s) > 0.97
    time = np.interp(speed_rpm, speed.value[pulling], speed.time_s[pulling])
    return float(log.at(name, np.array([time]))[0])


def test_the_same_seed_gives_the_same_logs_and_another_does_not() -> None:
    case = Case(skew=0.03)
    a, b, c = one(case), one(case), one(case, seed=2)
    assert all(same(x, y) for x, y in zip(a.before + a.after, b.before + b.after, strict=True))
    assert a.truth.airflow_change(2000.0, 4000.0) == b.truth.airflow_change(2000.0, 4000.0)
    assert not same(a.before[0], c.before[0])


def test_a_campaign_does_not_depend_on_those_behind_it() -> None:
    first = Case(skew=0.03, rounding=False)
    alone = one(first)
    crowd = simulate_campaigns(TURBO_DIESEL, [first, Case(n_after=1), Case(boost_change=0.05)], 1)
    for a, b in zip(alone.before + alone.after, crowd[0].before + crowd[0].after, strict=True):
        for name, channel in a.channels.items():
            np.testing.assert_array_equal(channel.time_s, b[name].time_s)
            np.testing.assert_allclose(channel.value, b[name].value, rtol=1e-9)


def test_chunks_do_not_show() -> None:
    cases = [Case(name=f"c{i}", skew=0.01 * (i % 5)) for i in range(120)]
    campaigns = simulate_campaigns(TURBO_DIESEL, cases, 3)
    assert [c.case for c in campaigns] == cases
    for campaign in campaigns:
        assert campaign.truth.skew(2000.0, 4000.0) == pytest.approx(campaign.case.skew, abs=1e-9)
        assert (len(campaign.before), len(campaign.after)) == (3, 3)


@pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)
def test_channels_are_canonical_and_credible_and_on_rising_times(engine: EngineModel) -> None:
    campaign = one(ALL_CHANNELS, engine)
    for log in campaign.before + campaign.after:
        for name, channel in log.channels.items():
            quantity = CANON[name]
            assert channel.name == name
            assert channel.time_s.shape == channel.value.shape
            assert np.all(np.diff(channel.time_s) > 0.0)
            assert np.all(np.isfinite(channel.value))
            assert quantity.low <= channel.value.min() <= channel.value.max() <= quantity.high


def test_values_lie_on_the_loggers_steps() -> None:
    log = one(ALL_CHANNELS).before[0]
    steps = {"manifold_pressure": 1e3, "mass_air_flow": 1e-4, "engine_speed": 1.0,
             "fuel_per_stroke": 1e-7, "lambda": 0.01, "brake_power": 100.0}  # fmt: skip
    for name, step in steps.items():
        assert log[name].resolution == pytest.approx(step)
        off = np.abs(log[name].value / step - np.round(log[name].value / step))
        assert np.max(off) < 1e-6
    celsius = log["charge_temperature"].value - 273.15
    assert np.max(np.abs(celsius - np.round(celsius))) < 1e-9


def test_runs_repeat_to_within_the_stated_scatter() -> None:
    plain = Case(n_before=40, n_after=1, drift=0.0, absolute_errors=0.0, heat_soak=False)
    logs = one(plain).before
    ln_maf = np.log([at_speed(log, "mass_air_flow", 3000.0) for log in logs])
    ln_map = np.log([at_speed(log, "manifold_pressure", 3000.0) for log in logs])
    ln_power = np.log([at_speed(log, "brake_power", 3000.0) for log in logs])
    assert 0.003 < np.std(ln_maf) < 0.010
    assert 0.002 < np.std(ln_map) < 0.007
    assert 0.004 < np.std(ln_power) < 0.014


def test_scatter_can_be_scaled() -> None:
    plain = Case(n_before=25, n_after=1, drift=0.0, absolute_errors=0.0, heat_soak=False, noise=0.0)
    spread = []
    for scatter in (0.0, 1.0, 3.0):
        logs = one(replace(plain, scatter=scatter, rounding=False)).before
        spread.append(np.std(np.log([at_speed(log, "mass_air_flow", 3000.0) for log in logs])))
    assert spread[0] < 2e-3  # the interpolation of ever other sample times
    assert 2.0 < spread[2] / spread[1] < 4.0


def test_heat_soak_warms_the_later_runs() -> None:
    soaked, cold = (
        one(replace(QUIET, heat_soak=on, n_before=4, n_after=4)) for on in (True, False)
    )
    t = [at_speed(log, "charge_temperature", 2500.0) for log in soaked.before + soaked.after]
    assert np.all(np.diff(t) > -0.05)
    assert t[-1] - t[0] > 1.0
    t = [at_speed(log, "charge_temperature", 2500.0) for log in cold.before + cold.after]
    assert np.ptp(t) < 0.1


def test_truth_and_quiet_logs_agree() -> None:
    campaign = one(replace(QUIET, skew=0.05, boost_change=0.03, heat_soak=False, noise=0.0))
    indicated = np.log(
        at_speed(campaign.after[0], "mass_air_flow", 3000.0)
        / at_speed(campaign.before[0], "mass_air_flow", 3000.0)
    )
    truth = campaign.truth
    expected = np.interp(3000.0, truth.speed_rpm, truth.sensor_flow + truth.reading)
    assert indicated == pytest.approx(expected, abs=3e-3)


def test_breathing_that_drifts_between_configurations_is_part_of_the_truth() -> None:
    drifting = simulate_campaigns(TURBO_DIESEL, [Case(name=str(i)) for i in range(60)], 5)
    changes = [c.truth.airflow_change(2200.0, 4000.0) for c in drifting]
    assert 0.002 < np.std(changes) < 0.005
    assert all(c.truth.skew(2200.0, 4000.0) == pytest.approx(0.0, abs=1e-12) for c in drifting)


def polled(case: Case) -> tuple[Log, FloatArray]:
    log = one(case).before[0]
    return log, np.concatenate([c.time_s for c in log.channels.values()])


def test_staggered_polling_asks_one_channel_at_a_time() -> None:
    log, times = polled(Case(staggered=True, sample_rate_hz=15.0))
    times.sort()
    np.testing.assert_allclose(np.diff(times), 1.0 / 15.0, rtol=1e-6)
    for channel in log.channels.values():
        assert channel.rate_hz == pytest.approx(15.0 / len(log.channels))


def test_a_plain_log_samples_all_channels_together() -> None:
    log, times = polled(Case(sample_rate_hz=20.0))
    assert np.unique(times).size == log["engine_speed"].time_s.size
    assert log["engine_speed"].rate_hz == pytest.approx(20.0)


@pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)
def test_the_declared_setup_is_near_but_not_the_truth(engine: EngineModel) -> None:
    setup = engine.setup()
    assert setup.engine.displacement_m3 == pytest.approx(engine.breathing.displacement_m3)
    assert setup.engine.cylinders == engine.breathing.cylinders
    assert setup.engine.charge_volume_l is not None
    assert 0.8 < setup.engine.charge_volume_l / (1e3 * engine.charge.volume_m3) < 0.95
    lag = setup.charge_temperature.time_constant_s
    assert lag is not None
    assert 1.1 < lag / engine.sensing.thermistor_lag_s < 1.4


def test_the_setup_says_where_the_only_temperature_is_taken() -> None:
    assert one(Case(log_charge_temperature=False)).setup.charge_temperature.place is (
        TemperaturePlace.BEFORE_COMPRESSOR
    )
    assert one(Case()).setup.charge_temperature.place is TemperaturePlace.AFTER_COOLER


def test_a_spark_engine_lifts_off_through_its_throttle() -> None:
    log = one(QUIET, TURBO_PETROL).before[0]
    closed = log["pedal"].value < 0.01
    assert np.all(log["manifold_pressure"].value[closed][10:] < 70e3)
