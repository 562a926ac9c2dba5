"""Exponents of boost control against a work balance, the design's table, and a standard."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from airsense.errors import InputError
from airsense.physics.boost_control import (
    CP_EXHAUST_JPKGK,
    CP_PER_R,
    VAPOUR_LIGHTER,
    BoostLaw,
    Exponents,
    Response,
    blended,
    exponents,
    responses,
)
from airsense.physics.character import Character
from airsense.physics.constants import M_DRY_AIR, M_WATER
from tests.published.published import Published
from tests.turbo_balance import Day, Plant, Solver, parts_ln

HELD = tuple(law for law in BoostLaw if law is not BoostLaw.OPEN)
RATIOS = np.array([1.8, 2.2, 2.6, 3.0])
COOLERS = {"air": None, "water": 320.0}
REFERENCE = Day()
STEP = 0.003

# ISO 3046-1, charge-cooled turbocharged engine: power ~ p^m T^-n T_coolant^-s; from memory.
ISO_3046_M, ISO_3046_N, ISO_3046_S = 0.7, 1.2, 1.0


def _character(plant: Plant) -> Character:
    return Character(
        compressor_efficiency=plant.eta_c,
        cooler_effectiveness=plant.effectiveness,
        turbine_efficiency=plant.eta_t,
        t_exhaust_k=plant.t_3,
        ve_exponent=plant.v,
        inlet_ratio=1.0 - plant.depression / REFERENCE.p_a,
        exhaust_loss=plant.back_pressure / (REFERENCE.p_a + plant.back_pressure),
        fuel_share=plant.share,
        t_coolant_k=plant.t_water or 320.0,
        t_ambient_k=REFERENCE.t_a,
        follows=plant.follows,
    )


def _balance(plant: Plant) -> tuple[float, float, float]:
    """Return a, b, c by central differences of the numerical balance."""
    solver = Solver(plant)
    up, down = math.exp(STEP), math.exp(-STEP)

    def both(high: Day, low: Day) -> tuple[float, float]:
        h, lo = solver.at(high), solver.at(low)
        inlet = math.log(h.p_1 / lo.p_1)
        return math.log(h.w / lo.w), inlet

    by_p, _ = both(
        replace(REFERENCE, p_a=REFERENCE.p_a * up), replace(REFERENCE, p_a=REFERENCE.p_a * down)
    )
    by_t, _ = both(
        replace(REFERENCE, t_a=REFERENCE.t_a * up), replace(REFERENCE, t_a=REFERENCE.t_a * down)
    )
    by_relief, inlet = both(
        replace(REFERENCE, restriction=0.8), replace(REFERENCE, restriction=1.2)
    )
    return by_p / (2 * STEP), -by_t / (2 * STEP), by_relief / inlet


def _responses(plant: Plant) -> tuple[Response, Response]:
    cooler = "air" if plant.t_water is None else "water"
    law = BoostLaw(plant.law)
    return responses(law, plant.pressure_ratio, _character(plant), cooler=cooler)


def _of(plant: Plant) -> tuple[float, float, float]:
    air, _ = _responses(plant)
    return (
        float(air.ambient_pressure),
        float(air.ambient_temperature),
        float(air.inlet_pressure),
    )


@pytest.mark.parametrize("cooler", COOLERS)
@pytest.mark.parametrize("ratio", [1.8, 2.4, 3.0])
@pytest.mark.parametrize("law", BoostLaw)
def test_exponents_are_those_of_a_work_balance_solved_numerically(
    law: BoostLaw, ratio: float, cooler: str
):
    """Power of turbine and compressor are equal: Heywood, section 6.8; solved apart."""
    plant = Plant(law=law.value, pressure_ratio=ratio, t_water=COOLERS[cooler])
    for follows in (0.0, 0.5, 1.0) if law is BoostLaw.OPEN else (0.0,):
        a, b, c = _of(replace(plant, follows=follows))
        # Differences are second order: loss with flow under a held law, back pressure's level.
        assert (a, b, c) == pytest.approx(
            _balance(replace(plant, follows=follows)), rel=0.05, abs=0.03
        )


@pytest.mark.parametrize("follows", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("ratio", [1.8, 2.4, 3.0])
def test_an_open_turbine_answers_moist_gas_as_the_balance_does(ratio: float, follows: float):
    """Vapour's share in R and c_p, in compressor, exhaust and turbine; solved apart."""
    plant = Plant(law="open", pressure_ratio=ratio, follows=follows)
    solver = Solver(plant)
    wet, dry = (solver.at(replace(REFERENCE, x=REFERENCE.x + d)) for d in (0.002, -0.002))
    lighter = VAPOUR_LIGHTER * 0.004
    # The ratio of specific heats, which vapour lowers a little, is held in the formula.
    air, pressure = _responses(plant)
    seen = -math.log(wet.w / dry.w) / lighter
    assert seen == pytest.approx(float(air.gas_constant), rel=0.1)
    seen = -math.log(wet.p_m / dry.p_m) / lighter
    assert seen == pytest.approx(float(pressure.gas_constant), rel=0.1, abs=0.08)


