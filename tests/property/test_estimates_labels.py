"""Whole budgets, component by component, and the words that go with findings and errors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.estimates import brake_power, depression, fuel_lambda, maf, speed_density
from airsense.estimates.combustion import find_fuel_flow, fuel_of
from airsense.estimates.defaults import BETWEEN_SHARE, Defaults, defaults_for
from airsense.estimates.estimate import Estimate
from airsense.estimates.prepare import prepare
from airsense.estimates.run import Air, Run
from airsense.physics.breathing import VE_PRIOR
from airsense.results import Severity
from airsense.setup.engine import EngineSetup
from tests.evidence_inputs import log_of, run_of, setup_of

SETUP = setup_of()
SIZES = defaults_for(SETUP.uncertainty, charge_temperature_estimated=False)
WET = Air(x_vapour=0.01, r_jpkgk=288.1, u_r_abs=0.002, u_r_run=0.001)
RUN = run_of(
    p_manifold_pa=2e5, t_charge_k=320.0, mdot_fuel_kgps=0.004, lambda_=1.4, power_w=6e4,
    depression_pa=-2e3, mdot_maf_kgps=0.1, fuel_is_per_stroke=True, t_ambient_k=300.0, air=WET,
    p_ambient_pa=1e5, from_gauge=True,
)  # fmt: skip
Row = tuple[str, str, float, float, float, float]


def split(size: float) -> tuple[float, float]:
    return size * np.sqrt(1.0 - BETWEEN_SHARE), size * np.sqrt(BETWEEN_SHARE)


PRIOR = VE_PRIOR["compression", "turbocharged"]
LAMBDA: Row = ("lambda", "lambda", 0.02, *split(0.007), 1.0)
SPEED: Row = ("engine_speed", "engine speed", 0.001, *split(0.0005), 1.0)
POWER: Row = ("brake_power", "brake power", 0.02, *split(0.007), 1.0)
# Burnt oxygen tells dry air: moist air follows the other way, and more than density does.
DRY: Row = ("humidity", "humidity of the air", 0.002, 0.0003, 0.001, 1.65)
# A zero of 20 Pa in 2 kPa moves the flow by half of its share.
ZERO = 0.5 * 20.0 / 2e3
# key, label, absolute, run, between, sensitivity
BUDGETS: dict[str, tuple[Callable[[Run, EngineSetup, Defaults], Estimate], set[Row]]] = {
    "speed_density": (
        speed_density.speed_density,
        {
            ("manifold_pressure", "manifold pressure", 0.015 * 2.55 / 2.0, *split(0.003), 1.0),
            ("charge_temperature", "charge temperature", 2 / 320, *split(1 / 320), -1.0),
            SPEED,
            ("volumetric_efficiency", "volumetric efficiency", PRIOR.u / PRIOR.value, 0.0, 0.005,
             1.0),
            ("humidity", "humidity of the air", 0.002, 0.0003, 0.001, -1.0),
            ("barometer", "barometric pressure, assumed", 0.015, 0.0025, 0.0025, 1.0),
        },
    ),
    "fuel_lambda": (
        fuel_lambda.fuel_lambda,
        {
            ("fuel", "fuel quantity", 0.04, *split(0.007), 1.0),
            LAMBDA,
            ("afr", "stoichiometric ratio", 0.006, 0.0, 0.0, 1.0),
            DRY,
            SPEED,
        },
    ),
    "brake_power": (
        brake_power.brake_power,
        {POWER, ("brake_efficiency", "brake efficiency", 0.10, 0.0, 0.01, 1.0), LAMBDA, DRY},
    ),
    "intake_depression": (
        depression.depression,
        {
            ("intake_opening", "opening that the intake amounts to", 0.5, 0.0, 0.5, 1.0),
            ("inlet_depression", "intake depression", ZERO, ZERO, ZERO, 1.0),
        },
    ),
}  # fmt: skip


@pytest.mark.parametrize("method", BUDGETS)
def test_budget(method: str) -> None:
    route, expected = BUDGETS[method]
    got = route(RUN, SETUP, SIZES)
    assert got.method == method
    found = {i.key: i for i in got.budget}
    assert set(found) == {row[0] for row in expected}
    for key, label, absolute, run, between, sensitivity in expected:
        part = found[key]
        assert part.label == label
        numbers = (part.absolute, part.run, part.between, part.sensitivity)
        assert numbers == pytest.approx((absolute, run, between, sensitivity), rel=1e-9)
    totals = [i.total() for i in got.budget]
    assert totals == sorted(totals, reverse=True)


def test_sensor_under_test() -> None:
    got = maf.indicated(RUN, SIZES)
    assert (got.method, got.budget[0].label) == ("mass_air_flow", "MAF reading")


def test_notes_travel_with_the_estimate() -> None:
    assert fuel_lambda.fuel_lambda(RUN, SETUP, SIZES).notes == (
        "fuel quantity is taken as commanded by the controller, not as measured",
    )
    assert speed_density.speed_density(RUN, SETUP, SIZES).notes == ()


def test_humid_air_of_the_brake_power_route() -> None:
    dry = run_of(power_w=6e4, lambda_=1.4)
    wet = run_of(power_w=6e4, lambda_=1.4, air=WET)
    ratio = (
        brake_power.brake_power(wet, SETUP, SIZES).mdot_kgps
        / brake_power.brake_power(dry, SETUP, SIZES).mdot_kgps
    )
    np.testing.assert_allclose(ratio, 1.0 + 0.62198 * 0.01 / 0.99, rtol=2e-6)


def test_no_power_no_flow() -> None:
    power = np.array([-5.0, 0.0, 0.5, 6e4])
    got = brake_power.brake_power(run_of(4, power_w=power, lambda_=1.4), SETUP, SIZES).mdot_kgps
    np.testing.assert_array_equal(np.isnan(got), [True, True, False, False])


def test_depression_by_hand_and_its_least_reading() -> None:
    """Air at 300 K and 1 bar: 1.157 kg/m3; 20 degC where nobody logged it; 100 Pa at least."""
    drop = np.array([-2e3, 2e3, 100.0, 99.0])
    run = run_of(4, depression_pa=drop, t_ambient_k=300.0, p_ambient_pa=1e5, air=WET)
    got = depression.depression(run, SETUP, SIZES).mdot_kgps
    rho = 1e5 / (288.1 * 300.0)
    ideal = 15e-4 * np.sqrt(2 * rho * np.array([2e3, 2e3, 100.0]))
    # Real air is denser than an ideal gas by 0.02 % here.
    np.testing.assert_allclose(got[:3], ideal, rtol=2e-4)
    assert np.isnan(got[3])
    cold = run_of(4, depression_pa=drop, p_ambient_pa=1e5, air=WET)
    other = depression.depression(cold, SETUP, SIZES).mdot_kgps
    np.testing.assert_allclose(other[:3] / got[:3], np.sqrt(300.0 / 293.15), rtol=1e-4)
    high = depression.depression(run_of(4, depression_pa=10.0), SETUP, SIZES)
    assert {i.key: i for i in high.budget}["inlet_depression"].absolute == pytest.approx(0.1)


TIME = 0.1 * np.arange(400)
BOOST = 1.0e5 + 9e4 * np.clip(np.sin(0.35 * TIME), 0.0, 1.0)


def test_finding_of_a_temperature_in_the_wrong_place() -> None:
    log = log_of(
        TIME, engine_speed=2500.0, manifold_pressure=BOOST, mass_air_flow=BOOST * 5e-7,
        charge_temperature=296.0, ambient_temperature=293.0, barometric_pressure=1e5,
    )  # fmt: skip
    got = prepare(log, SETUP)
    (finding,) = [f for f in got.findings if f.code == "temperature_before_compressor"]
    assert finding.severity is Severity.WARNING
    assert finding.message.startswith(
        "'charge_temperature' behaves like a sensor ahead of the compressor ("
    )
    assert finding.message.endswith(
        "; it is not used as charge temperature, which is estimated instead"
    )
    assert "declare [charge_temperature] place" in finding.fix
    assert finding.where == "log.csv"
    assert got.charge_estimated
    (note,) = [a for a in got.assumptions if a.quantity == "charge temperature of log.csv"]
    assert "degC, +-" in note.value
    assert note.value.endswith("K (k = 1)")
    assert note.source.endswith("inlet air logged ahead of the compressor")


def test_finding_of_a_temperature_that_nothing_places() -> None:
    log = log_of(
        TIME, engine_speed=2500.0, manifold_pressure=1.01e5, mass_air_flow=0.05,
        intake_temperature=300.0, barometric_pressure=1e5,
    )  # fmt: skip
    got = prepare(log, SETUP)
    (finding,) = [f for f in got.findings if f.code == "temperature_place_unknown"]
    assert finding.severity is Severity.WARNING
    assert "where 'intake_temperature' is measured" in finding.message
    assert finding.message.endswith("the charge temperature is estimated")
    assert 'place = "after_cooler"' in finding.fix
    assert finding.where == "log.csv"


def test_inlet_air_that_nobody_logged_is_assumed() -> None:
    log = log_of(
        TIME, engine_speed=2500.0, manifold_pressure=BOOST, mass_air_flow=BOOST * 5e-7,
        barometric_pressure=1e5,
    )  # fmt: skip
    got = prepare(log, SETUP)
    (note,) = [a for a in got.assumptions if a.quantity == "charge temperature of log.csv"]
    assert note.source.endswith("inlet air assumed 20 degC")
    assert got.t_ambient_k is None
    assert got.charge_estimated


def test_words_of_an_unknown_density() -> None:
    log = log_of(TIME, fuel_volume_flow=1e-6)
    unknown = replace(fuel_of(SETUP)[0], density_kgpm3=float("nan"))
    with pytest.raises(InputError) as caught:
        find_fuel_flow(log, SETUP, unknown, TIME, np.full(TIME.size, 2000.0))
    error = caught.value
    assert error.what == "the density of the fuel is not known, but fuel is logged as a volume"
    assert error.where == "engine.toml, [fuel]; log.csv"
    assert error.got == "fuel diesel without a density"
    assert error.allowed == "a fuel of the table, or [fuel] density_kg_l"
    assert error.fix == "add density_kg_l to [fuel], or log fuel as a mass"


def test_words_of_a_log_without_speed() -> None:
    with pytest.raises(InputError) as caught:
        prepare(log_of(TIME, "empty.csv"), SETUP)
    error = caught.value
    assert error.got == "no recognised channel"
    assert error.allowed == ("engine speed and mass air flow with at least two samples in common")
    assert error.fix == (
        "see `airsense channels LOG`; name the columns in [channels] of engine.toml"
    )
