"""What the routes rest on: sizes, pressures, fuel, lambda, power, grid, segments, routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.estimates.combustion import (
    find_fuel_flow,
    find_lambda,
    find_power_w,
    fuel_of,
    per_stroke_to_flow_kgps,
)
from airsense.estimates.defaults import BETWEEN_SHARE, defaults_for
from airsense.estimates.estimate import Estimate, Influence, influence_of, largest_first
from airsense.estimates.fuel_lambda import lambda_influence, missing_for_fuel_lambda
from airsense.estimates.pressures import find_pressures
from airsense.estimates.routes import ROUTES, sizes_for, usable_routes
from airsense.estimates.run import grid_of, native_step_s, on_grid
from airsense.estimates.speed_density import missing_for_speed_density, speed_density
from airsense.logs.log import Log
from airsense.physics.exhaust import lambda_from_carbon_dioxide_dry, lambda_from_oxygen_dry
from airsense.physics.fuel import fuel_named
from airsense.setup.engine import EngineSetup, Fuel, Uncertainty
from airsense.setup.ve_table import VeTable
from tests.evidence_inputs import channel, log_of, run_of, setup_of

TIME = 0.1 * np.arange(101)
SETUP = setup_of()
DIESEL = fuel_named("diesel")


# --- default sizes ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "absolute", "run", "between", "unit"),
    [
        # The table of default standard uncertainties: our choice, printed in each result.
        ("manifold_pressure", 0.015, 0.003, BETWEEN_SHARE, "fraction"),
        ("charge_temperature", 2.0, 1.0, BETWEEN_SHARE, "K"),
        ("engine_speed", 0.001, 0.0005, BETWEEN_SHARE, "fraction"),
        ("volumetric_efficiency", 0.05, 0.005, 1.0, "fraction"),
        ("fuel", 0.04, 0.007, BETWEEN_SHARE, "fraction"),
        ("lambda_", 0.02, 0.007, BETWEEN_SHARE, "fraction"),
        ("mass_air_flow", 0.03, 0.003, 0.0, "fraction"),
        ("brake_power", 0.02, 0.007, BETWEEN_SHARE, "fraction"),
        ("brake_efficiency", 0.10, 0.01, 1.0, "fraction"),
    ],
)
def test_default_sizes(name: str, absolute: float, run: float, between: float, unit: str) -> None:
    size = getattr(defaults_for(Uncertainty(), charge_temperature_estimated=False), name)
    assert (size.absolute, size.run, size.between, size.unit) == (absolute, run, between, unit)
    assert not size.declared
    assert size.label


def test_an_estimated_charge_temperature_is_much_less_known() -> None:
    size = defaults_for(Uncertainty(), charge_temperature_estimated=True).charge_temperature
    assert (size.absolute, size.run) == (12.0, 3.0)
    assert size.label == "charge temperature, estimated"


def test_what_the_user_declares_counts_alone() -> None:
    declared = Uncertainty(
        lambda_run=0.01, charge_temperature_abs_k=4.0, manifold_pressure_run=0.001
    )
    sizes = defaults_for(declared, charge_temperature_estimated=False)
    assert (sizes.lambda_.run, sizes.lambda_.absolute, sizes.lambda_.declared) == (0.01, 0.02, True)
    assert sizes.charge_temperature.absolute == 4.0
    assert sizes.charge_temperature.run == 1.0
    assert sizes.manifold_pressure.run == 0.001
    assert not sizes.fuel.declared
    lines = {a.quantity: (a.value, a.source) for a in sizes.assumptions()}
    assert len(lines) == 9
    value, source = lines["standard uncertainty of lambda"]
    assert value == "absolute 2 %, run to run 1 %"
    assert source == "engine.toml"
    value, source = lines["standard uncertainty of charge temperature"]
    assert value == "absolute 4 K, run to run 1 K"
    assert source == "engine.toml"
    value, source = lines["standard uncertainty of fuel quantity"]
    assert value == "absolute 4 %, run to run 0.7 %"
    assert "our choice" in source


def test_a_declared_size_splits_into_scatter_and_drift() -> None:
    """A share of the variance is drift; together they are what was declared."""
    size = defaults_for(Uncertainty(fuel_run=0.01), charge_temperature_estimated=False).fuel
    got = influence_of(size, key="fuel", sensitivity=-2.0, scale=4.0)
    assert got.run == pytest.approx(0.01 / 4 * np.sqrt(1.0 - BETWEEN_SHARE))
    assert got.between == pytest.approx(0.01 / 4 * np.sqrt(BETWEEN_SHARE))
    assert got.absolute == pytest.approx(0.04 / 4)
    assert (got.sensitivity, got.key, got.label) == (-2.0, "fuel", "fuel quantity")
    assert got.total() == pytest.approx(2.0 * np.sqrt(0.01**2 + 0.0025**2))


def test_largest_component_first() -> None:
    parts = [
        Influence(key=k, label=k, absolute=a, run=0.0, between=0.0, sensitivity=s)
        for k, a, s in (("a", 0.01, 1.0), ("b", 0.02, -1.0), ("c", 0.005, 5.0))
    ]
    assert [i.key for i in largest_first(parts)] == ["c", "b", "a"]


def test_logarithm_of_a_flow_that_is_none_is_nan() -> None:
    got = Estimate(method="m", mdot_kgps=np.array([0.1, 0.0, -0.1, np.nan]), budget=())
    np.testing.assert_array_equal(np.isnan(got.ln_flow), [False, True, True, True])
    assert got.ln_flow[0] == pytest.approx(np.log(0.1))


# --- pressures -------------------------------------------------------------------------------


def test_logged_barometer_and_absolute_pressure() -> None:
    log = log_of(TIME, engine_speed=2000.0, manifold_pressure=2e5, barometric_pressure=9.7e4)
    got = find_pressures(log, TIME)
    assert got.p_ambient_pa == 9.7e4
    assert got.ambient_source == "logged"
    assert not got.from_gauge
    assert got.findings == ()
    assert got.assumptions == ()
    np.testing.assert_array_equal(got.p_manifold_pa, 2e5)


def test_gauge_pressure_needs_the_barometer() -> None:
    log = log_of(TIME, engine_speed=2000.0, boost_pressure=1e5, barometric_pressure=9.7e4)
    got = find_pressures(log, TIME)
    assert got.from_gauge
    np.testing.assert_array_equal(got.p_manifold_pa, 1.97e5)
    both = log_of(
        TIME, engine_speed=2000.0, boost_pressure=1e5, manifold_pressure=2.1e5,
        barometric_pressure=9.7e4,
    )  # fmt: skip
    assert not find_pressures(both, TIME).from_gauge
    np.testing.assert_array_equal(find_pressures(both, TIME).p_manifold_pa, 2.1e5)


@pytest.mark.parametrize(("gauge", "severity"), [(True, "warning"), (False, "info")])
def test_a_missing_barometer_is_said_and_weighs_by_what_rests_on_it(
    gauge: bool, severity: str
) -> None:
    name = "boost_pressure" if gauge else "manifold_pressure"
    got = find_pressures(log_of(TIME, engine_speed=2000.0, **{name: 1.5e5}), TIME)
    assert got.p_ambient_pa == 101_325.0
    assert got.ambient_source == "assumed"
    (finding,) = got.findings
    assert (finding.code, finding.severity.value) == ("missing_barometer", severity)
    (assumption,) = got.assumptions
    assert "101.3 kPa" in assumption.value
    assert "standard atmosphere" in assumption.source
    what = "the absolute manifold pressure" if gauge else "only the pressure ratio"
    assert f"the standard atmosphere is assumed; {what}" in finding.message
    assert finding.message.endswith("rests on it")
    assert "ignition on and the engine still" in finding.fix
    assert finding.where == "log.csv"


def standing(p_pa: FloatArray, speed: FloatArray) -> float:
    got = find_pressures(log_of(TIME, engine_speed=speed, manifold_pressure=p_pa), TIME)
    return got.p_ambient_pa


def test_a_standing_engine_is_a_barometer() -> None:
    """Only after it has stood for two seconds: while it runs down the throttle may shut."""
    speed = np.where(TIME < 5.0, 0.0, 900.0)
    pressure = np.where(TIME < 5.0, 9.81e4, 4e4)
    assert standing(pressure, speed) == 9.81e4
    stopped = np.where(TIME < 6.0, 900.0, 0.0)
    running_down = np.where(TIME < 6.0, 4e4, np.where(TIME < 7.9, 6e4, 9.81e4))
    assert standing(running_down, stopped) == 9.81e4


@pytest.mark.parametrize("bad", ["unsteady", "impossible", "short"])
def test_a_standing_engine_that_is_no_barometer(bad: str) -> None:
    speed = np.where(TIME < 5.0, 0.0, 900.0)
    pressure = np.full(TIME.size, 9.81e4)
    if bad == "unsteady":
        pressure = pressure + np.where(TIME < 5.0, 4e3 * np.sin(9 * TIME), 0.0)
    if bad == "impossible":
        pressure = np.full(TIME.size, 2.2e5)
    if bad == "short":
        speed = np.where(TIME < 0.05, 0.0, 900.0)
    assert standing(pressure, speed) == 101_325.0


# --- fuel, lambda, power ---------------------------------------------------------------------


def fuel_flow(setup: EngineSetup = SETUP, **values: float) -> tuple[float, bool, int]:
    log = log_of(TIME, **values)
    fuel, _ = fuel_of(setup)
    got = find_fuel_flow(log, setup, fuel, TIME, np.full(TIME.size, 3000.0))
    assert got.mdot_kgps is not None
    return float(got.mdot_kgps[0]), got.per_stroke, len(got.assumptions)


def test_fuel_in_every_form() -> None:
    """50 mg a stroke, four cylinders, 3000/min: 25 working cycles a second each, 5.0 g/s."""
    assert fuel_flow(fuel_mass_flow=5e-3) == (5e-3, False, 0)
    flow, per_stroke, _ = fuel_flow(fuel_per_stroke=50e-6)
    assert flow == pytest.approx(5.0e-3)
    assert per_stroke
    density = DIESEL.density_kgpm3
    flow, per_stroke, notes = fuel_flow(fuel_volume_flow=6e-6)
    assert (flow, per_stroke, notes) == (pytest.approx(6e-6 * density), False, 1)
    flow, per_stroke, notes = fuel_flow(fuel_volume_per_stroke=6e-8)
    assert (flow, per_stroke, notes) == (pytest.approx(6e-6 * density), True, 1)


def test_mass_counts_before_volume_and_volume_before_strokes() -> None:
    every = {
        "fuel_mass_flow": 1e-3, "fuel_volume_flow": 2e-6, "fuel_per_stroke": 3e-5,
        "fuel_volume_per_stroke": 4e-8,
    }  # fmt: skip
    assert fuel_flow(**every)[0] == 1e-3
    del every["fuel_mass_flow"]
    assert fuel_flow(**every)[0] == pytest.approx(2e-6 * DIESEL.density_kgpm3)
    del every["fuel_volume_flow"]
    assert fuel_flow(**every)[0] == pytest.approx(3e-3)
    log = log_of(TIME, engine_speed=3000.0)
    none = find_fuel_flow(log, SETUP, DIESEL, TIME, np.full(TIME.size, 3000.0))
    assert none.mdot_kgps is None


def test_two_strokes_inject_each_turn() -> None:
    engine = setup_of(strokes=2).engine
    speed = np.array([3000.0])
    two = per_stroke_to_flow_kgps(np.array([50e-6]), speed, engine)
    np.testing.assert_allclose(two, 10.0e-3)


def test_declared_density_and_heating_value_count_for_a_named_fuel() -> None:
    setup = EngineSetup(
        engine=SETUP.engine,
        fuel=Fuel(name="diesel", density_kg_l=0.8, lower_heating_value_mj_kg=42.0),
    )
    fuel, notes = fuel_of(setup)
    assert (fuel.density_kgpm3, fuel.lhv_jpkg) == (800.0, 42e6)
    assert fuel.afr_stoich == DIESEL.afr_stoich
    assert notes == ()
    assert fuel_flow(setup, fuel_volume_flow=1e-6)[0] == pytest.approx(8e-4)


def test_own_composition() -> None:
    own = Fuel(hydrogen_to_carbon=1.85, oxygen_to_carbon=0.0, density_kg_l=0.83)
    fuel, notes = fuel_of(EngineSetup(engine=SETUP.engine, fuel=own))
    # Heywood (1988), table D.4 and 40 CFR 1065 by stoichiometry: CH1.85, AFR 14.57.
    assert fuel.afr_stoich == pytest.approx(14.57, abs=0.005)
    assert fuel.density_kgpm3 == 830.0
    assert notes == ()


@pytest.mark.parametrize("form", ["fuel_volume_flow", "fuel_volume_per_stroke"])
def test_a_volume_of_fuel_without_density_is_bad_input(form: str) -> None:
    setup = EngineSetup(engine=SETUP.engine, fuel=Fuel(hydrogen_to_carbon=1.85))
    with pytest.raises(InputError, match="density") as caught:
        fuel_flow(setup, **{form: 1e-6})
    assert "density_kg_l" in caught.value.fix
    assert fuel_flow(setup, fuel_mass_flow=1e-3)[0] == 1e-3


def test_no_oxygen_in_the_exhaust_does_not_tell_how_rich_it_is() -> None:
    log = log_of(TIME, exhaust_oxygen=np.where(np.arange(TIME.size) < 2, 0.0, 0.01))
    got = find_lambda(log, DIESEL, TIME)
    assert got is not None
    assert np.isnan(got[:2]).all()
    assert np.all(got[2:] > 1.0)


@pytest.mark.parametrize(("ignition", "name"), [("compression", "diesel"), ("spark", "petrol_e10")])
def test_undeclared_fuel_is_the_usual_one_and_an_assumption(ignition: str, name: str) -> None:
    setup = setup_of(ignition=ignition, fuel="")  # type: ignore[arg-type]
    fuel, (note,) = fuel_of(setup)
    assert fuel == fuel_named(name)
    assert note.value == name


def test_lambda_measured_or_from_exhaust_gas() -> None:
    every = {"lambda": 1.3, "exhaust_oxygen": 0.0731, "exhaust_carbon_dioxide": 0.0999}
    assert find_lambda(log_of(TIME, **every), DIESEL, TIME)[0] == 1.3  # type: ignore[index]
    del every["lambda"]
    h_c, o_c = DIESEL.hydrogen_to_carbon, DIESEL.oxygen_to_carbon
    got = find_lambda(log_of(TIME, **every), DIESEL, TIME)
    np.testing.assert_allclose(got, lambda_from_oxygen_dry(0.0731, h_c, o_c))  # type: ignore[arg-type]
    del every["exhaust_oxygen"]
    got = find_lambda(log_of(TIME, **every), DIESEL, TIME)
    np.testing.assert_allclose(got, lambda_from_carbon_dioxide_dry(0.0999, h_c, o_c))  # type: ignore[arg-type]
    assert find_lambda(log_of(TIME, engine_speed=1.0), DIESEL, TIME) is None


def test_power_logged_or_torque_times_speed() -> None:
    """300 N m at 2000/min: 62.83 kW."""
    speed = np.full(TIME.size, 2000.0)
    assert find_power_w(log_of(TIME, brake_power=5e4, brake_torque=1.0), TIME, speed)[0] == 5e4  # type: ignore[index]
    torque = find_power_w(log_of(TIME, brake_torque=300.0), TIME, speed)
    np.testing.assert_allclose(torque, 62_831.85, rtol=1e-6)  # type: ignore[arg-type]
    assert find_power_w(log_of(TIME, engine_speed=1.0), TIME, speed) is None


def test_lean_gas_is_harder_to_measure() -> None:
    """2 % of lambda, 5 % above 2; a declared size stands as it is."""
    sizes = defaults_for(Uncertainty(), charge_temperature_estimated=False)
    assert lambda_influence(run_of(lambda_=1.9), sizes).absolute == 0.02
    assert lambda_influence(run_of(lambda_=2.1), sizes).absolute == pytest.approx(0.05)
    own = defaults_for(Uncertainty(lambda_abs=0.03), charge_temperature_estimated=False)
    assert lambda_influence(run_of(lambda_=2.1), own).absolute == 0.03
    assert lambda_influence(run_of(lambda_=2.1), own).key == "lambda"


# --- speed density ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p_pa", "full_scale"), [(1.1e5, 1.2e5), (2.3e5, 2.55e5), (2.6e5, 3e5), (3.3e5, 4e5)]
)
def test_full_scale_is_the_next_sensor_range(p_pa: float, full_scale: float) -> None:
    sizes = defaults_for(Uncertainty(), charge_temperature_estimated=False)
    got = speed_density(run_of(p_manifold_pa=p_pa, t_charge_k=310.0), SETUP, sizes)
    part = next(i for i in got.budget if i.key == "manifold_pressure")
    assert part.absolute == pytest.approx(0.015 * full_scale / p_pa)
    assert part.run == pytest.approx(0.003 * np.sqrt(1.0 - BETWEEN_SHARE))


def test_a_barometer_that_was_assumed_counts_where_pressure_is_gauge() -> None:
    sizes = defaults_for(Uncertainty(), charge_temperature_estimated=False)
    run = run_of(p_manifold_pa=2e5, t_charge_k=310.0, from_gauge=True)
    part = {i.key: i for i in speed_density(run, SETUP, sizes).budget}["barometer"]
    assert part.absolute == pytest.approx(3000.0 / 2e5)
    assert part.run == part.between == pytest.approx(500.0 / 2e5)
    logged = replace(run, p_ambient_source="logged")
    absolute = replace(run, from_gauge=False)
    for other in (logged, absolute):
        assert "barometer" not in {i.key for i in speed_density(other, SETUP, sizes).budget}


def test_an_estimated_temperature_brings_its_own_uncertainty_if_larger() -> None:
    sizes = defaults_for(Uncertainty(), charge_temperature_estimated=True)
    for u, wanted in ((20.0, 20.0), (5.0, 12.0)):
        run = run_of(p_manifold_pa=2e5, t_charge_k=320.0, u_t_charge_k=u)
        part = {i.key: i for i in speed_density(run, SETUP, sizes).budget}["charge_temperature"]
        assert part.absolute == pytest.approx(wanted / 320.0)
        assert part.sensitivity == -1.0
        assert part.run == pytest.approx(3.0 / 320.0 * np.sqrt(1.0 - BETWEEN_SHARE))


def test_breathing_may_come_from_a_table_or_from_the_caller() -> None:
    table = VeTable(
        path="ve.csv", speed_rpm=np.array([1000.0, 3000.0]),
        p_manifold_pa=np.array([1e5, 3e5]), ve_frac=np.array([[0.8, 0.9], [0.9, 1.0]]),
    )  # fmt: skip
    setup = setup_of(volumetric_efficiency=table)
    sizes = defaults_for(Uncertainty(), charge_temperature_estimated=False)
    run = run_of(p_manifold_pa=2e5, t_charge_k=310.0)
    by_table = speed_density(run, setup, sizes)
    by_number = speed_density(run, setup_of(volumetric_efficiency=0.9), sizes)
    np.testing.assert_allclose(by_table.mdot_kgps, by_number.mdot_kgps)
    given = speed_density(run, SETUP, sizes, ve_frac=0.9, u_ve_frac=0.01)
    np.testing.assert_allclose(given.mdot_kgps, by_number.mdot_kgps)
    assert {i.key: i for i in given.budget}["volumetric_efficiency"].absolute == 0.01
    plain = speed_density(run, SETUP, sizes, ve_frac=0.9)
    assert {i.key: i for i in plain.budget}["volumetric_efficiency"].absolute == 0.05


# --- which routes ----------------------------------------------------------------------------

FULL = {
    "p_manifold_pa": 2e5, "t_charge_k": 310.0, "mdot_fuel_kgps": 5e-3, "lambda_": 1.4,
    "power_w": 6e4,
}  # fmt: skip


def without(*names: str) -> object:
    return run_of(**{k: v for k, v in FULL.items() if k not in names})


def methods(*runs: object) -> tuple[list[str], dict[str, str]]:
    usable, unused = usable_routes(runs, SETUP)  # type: ignore[arg-type]
    return [r.method for r in usable], {u.method: u.reason for u in unused}


def test_all_routes_that_all_runs_support() -> None:
    usable, unused = methods(without(), without())
    assert usable == ["speed_density", "fuel_lambda", "brake_power"]
    assert unused == {}, "an undeclared map is not missed, and depression never spans intakes"
    assert [r.method for r in ROUTES if not r.between_configurations] == ["intake_depression"]


@pytest.mark.parametrize(
    ("missing", "lost", "reason"),
    [
        (("p_manifold_pa",), {"speed_density"}, "no manifold pressure was logged"),
        (("t_charge_k",), {"speed_density"}, "no charge temperature, and no pressure"),
        (("mdot_fuel_kgps",), {"fuel_lambda"}, "no fuel quantity was logged"),
        (("lambda_",), {"fuel_lambda", "brake_power"}, "no measured lambda was logged"),
        (("power_w",), {"brake_power"}, "no brake power or torque was logged"),
    ],
)
def test_a_route_that_lacks_a_channel_says_which(
    missing: tuple[str, ...], lost: set[str], reason: str
) -> None:
    usable, unused = methods(without(*missing), without(*missing))
    assert set(unused) == lost
    assert all(reason in why for why in unused.values())
    assert set(usable) == {"speed_density", "fuel_lambda", "brake_power"} - lost


def test_a_route_of_one_configuration_only_says_nothing_about_a_change() -> None:
    lame = replace(without("lambda_"), name="pull 7.csv")  # type: ignore[type-var]
    usable, unused = methods(without(), lame)
    assert usable == ["speed_density"]
    assert unused["fuel_lambda"] == "no measured lambda was logged in pull 7.csv"


def test_reasons_in_words() -> None:
    assert missing_for_fuel_lambda(without("lambda_", "mdot_fuel_kgps")) == (  # type: ignore[arg-type]
        "neither fuel quantity nor lambda was logged"
    )
    circular = replace(without("lambda_"), lambda_excluded="circular, no evidence")  # type: ignore[type-var]
    assert missing_for_fuel_lambda(circular) == "circular, no evidence"
    assert methods(circular)[1]["brake_power"] == "circular, no evidence"
    assert missing_for_speed_density(without()) == ""  # type: ignore[arg-type]


def test_one_estimated_temperature_makes_all_of_them_wide() -> None:
    measured, estimated = run_of(), run_of(charge_estimated=True)
    assert sizes_for([measured, measured], SETUP).charge_temperature.run == 1.0
    assert sizes_for([measured, estimated], SETUP).charge_temperature.run == 3.0


# --- grid ------------------------------------------------------------------------------------


def log_with_steps(maf: float, speed: float, pressure: float = 0.1) -> Log:
    channels = {}
    for name, step, start, end in (
        ("mass_air_flow", maf, 1.0, 9.0), ("engine_speed", speed, 0.0, 8.0),
        ("manifold_pressure", pressure, 3.0, 6.0),
    ):  # fmt: skip
        time = np.arange(start, end + 1e-9, step)
        channels[name] = channel(name, time, 1.0)
    return Log(path="x", reader="t", sha256="", channels=channels)


@pytest.mark.parametrize(("step", "wanted"), [(0.01, 0.04), (0.1, 0.1), (0.9, 0.2)])
def test_grid_has_the_air_flows_step_within_limits(step: float, wanted: float) -> None:
    grid = grid_of(log_with_steps(step, 0.1))
    assert grid[0] == 1.0
    assert grid[-1] <= 8.0 + 1e-9
    assert grid[-1] > 8.0 - wanted - 1e-9
    np.testing.assert_allclose(np.diff(grid), wanted)
    assert native_step_s(log_with_steps(step, 0.1)) == pytest.approx(step)


def test_no_grid_without_speed_or_flow() -> None:
    assert grid_of(log_of(TIME, mass_air_flow=1.0)).size == 0
    assert grid_of(log_of(TIME, engine_speed=1.0)).size == 0
    assert grid_of(log_of(TIME, engine_speed=1.0, manifold_pressure=1.0)).size == TIME.size
    assert grid_of(log_of(TIME[:1], engine_speed=1.0, mass_air_flow=1.0)).size == 0
    apart = Log(path="x", reader="t", sha256="", channels={
        "engine_speed": channel("engine_speed", TIME, 1.0),
        "mass_air_flow": channel("mass_air_flow", TIME + 20.0, 1.0),
    })  # fmt: skip
    assert grid_of(apart).size == 0


def test_gaps_are_not_bridged() -> None:
    time = np.r_[np.arange(0.0, 3.0, 0.1), np.arange(6.0, 9.0, 0.1)]
    log = log_of(time, engine_speed=time)
    got = on_grid(log, "engine_speed", TIME)
    assert got is not None
    inside = (TIME > 2.95) & (TIME < 5.95)
    assert np.isnan(got[inside]).all()
    np.testing.assert_allclose(got[TIME < 2.85], TIME[TIME < 2.85])
    assert on_grid(log, "no such", TIME) is None
    assert on_grid(log_of([0.0], engine_speed=1.0), "engine_speed", TIME) is None


def test_slow_polling_is_no_gap() -> None:
    """0.9 s between samples is the channel's own pace: 3.5 of them make a gap."""
    time = np.arange(0.0, 10.0, 0.9)
    slow = np.delete(time, [4, 5])  # 2.7 s apart: three paces
    got = on_grid(log_of(slow, engine_speed=slow), "engine_speed", TIME)
    assert got is not None
    assert np.isfinite(got[slow[-1] >= TIME]).all()
    gap = np.delete(time, [4, 5, 6])  # 3.6 s apart
    got = on_grid(log_of(gap, engine_speed=gap), "engine_speed", TIME)
    assert got is not None
    assert np.isnan(got[(TIME > 2.75) & (TIME < 6.25)]).all()