def test_heat_capacity_of_exhaust_gas_rises_with_vapour_by_more_than_its_gas_constant():
    """Steam at 900 K, ideal gas: IAPWS-95, Wagner and Pruss 2002, through CoolProp."""
    steam = PropsSI("CP0MASS", "T", 900.0, "P", 1e5, "Water") * M_WATER.value
    exhaust = CP_EXHAUST_JPKGK * M_DRY_AIR.value
    by_vapour = steam / exhaust - 1.0 + VAPOUR_LIGHTER
    assert pytest.approx(by_vapour / VAPOUR_LIGHTER, rel=0.01) == CP_PER_R


@pytest.mark.parametrize("law", BoostLaw)
def test_exponents_hold_over_the_weather_they_are_used_for(law: BoostLaw):
    """Power of turbine and compressor are equal: Heywood, section 6.8; solved apart."""
    plant = Plant(law=law.value, follows=0.5)
    solver = Solver(plant)
    a, b, c = _of(plant)
    after = Day(p_a=100500.0, t_a=278.0, x=0.004, restriction=0.3)
    part = parts_ln(solver, REFERENCE, after)
    d_p, d_t = math.log(after.p_a / REFERENCE.p_a), math.log(after.t_a / REFERENCE.t_a)
    r = float(_responses(plant)[0].gas_constant)
    weather = a * d_p - b * d_t - r * VAPOUR_LIGHTER * (after.x - REFERENCE.x)
    assert part["weather"] == pytest.approx(weather, abs=0.003 if law is BoostLaw.OPEN else 0.001)
    cold = solver.at(replace(after, restriction=1.0))
    relieved = solver.at(after)
    inlet = math.log(relieved.p_1 / cold.p_1)
    assert part["intake"] == pytest.approx(c * inlet, abs=0.003)


def test_pressure_responses_are_those_of_the_balance():
    """Power of turbine and compressor are equal: Heywood, section 6.8; solved apart."""
    plant = Plant(law="open", follows=0.3)
    solver = Solver(plant)
    _, pressure = _responses(plant)
    base = math.log(solver.at(REFERENCE).p_m)
    by_p = math.log(solver.at(replace(REFERENCE, p_a=REFERENCE.p_a * math.exp(STEP))).p_m)
    by_t = math.log(solver.at(replace(REFERENCE, t_a=REFERENCE.t_a * math.exp(STEP))).p_m)
    by_fuel = math.log(solver.at(replace(REFERENCE, fuel_added_ln=STEP)).p_m)
    assert (by_p - base) / STEP == pytest.approx(float(pressure.ambient_pressure), abs=0.03)
    assert (base - by_t) / STEP == pytest.approx(float(pressure.ambient_temperature), abs=0.03)
    assert (by_fuel - base) / STEP == pytest.approx(float(pressure.fuel), abs=0.03)


def test_control_with_finite_gain_lies_between_held_and_open():
    """Proportional control leaves an offset: Ogata, steady-state error; solved apart."""
    held = _balance(Plant(law="absolute"))
    free = _balance(Plant(law="open"))
    weak = _balance(Plant(law="absolute", gain=4.0))
    for low, middle, high in zip(held, weak, free, strict=True):
        assert min(low, high) < middle < max(low, high)


def test_gauge_control_follows_the_barometer_by_the_share_it_has_in_boost():
    # Pressure ratio 2 over an inlet without loss: half of the manifold pressure is ambient's.
    plain = Character(inlet_ratio=1.0, cooler_effectiveness=1.0)
    air, pressure = responses(BoostLaw.GAUGE, 2.0, plain, cooler="air")
    Published("algebra by hand", "0.5000").check(air.ambient_pressure)
    Published("algebra by hand", "0.5000").check(pressure.ambient_pressure)


@pytest.mark.parametrize("ratio", RATIOS)
@pytest.mark.parametrize("cooler", COOLERS)
def test_open_laws_lie_on_either_side_of_the_standard(ratio: float, cooler: str):
    """Exponents of ISO 3046-1, from memory: power at constant thermal load, uncontrolled."""
    fixed = exponents(BoostLaw.OPEN, ratio, cooler=cooler, follows=0.0)
    rich = exponents(BoostLaw.OPEN, ratio, cooler=cooler, follows=1.0)
    assert fixed.a < ISO_3046_M < rich.a
    # The standard counts the coolant apart; charge air cooled by ambient moves with both.
    standard = ISO_3046_N + (ISO_3046_S if cooler == "air" else 0.0)
    assert fixed.b < standard < rich.b


