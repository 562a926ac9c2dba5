"""Values and budgets of the routes against worked examples and two propagation libraries."""

from __future__ import annotations

import GTC
import numpy as np
import pytest
import uncertainties
from CoolProp.CoolProp import PropsSI

from airsense.estimates import brake_power, depression, maf
from airsense.estimates.combustion import fuel_of
from airsense.estimates.defaults import DEFAULT_DOF, Defaults, defaults_for
from airsense.estimates.estimate import Estimate, Influence
from airsense.estimates.fuel_lambda import fuel_lambda
from airsense.estimates.humidity import RUN_SHARE
from airsense.estimates.run import Air
from airsense.estimates.speed_density import speed_density
from airsense.evidence.student import welch_satterthwaite
from airsense.physics.breathing import VE_PRIOR
from airsense.setup.engine import EngineSetup, Fuel
from tests.evidence_inputs import run_of, setup_of
from tests.published.published import Published

SPEED_DENSITY_BUDGET = Published(
    "quadrature by hand of MAP 1 % of 250 kPa at 200 kPa, 2 K at 320 K, VE 2 %", printed="2.440"
)
IDENTITY_FLOW = Published(
    "m = VE p V n / (120 R T), Heywood (1988) eq. 2.27, by hand", printed="68.9605"
)
ORIFICE_EXAMPLE = Published(
    "Scilab Textbook Companion 17.18, diesel test with orifice meter",
    printed="89.96",
    model_offset=0.005,
    why="the book takes air as 23 % oxygen by mass, here 23.15 %",
)


def sizes(setup: EngineSetup) -> Defaults:
    return defaults_for(setup.uncertainty, charge_temperature_estimated=False)


def part(estimate: Estimate, key: str) -> Influence:
    return next(i for i in estimate.budget if i.key == key)


def test_speed_density_budget_of_the_worked_example() -> None:
    """Full scale is 255 kPa here, so 1 % of 250 kPa is declared as 0.98 % of it."""
    setup = setup_of(
        uncertainty={
            "manifold_pressure_abs": 0.01 * 250.0 / 255.0,
            "charge_temperature_abs_k": 2.0,
            "volumetric_efficiency_abs": 0.02,
        },
        volumetric_efficiency=0.92,
    )
    got = speed_density(run_of(p_manifold_pa=2e5, t_charge_k=320.0), setup, sizes(setup))
    keys = ("manifold_pressure", "charge_temperature", "volumetric_efficiency")
    absolute = [part(got, k).absolute for k in keys]
    np.testing.assert_allclose(absolute, [0.0125, 0.00625, 0.02], rtol=1e-12)
    SPEED_DENSITY_BUDGET.check(100.0 * np.sqrt(np.sum(np.square(absolute))))


def test_speed_density_flow_by_hand() -> None:
    """Air at 200 kPa and 320 K is ideal to 0.02 %: CoolProp Z 0.99987."""
    setup = setup_of(volumetric_efficiency=0.95)
    got = speed_density(run_of(p_manifold_pa=2e5, t_charge_k=320.0), setup, sizes(setup))
    z = PropsSI("Z", "P", 2e5, "T", 320.0, "Air")
    np.testing.assert_allclose(got.mdot_kgps * z * 1e3, IDENTITY_FLOW.value, rtol=2e-5)


def test_recirculated_gas_and_filling_by_hand() -> None:
    setup = setup_of(volumetric_efficiency=0.95)
    plain = run_of(p_manifold_pa=2e5, t_charge_k=320.0)
    swept = speed_density(plain, setup, sizes(setup)).mdot_kgps
    both = run_of(p_manifold_pa=2e5, t_charge_k=320.0, egr_rate=0.25, mdot_filling_kgps=0.004)
    got = speed_density(both, setup, sizes(setup)).mdot_kgps
    np.testing.assert_allclose(got, 0.75 * swept + 0.004, rtol=1e-12)


def test_two_strokes_sweep_twice_as_often() -> None:
    four, two = setup_of(volumetric_efficiency=0.9), setup_of(volumetric_efficiency=0.9, strokes=2)
    run = run_of(p_manifold_pa=2e5, t_charge_k=320.0)
    ratio = (
        speed_density(run, two, sizes(two)).mdot_kgps
        / speed_density(run, four, sizes(four)).mdot_kgps
    )
    np.testing.assert_allclose(ratio, 2.0)


