"""Each knob of a case makes its own fault and no other."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.logs.log import Log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.sensor import transfer_table

pytestmark = pytest.mark.slow

QUIET = Case(
    drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0, rounding=False, heat_soak=False,
    sample_rate_hz=20.0,
)  # fmt: skip
GRID = np.linspace(2200.0, 3900.0, 35)


@cache
def campaign(**knobs: object) -> SimulatedCampaign:
    return simulate_campaigns(TURBO_DIESEL, [replace(QUIET, **knobs)], 1)[0]  # type: ignore[arg-type]


def over_speed(log: Log, name: str) -> FloatArray:
    speed = log["engine_speed"]
    pulling = log.at("pedal", speed.time_s) > 0.99
    time = np.interp(GRID, speed.value[pulling], speed.time_s[pulling])
    return log.at(name, time)


def ratio(found: SimulatedCampaign, name: str) -> FloatArray:
    return over_speed(found.after[0], name) / over_speed(found.before[0], name)


def unchanged(found: SimulatedCampaign, *names: str) -> None:
    for name in names:
        np.testing.assert_allclose(ratio(found, name), 1.0, atol=2e-3, err_msg=name)


def untouched(found: SimulatedCampaign) -> None:
    """The engine does not know of the fault."""
    assert found.truth.airflow_change(2200.0, 3900.0) == 0.0
    assert found.truth.skew(2200.0, 3900.0) == 0.0


def test_manifold_pressure_gain() -> None:
    found = campaign(map_gain=-0.20)
    untouched(found)
    np.testing.assert_allclose(ratio(found, "manifold_pressure"), 0.80, rtol=2e-3)
    unchanged(found, "mass_air_flow", "fuel_per_stroke", "lambda", "charge_temperature")


def test_manifold_pressure_offset() -> None:
    found = campaign(map_offset_kpa=5.0)
    untouched(found)
    shift = over_speed(found.after[0], "manifold_pressure") - over_speed(
        found.before[0], "manifold_pressure"
    )
    np.testing.assert_allclose(shift, 5e3, atol=300.0)
    unchanged(found, "mass_air_flow", "fuel_per_stroke", "lambda")


def test_charge_temperature_offset() -> None:
    found = campaign(charge_temp_offset_k=6.0)
    untouched(found)
    shift = over_speed(found.after[0], "charge_temperature") - over_speed(
        found.before[0], "charge_temperature"
    )
    np.testing.assert_allclose(shift, 6.0, atol=0.1)
    unchanged(found, "mass_air_flow", "manifold_pressure", "lambda")


def test_lambda_scale() -> None:
    found = campaign(lambda_scale=0.04)
    untouched(found)
    np.testing.assert_allclose(ratio(found, "lambda"), 1.04, rtol=2e-3)
    unchanged(found, "mass_air_flow", "manifold_pressure", "fuel_per_stroke")


def test_fuel_scale_is_command_over_delivery() -> None:
    found = campaign(fuel_scale=0.04)
    # Less is burnt of the same command: leaner by the scale, weaker, a little less boost.
    fuel_lambda = ratio(found, "fuel_per_stroke") * ratio(found, "lambda")
    air = ratio(found, "mass_air_flow")
    np.testing.assert_allclose(fuel_lambda / air, 1.04, rtol=3e-3)
    assert np.all(ratio(found, "brake_power") < 0.98)
    assert -0.02 < found.truth.airflow_change(2200.0, 3900.0) < 0.0


def test_pulsation_shows_at_low_speed_only() -> None:
    found = campaign(pulsation=0.06)
    assert found.truth.skew(1400.0, 1500.0) > 0.045
    assert abs(found.truth.skew(3500.0, 3900.0)) < 1e-4


def test_surplus_is_the_skew_and_the_leak_together() -> None:
    window = (2200.0, 3900.0)
    leaking = campaign(leak_after_compressor=0.05)
    assert leaking.truth.surplus(*window) > 0.04
    assert leaking.surplus(*window) == leaking.truth.surplus(*window)
    unmetered = campaign(leak_before_compressor=0.05)
    assert -0.06 < unmetered.truth.surplus(*window) < -0.02
    both = campaign(skew=0.06, leak_after_compressor=0.05).truth
    product = 1.06 * (1.0 + leaking.truth.surplus(*window)) - 1.0
    assert both.surplus(*window) == pytest.approx(product, abs=4e-3)
    # Filling of the charge volume is in a sweep, hardly in a window of it.
    assert campaign(skew=0.06).truth.surplus(*window) == pytest.approx(0.06, abs=2e-3)


def test_skew_shape_grows_with_flow() -> None:
    found = campaign(skew_shape=0.06)
    steps = [found.truth.skew(s, s + 100.0) for s in (1600.0, 2200.0, 2800.0, 3600.0)]
    assert np.all(np.diff(steps) > 0.004)
    assert steps[-1] == pytest.approx(0.06, abs=0.01)


def test_leak_behind_the_compressor_reads_above_the_engines_air() -> None:
    found = campaign(leak_after_compressor=0.05)
    assert found.truth.skew(2200.0, 3900.0) == 0.0
    fuel_route = ratio(found, "fuel_per_stroke") * ratio(found, "lambda")
    excess = ratio(found, "mass_air_flow") / fuel_route - 1.0
    assert np.all(excess > 0.04)


def test_leak_ahead_of_the_compressor_reads_below_it() -> None:
    found = campaign(leak_before_compressor=0.05)
    assert found.truth.skew(2200.0, 3900.0) == 0.0
    fuel_route = ratio(found, "fuel_per_stroke") * ratio(found, "lambda")
    deficit = 1.0 - ratio(found, "mass_air_flow") / fuel_route
    assert np.all(deficit > 0.025)
    assert deficit[-1] > 1.3 * deficit[0]


def test_recirculation_open_in_the_pull() -> None:
    found = campaign(egr_open_after=0.06)
    density = ratio(found, "manifold_pressure") / ratio(found, "charge_temperature")
    apparent = ratio(found, "mass_air_flow") / density
    assert np.all((apparent > 0.92) & (apparent < 0.96))


def test_depression_tells_of_a_freer_intake() -> None:
    found = campaign(restriction_factor=0.5, log_depression=True)
    by_flow = ratio(found, "inlet_depression") / ratio(found, "mass_air_flow") ** 2
    np.testing.assert_allclose(by_flow, 0.5, rtol=0.02)


def test_a_choked_first_intake_leaves_more_to_relieve() -> None:
    choked = campaign(restriction_before=2.0, restriction_factor=0.25, log_depression=True)
    plain = campaign(restriction_factor=0.25, log_depression=True)
    by_flow = ratio(choked, "inlet_depression") / ratio(choked, "mass_air_flow") ** 2
    np.testing.assert_allclose(by_flow, 0.25, rtol=0.03)
    window = (2200.0, 3900.0)
    assert choked.truth.airflow_change(*window) > 1.5 * plain.truth.airflow_change(*window)


def test_ceilings_are_flat() -> None:
    found = campaign(maf_ceiling_kgps=0.20, map_ceiling_kpa=255.0)
    for log in found.before + found.after:
        assert np.sum(log["mass_air_flow"].value > 0.199) > 15
        assert log["mass_air_flow"].value.max() <= 0.20
        assert np.sum(log["manifold_pressure"].value == 255e3) > 15
        assert log["manifold_pressure"].value.max() == 255e3


def test_circular_air_per_stroke_is_the_maf_to_within_rounding() -> None:
    found = campaign(circular_air_per_stroke=True, noise=1.0, rounding=True)
    log = found.before[0]
    speed = log["engine_speed"].value
    by_stroke = log["air_per_stroke"].value * 6.0 * speed / 120.0
    half_step = 0.5e-6 * 6.0 * speed / 120.0 + 0.5e-4 + 0.5 * by_stroke / speed
    assert np.all(np.abs(by_stroke - log["mass_air_flow"].value) <= 1.001 * half_step)


def identity_spread(found: SimulatedCampaign) -> float:
    """Scatter of MAF over lambda times fuel in the pull, after the skew of the second tube."""
    log = found.after[0]
    fuel = over_speed(log, "fuel_per_stroke") * 6.0 * GRID / 120.0
    product = over_speed(log, "mass_air_flow") / (over_speed(log, "lambda") * fuel)
    return float(np.median(product) / TURBO_DIESEL.fuelling.air_fuel_ratio_stoich)


def test_circular_lambda_hides_the_skew_and_a_measured_one_shows_it() -> None:
    assert identity_spread(campaign(skew=0.06, circular_lambda=True)) == pytest.approx(
        1.0, abs=0.004
    )
    # Humidity adds under one percent to the metered air.
    assert 1.05 < identity_spread(campaign(skew=0.06)) < 1.08


def test_gauge_us_units_keep_the_physics() -> None:
    plain = campaign()
    gauge = campaign(gauge_us_units=True)
    assert "manifold_pressure" not in gauge.before[0]
    absolute = over_speed(gauge.before[0], "boost_pressure") + 98_500.0
    np.testing.assert_allclose(
        absolute, over_speed(plain.before[0], "manifold_pressure"), rtol=1e-9
    )
    rounded = campaign(gauge_us_units=True, rounding=True).before[0]
    psi = rounded["boost_pressure"].value / 6894.757293168
    np.testing.assert_allclose(10.0 * psi, np.round(10.0 * psi), atol=1e-6)
    fahrenheit = (rounded["charge_temperature"].value - 273.15) * 1.8 + 32.0
    np.testing.assert_allclose(fahrenheit, np.round(fahrenheit), atol=1e-6)


@pytest.mark.parametrize(
    ("knob", "channel"),
    [
        ("log_lambda", "lambda"),
        ("log_fuel", "fuel_per_stroke"),
        ("log_charge_temperature", "charge_temperature"),
        ("log_intake_temperature", "intake_temperature"),
        ("log_barometer", "barometric_pressure"),
        ("log_brake_power", "brake_power"),
        ("log_depression", "inlet_depression"),
        ("log_maf_signal", "maf_signal"),
        ("log_wheel_power", "wheel_power"),
        ("log_boost_demand", "boost_demand"),
    ],
)
def test_what_is_not_logged_is_not_there(knob: str, channel: str) -> None:
    assert channel in campaign(**{knob: True}).before[0]
    assert channel not in campaign(**{knob: False}).before[0]


def test_the_raw_signal_gives_the_flow_through_the_table() -> None:
    log = campaign(log_maf_signal=True, noise=1.0).before[0]
    flow = transfer_table(TURBO_DIESEL).flow(log["maf_signal"].value)
    np.testing.assert_allclose(flow, log["mass_air_flow"].value, rtol=1e-9)


def test_weather_between_the_configurations() -> None:
    found = campaign(ambient_temperature_change_k=10.0, ambient_pressure_change_pa=-1500.0)
    shift = over_speed(found.after[0], "intake_temperature") - over_speed(
        found.before[0], "intake_temperature"
    )
    np.testing.assert_allclose(shift, 10.0, atol=0.3)
    assert ratio(found, "barometric_pressure")[0] == pytest.approx(97.0 / 98.5)
    # Hotter, thinner air: less of it.
    assert found.truth.airflow_change(2200.0, 3900.0) < -0.01


def test_run_counts() -> None:
    found = campaign(n_before=1, n_after=4)
    assert (len(found.before), len(found.after)) == (1, 4)
    assert found.before[0].path.endswith("before_1")
    assert found.after[3].path.endswith("after_4")