@pytest.mark.parametrize("law", HELD)
def test_held_laws_are_not_fitted_to_the_standard(law: BoostLaw):
    """Exponents of ISO 3046-1, from memory."""
    held = exponents(law, RATIOS, cooler="air")
    assert np.all(held.b + 3.0 * held.u_b < ISO_3046_N)
    assert np.all(np.abs(held.a - ISO_3046_M) > 3.0 * held.u_a + 0.001) or law is BoostLaw.GAUGE


def _between(got: object, low: float, high: float) -> bool:
    values = np.asarray(got)
    return bool(np.all((values >= low) & (values <= high)))


def test_exponents_lie_in_the_ranges_that_a_second_derivation_gave():
    ratio = np.array([2.0, 2.4])
    absolute = exponents(BoostLaw.ABSOLUTE, ratio, cooler="air")
    gauge = exponents(BoostLaw.GAUGE, ratio, cooler="air")
    inlet = exponents(BoostLaw.RATIO_INLET, ratio, cooler="air")
    water = exponents(BoostLaw.ABSOLUTE, ratio, cooler="water")
    fixed = exponents(BoostLaw.OPEN, ratio, cooler="air", follows=0.0)
    rich = exponents(BoostLaw.OPEN, ratio, cooler="air", follows=1.0)
    assert _between(absolute.a, 0.07, 0.13) and _between(absolute.c, 0.07, 0.13)
    assert _between(gauge.a, 0.45, 0.6)
    assert _between(inlet.a, 1.0, 1.0) and _between(inlet.c, 1.0, 1.0)
    assert _between(absolute.b, 0.7, 1.0) and _between(water.b, 0.2, 0.35)
    assert _between(fixed.a, 0.34, 0.44) and _between(fixed.b, 0.97, 1.21)
    assert _between(fixed.c, 0.85, 1.0)
    assert _between(rich.a, 0.97, 1.0001) and _between(rich.b, 2.3, 3.1)
    assert _between(rich.c, 2.35, 2.8)


def test_fixed_lambda_is_similar_at_any_barometer():
    # All pressures scaled alike leave speeds, ratios and temperatures as they are.
    rich = exponents(BoostLaw.OPEN, RATIOS, cooler="air", follows=1.0)
    assert rich.a == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("law", BoostLaw)
def test_uncertainty_spans_engines_that_are_not_the_middle_one(law: BoostLaw):
    stated = exponents(law, 2.4, cooler="air")
    for v, eta_t, follows in ((0.02, 0.55, 0.1), (0.28, 0.65, 0.9), (0.1, 0.65, 0.2)):
        plant = Plant(law=law.value, v=v, eta_t=eta_t, follows=follows, spoil=0.03)
        for got, value, u in zip(_balance(plant), *_pairs(stated), strict=True):
            assert abs(got - value) <= 3.0 * float(u) + 0.03


def _pairs(e: Exponents) -> tuple[list[float], list[float]]:
    return (
        [float(e.a), float(e.b), float(e.c)],
        [float(e.u_a), float(e.u_b), float(e.u_c)],
    )


def test_shapes_nan_and_what_is_refused():
    e = exponents(BoostLaw.OPEN, np.array([[2.0, np.nan, 2.5]]), cooler="air")
    assert e.a.shape == e.u_c.shape == (1, 3)
    assert np.isnan(e.b[0, 1]) and np.isfinite(e.b[0, [0, 2]]).all()
    with pytest.raises(InputError, match="pressure_ratio"):
        exponents(BoostLaw.OPEN, 25.0, cooler="air")
    with pytest.raises(InputError, match="cooler"):
        exponents(BoostLaw.OPEN, 2.0, cooler="oil")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="follows"):
        exponents(BoostLaw.OPEN, 2.0, cooler="air", follows=1.5)


def test_a_turbine_that_cannot_drive_the_compressor_has_no_exponents():
    weak = Character(turbine_efficiency=0.05, t_exhaust_k=700.0)
    air, pressure = responses(BoostLaw.OPEN, 4.5, weak, cooler="air")
    assert np.isnan(air.inlet_pressure) and np.isnan(pressure.fuel)


def test_a_blend_runs_from_one_response_to_the_other():
    held, _ = responses(BoostLaw.ABSOLUTE, 2.4, Character(), cooler="air")
    free, _ = responses(BoostLaw.OPEN, 2.4, Character(), cooler="air")
    half = blended(held, free, 0.5)
    assert blended(held, free, 0.0) == held
    assert float(half.ambient_temperature) == pytest.approx(
        0.5 * float(held.ambient_temperature + free.ambient_temperature)
    )