@pytest.mark.parametrize("ignition", ["compression", "spark"])
@pytest.mark.parametrize("induction", ["turbocharged", "naturally_aspirated"])
def test_a_volumetric_efficiency_that_nobody_declared_is_a_wide_prior(
    ignition: str, induction: str
) -> None:
    """Two published engine models: 0.83 to 0.97; handbooks 0.85 to 1.0 with four valves."""
    prior = VE_PRIOR[ignition, induction]
    assert 0.83 < prior.value < 0.97
    assert 0.04 < prior.u < 0.10
    run = run_of(p_manifold_pa=2e5, t_charge_k=320.0)
    bare = setup_of(ignition=ignition, induction=induction)  # type: ignore[arg-type]
    got = speed_density(run, bare, sizes(bare))
    assert part(got, "volumetric_efficiency").absolute == pytest.approx(prior.u / prior.value)
    declared = setup_of(volumetric_efficiency=prior.value)
    same = speed_density(run, declared, sizes(declared))
    np.testing.assert_allclose(got.mdot_kgps, same.mdot_kgps)
    assert part(same, "volumetric_efficiency").absolute == 0.05


def test_speed_density_propagates_as_two_libraries_do() -> None:
    setup = setup_of(volumetric_efficiency=0.93)
    wet = Air(x_vapour=0.01, r_jpkgk=288.1, u_r_abs=0.002, u_r_run=0.001)
    run = run_of(p_manifold_pa=2.1e5, t_charge_k=315.0, air=wet)
    got = speed_density(run, setup, sizes(setup))
    # p, T, n, VE, R with standard uncertainties of a single run by the table of defaults
    # (255 kPa full scale); R carries its drift, and a share of it as scatter.
    inputs = {
        "p": (2.1e5, np.hypot(0.015 * 2.55e5, 0.003 * 2.1e5)),
        "t": (315.0, np.hypot(2.0, 1.0)),
        "n": (2000.0, 2000.0 * np.hypot(0.001, 0.0005)),
        "ve": (0.93, 0.93 * np.hypot(0.05, 0.005)),
        "r": (288.1, 288.1 * np.sqrt(0.002**2 + (1.0 + RUN_SHARE**2) * 0.001**2)),
    }
    by_gtc = flow(*(GTC.ureal(x, u) for x, u in inputs.values()))
    by_other = flow(*(uncertainties.ufloat(x, u) for x, u in inputs.values()))
    relative = got.u_kgps[0] / got.mdot_kgps[0]
    assert relative == pytest.approx(by_gtc.u / by_gtc.x, rel=1e-9)
    assert relative == pytest.approx(by_other.std_dev / by_other.nominal_value, rel=1e-9)


def flow(p, t, n, ve, r):  # type: ignore[no-untyped-def]
    return ve * p * 2e-3 * n / (120.0 * r * t)


def test_fuel_times_lambda_of_a_textbook_diesel() -> None:
    """100 cm3 in 20 s at 831 kg/m3, carbon 0.83 and hydrogen 0.17 by mass, excess air 41.18 %."""
    hydrogen_to_carbon = (0.17 / 1.008) / (0.83 / 12.011)
    setup = EngineSetup(
        engine=setup_of().engine,
        fuel=Fuel(hydrogen_to_carbon=hydrogen_to_carbon, oxygen_to_carbon=0.0),
    )
    run = run_of(mdot_fuel_kgps=100e-6 * 831.0 / 20.0, lambda_=1.4118)
    ORIFICE_EXAMPLE.check(1e3 * fuel_lambda(run, setup, sizes(setup)).mdot_kgps[0])


def test_humid_air_carries_its_water_past_the_sensor() -> None:
    """W = 0.62198 x / (1 - x), ratio of the molar masses of water and dry air."""
    setup = setup_of()
    wet = Air(x_vapour=0.02, r_jpkgk=289.2, u_r_abs=0.0, u_r_run=0.0)
    dry_run = run_of(mdot_fuel_kgps=0.004, lambda_=1.5)
    wet_run = run_of(mdot_fuel_kgps=0.004, lambda_=1.5, air=wet)
    ratio = (
        fuel_lambda(wet_run, setup, sizes(setup)).mdot_kgps
        / fuel_lambda(dry_run, setup, sizes(setup)).mdot_kgps
    )
    np.testing.assert_allclose(ratio, 1.0 + 0.62198 * 0.02 / 0.98, rtol=2e-6)


