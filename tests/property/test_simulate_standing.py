"""Ignition on and engine still, then idle: known right answers ahead of a pull."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.logs.log import Log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, own_channels
from tests.simulate.engines import ENGINES, TURBO_DIESEL, TURBO_PETROL, EngineModel

pytestmark = pytest.mark.slow

QUIET = Case(
    drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0, rounding=False, sample_rate_hz=20.0
)
STILL_S, IDLE_S = 4.0, 6.0
engines = pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)


@cache
def campaign(engine: EngineModel = TURBO_DIESEL, **knobs: object) -> SimulatedCampaign:
    case = replace(own_channels(QUIET, still_s=STILL_S, idle_s=IDLE_S), **knobs)  # type: ignore[arg-type]
    return simulate_campaigns(engine, [case], 4)[0]


def between(log: Log, name: str, start_s: float, stop_s: float) -> FloatArray:
    channel = log[name]
    value: FloatArray = channel.value[(channel.time_s > start_s) & (channel.time_s < stop_s)]
    assert value.size > 10
    return value


def still(log: Log, name: str) -> FloatArray:
    return between(log, name, 0.0, STILL_S - 0.1)


def idle(log: Log, name: str) -> FloatArray:
    return between(log, name, STILL_S + 1.0, STILL_S + IDLE_S - 1.0)


@engines
def test_the_still_engine_shows_the_barometer_and_no_flow(engine: EngineModel) -> None:
    for log in campaign(engine).before:
        assert np.all(still(log, "engine_speed") == 0.0)
        assert np.all(still(log, "mass_air_flow") == 0.0)
        assert np.all(still(log, "air_per_stroke") == 0.0)
        assert np.all(still(log, "fuel_per_stroke") == 0.0)
        assert np.all(still(log, "wheel_power") == 0.0)
        np.testing.assert_allclose(
            still(log, "manifold_pressure"), log["barometric_pressure"].value[0], rtol=1e-12
        )


def test_the_still_engine_shows_gain_and_offset_of_the_pressure_sensor() -> None:
    found = campaign(map_gain=0.04, map_offset_kpa=1.5)
    true = found.after[0]["barometric_pressure"].value[0]
    np.testing.assert_allclose(still(found.after[0], "manifold_pressure"), 1.04 * true + 1500.0)
    np.testing.assert_allclose(still(found.before[0], "manifold_pressure"), true)


def test_a_barometer_copied_at_key_on_hides_them() -> None:
    found = campaign(map_gain=0.04, barometer_from_map=True)
    copied = found.after[0]["barometric_pressure"].value[0]
    np.testing.assert_allclose(still(found.after[0], "manifold_pressure"), copied)
    assert copied == pytest.approx(1.04 * 98_500.0)


def test_a_noisy_rounded_log_shows_the_barometer_within_its_errors() -> None:
    found = campaign(
        noise=1.0, rounding=True, scatter=1.0, absolute_errors=1.0, map_resolution_kpa=0.5
    )
    read = [np.mean(still(log, "manifold_pressure")) for log in found.before + found.after]
    # The same sensor in all runs: its own error is common, run to run it repeats to a few tenths.
    assert np.std(read) < 500.0
    assert abs(np.mean(read) / 98_500.0 - 1.0) < 0.03


@pytest.mark.parametrize("engine", ENGINES[:2], ids=lambda e: e.name)
def test_an_idling_diesel_breathes_what_its_displacement_gives(engine: EngineModel) -> None:
    log = campaign(engine).before[0]
    speed, flow = idle(log, "engine_speed"), idle(log, "mass_air_flow")
    np.testing.assert_allclose(speed, engine.sweep.idle_rpm)
    pressure = idle(log, "manifold_pressure")
    assert np.all(np.abs(pressure - log["barometric_pressure"].value[0]) < 2e3)
    volume = engine.breathing.displacement_m3 * speed / 120.0
    apparent = flow * 287.05 * idle(log, "charge_temperature") / (pressure * volume)
    assert np.all((apparent > 0.75) & (apparent < 0.95))
    fuel = idle(log, "fuel_per_stroke") / idle(log, "air_per_stroke")
    assert np.all((1.0 / fuel > 3.0 * 14.5) & (1.0 / fuel < 6.0 * 14.5))


def test_an_idling_spark_engine_is_throttled_and_burns_stoichiometric() -> None:
    log = campaign(TURBO_PETROL).before[0]
    assert np.all(idle(log, "manifold_pressure") < 0.45e5)
    ratio = idle(log, "air_per_stroke") / idle(log, "fuel_per_stroke")
    # The command follows the engine's own air.
    np.testing.assert_allclose(ratio, 14.3, rtol=0.01)


def test_recirculation_at_idle_displaces_its_share() -> None:
    plain, open_ = (
        np.mean(idle(campaign(idle_recirculation_frac=x).before[0], "mass_air_flow"))
        for x in (0.0, 0.3)
    )
    assert open_ / plain == pytest.approx(0.7, abs=0.001)


def test_the_idle_is_skewed_as_the_sweep_and_knows_no_pulsation() -> None:
    def change(found: SimulatedCampaign) -> float:
        after = np.mean(idle(found.after[0], "mass_air_flow"))
        return float(after / np.mean(idle(found.before[0], "mass_air_flow")))

    soaked = 0.02  # each start is soaked otherwise, by a few kelvin
    assert change(campaign(skew=0.05)) == pytest.approx(1.05, abs=soaked)
    assert change(campaign(pulsation=0.20)) == pytest.approx(change(campaign()), abs=1e-9)
    leaking = campaign(leak_after_compressor=0.08)
    lost = change(leaking) / change(campaign()) - 1.0
    assert 0.0 < lost < 0.6 * leaking.truth.surplus(2500.0, 3900.0)


def test_the_preamble_leaves_the_pull_alone() -> None:
    with_it, without = campaign(), campaign(still_s=0.0, idle_s=0.0)
    grid = np.linspace(1800.0, 4000.0, 30)
    for name in ("mass_air_flow", "manifold_pressure", "wheel_power", "charge_temperature"):
        shown = []
        for found in (with_it, without):
            log = found.before[0]
            speed = log["engine_speed"]
            pulling = log.at("pedal", speed.time_s) > 0.99
            time = np.interp(grid, speed.value[pulling], speed.time_s[pulling])
            shown.append(log.at(name, time))
        np.testing.assert_allclose(shown[0], shown[1], rtol=2e-3, err_msg=name)


def test_pulsation_by_load_fades_with_boost_within_a_march() -> None:
    case = replace(QUIET, pulsation=0.1, pulsation_by_load=True)
    loaded = simulate_campaigns(TURBO_DIESEL, [case], 4)[0]
    always = simulate_campaigns(TURBO_DIESEL, [replace(case, pulsation_by_load=False)], 4)[0]

    def cruise(found: SimulatedCampaign) -> float:
        after, before = (
            np.mean(between(side[0], "mass_air_flow", 1.0, 2.5))
            for side in (found.after, found.before)
        )
        return float(after / before) - 1.0

    assert cruise(loaded) < 0.6 * cruise(always)
    # At full load both are as large.
    assert loaded.truth.skew(1500.0, 1600.0) == pytest.approx(
        always.truth.skew(1500.0, 1600.0), rel=0.02
    )
    assert loaded.truth.skew(1500.0, 1600.0) > 0.03


def test_power_at_the_wheels_is_a_line_in_brake_power() -> None:
    log = campaign(log_brake_power=True).before[0]
    brake, wheels = log["brake_power"].value, log["wheel_power"].value
    pulling = wheels > 1e4
    slope, lost = np.polyfit(brake[pulling], wheels[pulling], 1)
    assert slope == pytest.approx(0.90, abs=1e-6)
    assert lost == pytest.approx(-3_000.0, abs=1.0)
    assert wheels.min() == 0.0


def test_own_channels_are_those_of_the_workshop() -> None:
    channels = set(campaign().before[0].channels)
    assert not channels & {"lambda", "intake_temperature", "brake_power"}
    assert channels >= {
        "mass_air_flow", "air_per_stroke", "fuel_per_stroke", "manifold_pressure",
        "charge_temperature", "barometric_pressure", "wheel_power",
    }  # fmt: skip