def test_fuel_times_lambda_propagates_as_two_libraries_do() -> None:
    setup = setup_of()
    run = run_of(mdot_fuel_kgps=0.004, lambda_=1.5, fuel_is_per_stroke=True)
    got = fuel_lambda(run, setup, sizes(setup))
    afr = fuel_of(setup)[0].afr_stoich
    # Fuel per stroke, engine speed, lambda, stoichiometric ratio.
    inputs = [
        (0.004 / 2000.0, 0.004 / 2000.0 * np.hypot(0.04, 0.007)),
        (2000.0, 2000.0 * np.hypot(0.001, 0.0005)),
        (1.5, 1.5 * np.hypot(0.02, 0.007)),
        (afr, 0.006 * afr),
    ]
    by_gtc = np.prod([GTC.ureal(x, u) for x, u in inputs])
    by_other = np.prod([uncertainties.ufloat(x, u) for x, u in inputs])
    assert got.mdot_kgps[0] == pytest.approx(by_gtc.x, rel=1e-12)
    assert got.u_kgps[0] == pytest.approx(by_gtc.u, rel=1e-9)
    assert got.u_kgps[0] == pytest.approx(by_other.std_dev, rel=1e-9)


def test_effective_degrees_of_freedom_of_a_budget_are_gtcs() -> None:
    """A default is known to 20 to 35 %: JCGM 100 G.4.2, nu = 1/(2 x 0.25^2) = 8."""
    assert 0.5 / 0.35**2 < DEFAULT_DOF < 0.5 / 0.20**2
    setup = setup_of(volumetric_efficiency=0.93)
    got = speed_density(run_of(p_manifold_pa=2e5, t_charge_k=320.0), setup, sizes(setup))
    total = sum(GTC.ureal(0.0, i.total(), i.dof) for i in got.budget)
    variance = np.array([i.total() ** 2 for i in got.budget])
    dof = np.array([i.dof for i in got.budget])
    assert welch_satterthwaite(variance, dof) == pytest.approx(total.df, rel=1e-9)


def test_air_from_brake_power_by_hand() -> None:
    """60 kW at 36 % efficiency and 42.9 MJ/kg burn 3.885 g/s; times lambda and AFR.

    The heating value of diesel: 42.9 MJ/kg in two published engine models (LiU release).
    """
    setup = EngineSetup(
        engine=setup_of().engine, fuel=Fuel(name="diesel", lower_heating_value_mj_kg=42.9)
    )
    run = run_of(power_w=6e4, lambda_=1.4)
    got = brake_power.brake_power(run, setup, sizes(setup)).mdot_kgps[0]
    afr = fuel_of(setup)[0].afr_stoich
    Published("60e3 / (0.36 x 42.9e6), by hand", printed="3.885").check(1e3 * got / (1.4 * afr))


def test_rich_charge_burns_only_what_finds_air() -> None:
    """Below lambda 1 the air burns whatever fuel there is, so lambda drops out of the flow."""
    setup = setup_of(ignition="spark", fuel="petrol_e10")
    flows = [
        brake_power.brake_power(run_of(power_w=6e4, lambda_=x), setup, sizes(setup))
        for x in (0.8, 0.95, 1.25)
    ]
    assert flows[0].mdot_kgps[0] == pytest.approx(flows[1].mdot_kgps[0], rel=1e-12)
    assert flows[2].mdot_kgps[0] == pytest.approx(1.25 * flows[1].mdot_kgps[0], rel=1e-12)
    assert [i.key for i in flows[0].budget] == ["brake_efficiency", "brake_power", "humidity"]
    assert "lambda" in [i.key for i in flows[2].budget]


def test_depression_flow_is_that_of_an_opening() -> None:
    """m = A sqrt(2 rho dp): 15 cm2, 1.2045 kg/m3 (CIPM-2007, 20 C, dry), 2 kPa."""
    run = run_of(
        depression_pa=2e3,
        t_ambient_k=293.15,
        air=Air(x_vapour=0.0, r_jpkgk=287.05, u_r_abs=0.0, u_r_run=0.0),
    )
    got = depression.depression(run, setup_of(), sizes(setup_of())).mdot_kgps[0]
    Published("15e-4 sqrt(2 x 1.2041 x 2000), by hand", printed="0.1041").check(got)


def test_the_sensor_under_test_carries_no_absolute_error_of_its_own() -> None:
    setup = setup_of()
    got = maf.indicated(run_of(mdot_maf_kgps=0.1), sizes(setup))
    np.testing.assert_array_equal(got.mdot_kgps, 0.1)
    (only,) = got.budget
    assert (only.key, only.between, only.sensitivity) == ("mass_air_flow", 0.0, 1.0)
    assert only.run == 0.003
