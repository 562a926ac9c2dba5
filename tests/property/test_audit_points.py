"""Printed figures as draws: units, derived quantities, weather and corrections, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from airsense.claims import priors as prior
from airsense.claims import weather
from airsense.claims.change import ln_pressure_route
from airsense.claims.context import Context
from airsense.claims.pairs import Pair, configurations_of
from airsense.claims.point import Point
from airsense.claims.row import ASK_WEATHER
from airsense.estimates.combustion import fuel_of
from airsense.estimates.defaults import defaults_for
from airsense.evidence.parts.priors import LAW_PRIOR
from airsense.physics.boost_control import VAPOUR_LIGHTER, BoostLaw, exponents
from airsense.physics.compression import COMPRESSOR_EFFICIENCY, COOLER_EFFECTIVENESS
from airsense.physics.standard_power import CorrectionText
from airsense.setup.claims import Claims
from airsense.setup.engine import EngineSetup

DIESEL = {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}
PETROL = {"displacement_l": 2.0, "cylinders": 4, "ignition": "spark"}
OPEN_AIR = PETROL | {"induction": "naturally_aspirated"}
WEATHER = {"barometric_pressure": "1000.0 mbar", "ambient_temperature": "25.0 degC"}


def points(*rows: dict[str, str], engine: dict = DIESEL, **said: object) -> list[Point]:
    """Return the configurations of some printed rows, as an audit makes them."""
    claims = Claims.model_validate(
        {
            "engine": engine,
            "publication": said,
            "result": list(rows),
            "claim": [
                {"quantity": "mass_air_flow", "from": "a", "to": rows[-1]["intake"], "change": "0%"}
            ],
        }
    )
    setup = EngineSetup(engine=claims.engine, fuel=claims.fuel, uncertainty=claims.uncertainty)
    context = Context(
        claims=claims,
        fuel=fuel_of(setup)[0],
        sizes=defaults_for(claims.uncertainty, charge_temperature_estimated=False),
        power_run_u=0.007,
    )
    return [Point(c, context) for c in configurations_of(claims.result)]


def row(intake: str = "a", **figures: str) -> dict[str, str]:
    return {"intake": intake, "engine_speed": "3000 rpm", **figures}


def middle(draws: np.ndarray | None) -> float:
    assert draws is not None
    return float(np.median(draws))


def test_air_per_stroke_is_a_flow_by_cylinders_and_speed() -> None:
    """1,000 mg a stroke, six cylinders of four strokes at 3000 rpm: 150 strokes a second."""
    (point,) = points(row(air_per_stroke="1000 mg/stroke"))
    assert math.exp(middle(point.ln_air)) == pytest.approx(0.150, rel=0.002)
    (flow,) = points(row(mass_air_flow="540 kg/h"))
    assert math.exp(middle(flow.ln_air)) == pytest.approx(0.150, rel=0.002)


def test_fuel_is_a_mass_flow_however_it_is_printed() -> None:
    """60 mg a stroke at 150 strokes a second are 9 g/s, 32.4 kg/h."""
    (stroke,) = points(row(fuel_per_stroke="60.0 mg/stroke"))
    (flow,) = points(row(fuel_mass_flow="32.40 kg/h"))
    (volume,) = points(row(fuel_volume_flow="38.80 l/h"))
    for point in (stroke, flow):
        assert math.exp(middle(point.ln_fuel)) == pytest.approx(0.009, rel=0.003)
    density = volume.context.fuel.density_kgpm3
    assert 820.0 < density < 850.0
    assert math.exp(middle(volume.ln_fuel)) == pytest.approx(38.8e-3 * density / 3600.0, rel=0.003)
    assert np.std(volume.ln_fuel) > np.std(flow.ln_fuel), "the density is not printed"
    assert points(row())[0].ln_fuel is None


def test_torque_is_power_by_speed() -> None:
    """400 N m at 3000 rpm are 400 x 2 pi x 50 W = 125.66 kW."""
    (point,) = points(row(brake_torque="400 N m"))
    assert math.exp(middle(point.ln_power)) == pytest.approx(125_660.0, rel=0.002)


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [
        ({"power_at": "engine"}, 0.0, 1e-9),
        ({"driveline_loss": "15 %"}, -math.log(0.85) - 1e-9, -math.log(0.85) + 1e-9),
        ({"power_at": "wheels"}, 0.05, 0.35),
        ({}, 0.0, 0.35),
    ],
)
def test_the_loss_of_the_driveline_is_added_where_there_is_one(
    said: dict[str, str], low: float, high: float
) -> None:
    (point,) = points(row(brake_power="120.0 kW"), **said)
    assert point.ln_engine_power is not None
    assert point.ln_power_measured is not None
    added = point.ln_engine_power - point.ln_power_measured
    assert low - 1e-12 <= added.min() <= added.max() <= high + 1e-12
    none = float(np.mean(added == 0.0))
    assert none == pytest.approx({"engine": 1.0}.get(said.get("power_at", ""), 0.0), abs=0.01) or (
        not said and none == pytest.approx(0.5, abs=0.02)
    )


@pytest.mark.parametrize(
    ("figure", "expected_pa"),
    [
        ({"boost_pressure": "1.20 bar"}, 220e3),
        ({"boost_pressure": "2.20 bar abs"}, 220e3),
        ({"manifold_pressure": "220 kPa"}, 220e3),
    ],
)
def test_boost_is_gauge_and_manifold_pressure_absolute(
    figure: dict[str, str], expected_pa: float
) -> None:
    (point,) = points(row(**figure, **WEATHER))
    assert middle(point.p_manifold_pa) == pytest.approx(expected_pa, rel=0.003)


def test_charge_temperature_is_worked_out_from_compressor_and_cooler() -> None:
    """T_2 = T (1 + (PR^k - 1)/eta), cooled by eps: at a pressure ratio of 2.2 and 298 K."""
    (point,) = points(row(boost_pressure="1.20 bar", **WEATHER))
    hot = 298.15 * (1.0 + (2.2**0.2857 - 1.0) / COMPRESSOR_EFFICIENCY.value)
    cooled = hot - COOLER_EFFECTIVENESS.value * (hot - 298.15)
    assert middle(point.t_charge_k) == pytest.approx(cooled, abs=1.0)
    shared = np.corrcoef(*(p.t_charge_k for p in points(
        row(boost_pressure="1.20 bar", **WEATHER), row("b", boost_pressure="1.20 bar", **WEATHER)
    )))[0, 1]  # fmt: skip
    assert shared > 0.9, "one compressor and one cooler: what is unknown of them is common"
    (suction,) = points(row(**WEATHER), engine=OPEN_AIR)
    assert middle(suction.t_charge_k) == pytest.approx(298.15 + 8.0, abs=0.3)


@pytest.mark.parametrize(("humidity", "celsius"), [(30, 15.0), (60, 30.0)])
def test_vapour_is_that_of_a_reference_library(humidity: int, celsius: float) -> None:
    """ASHRAE RP-1485, as in CoolProp's humid air."""
    air = WEATHER | {"ambient_temperature": f"{celsius:.1f} degC"}
    (point,) = points(row(relative_humidity=f"{humidity} %", **air))
    want = HAPropsSI("psi_w", "T", celsius + 273.15, "P", 100e3, "R", humidity / 100.0)
    assert middle(weather.vapour(point)) == pytest.approx(want, rel=0.01)
    (unsaid,) = points(row(**air))
    drawn = weather.vapour(unsaid)
    full = HAPropsSI("psi_w", "T", celsius + 273.15, "P", 100e3, "R", 1.0)
    assert np.mean(drawn) == pytest.approx(0.5 * full, rel=0.03)
    assert np.std(drawn) == pytest.approx(0.25 * full, rel=0.10)


@pytest.mark.parametrize("law", BoostLaw)
def test_air_answers_the_day_by_the_declared_law(law: BoostLaw) -> None:
    engine = DIESEL | {"boost_control": law.value}
    cold = {"barometric_pressure": "1015.0 mbar", "ambient_temperature": "5.0 degC"}
    dry = {"relative_humidity": "0 %"}
    warm_point, cold_point = points(
        row("a", **WEATHER, **dry), row("b", **cold, **dry), engine=engine
    )
    found = cold_point.ln_air_weather - warm_point.ln_air_weather
    e = exponents(law, warm_point.context.pressure_ratio, cooler="air")
    d_p, d_t = math.log(1.015), math.log(278.15 / 298.15)
    assert middle(found) == pytest.approx(float(e.a) * d_p - float(e.b) * d_t, abs=0.002)
    spread = math.hypot(float(e.u_a) * d_p, float(e.u_b) * d_t)
    assert np.std(found) == pytest.approx(spread, abs=0.004)


@pytest.mark.parametrize("law", [BoostLaw.ABSOLUTE, BoostLaw.OPEN])
def test_moist_air_is_lighter_and_drives_an_open_turbine_less(law: BoostLaw) -> None:
    dry, wet = points(
        row("a", relative_humidity="0 %", **WEATHER),
        row("b", relative_humidity="100 %", **WEATHER),
        engine=DIESEL | {"boost_control": law.value},
    )
    x = middle(weather.vapour(wet))
    r = float(exponents(law, dry.context.pressure_ratio, cooler="air").r)
    found = middle(wet.ln_air_weather - dry.ln_air_weather)
    assert found == pytest.approx(-r * VAPOUR_LIGHTER * x, abs=0.001)
    assert r > 1.3 if law is BoostLaw.OPEN else r == pytest.approx(1.0, abs=0.05)


def test_an_undeclared_law_is_a_mixture_of_all_of_them() -> None:
    (point,) = points(row(**WEATHER))
    a, b, r = weather._by_law(point)
    spread = weather._normal(point, "character", ASK_WEATHER)
    for law, probability in LAW_PRIOR:
        e = exponents(law, point.context.pressure_ratio, cooler="air")
        of_law = np.isclose(a, e.a + e.u_a * spread) & np.isclose(b, e.b + e.u_b * spread)
        if law is BoostLaw.RATIO_AMBIENT:
            # A ratio to the inlet answers a little less to cold, and alike to the barometer.
            assert np.mean(of_law) == pytest.approx(probability, abs=0.01)
        assert np.mean(of_law & np.isclose(r, e.r)) == pytest.approx(probability, abs=0.01)
    assert not np.any(a == 0.0), "each draw has a law"


def test_slopes_of_a_text_are_its_exponents() -> None:
    """UN R85, annex 5: f_a = (99/p)^1.2 (T/298)^0.6 spark, (99/p)^0.7 (T/298)^1.5 turbocharged."""
    own, by_p, by_t, low, high = weather._slopes(CorrectionText.UN_R85_SI)
    assert own == pytest.approx(0.0, abs=1e-9)
    assert (by_p, by_t) == pytest.approx((1.2, 0.6), abs=1e-6)
    assert low == high == 1.0
    own, by_p, by_t, low, high = weather._slopes(CorrectionText.UN_R85_CI_TURBO)
    assert own == pytest.approx(0.0, abs=1e-9)
    assert (by_p, by_t) == pytest.approx((0.7, 1.5), abs=1e-6)
    # The engine factor is 0.3 below 37.2 mg/(l cycle) and 1.2 above 65.
    assert (low, high) == pytest.approx((0.3, 1.2), abs=0.01)


def test_a_correction_that_is_known_is_taken_out_exactly() -> None:
    said = {"power_correction": "ISO 1585"}
    (stated,) = points(row(brake_power="120.0 kW", correction_factor="1.030"), **said)
    np.testing.assert_allclose(weather.ln_factor(stated), math.log(1.030))
    (none,) = points(row(brake_power="120.0 kW"), power_correction="none")
    np.testing.assert_array_equal(weather.ln_factor(none), 0.0)
    (both,) = points(row(power_measured="100.0 kW", power_corrected="103.0 kW"), **said)
    np.testing.assert_allclose(weather.ln_factor(both), math.log(1.03))


def test_a_correction_by_name_is_worked_out_for_the_day() -> None:
    """Spark ignition at 990 mbar dry and 308 K: (99/99)^1.2 x (308/298)^0.6 = 1.0200."""
    day = {
        "barometric_pressure": "990.0 mbar",
        "ambient_temperature": "34.85 degC",
        "relative_humidity": "0 %",
    }
    engine = PETROL | {"induction": "turbocharged"}
    (point,) = points(
        row(brake_power="120.0 kW", **day), engine=engine, power_correction="ISO 1585"
    )
    assert math.exp(middle(weather.ln_factor(point))) == pytest.approx(1.0200, abs=0.0005)
    (unsaid,) = points(row(brake_power="120.0 kW", **day), engine=engine)
    applied = float(np.mean(weather.ln_factor(unsaid) != 0.0))
    assert applied == pytest.approx(0.5, abs=0.02), "whether it was corrected is not said"


def test_pressure_explains_air_only_where_it_is_printed_for_both() -> None:
    """Boost 1.20 to 1.31 bar over 1 bar at one temperature: 2.31/2.20 is +4.9 %."""
    charge = {"charge_temperature": "50.0 degC"}
    both = points(
        row("a", boost_pressure="1.200 bar", **charge, **WEATHER),
        row("b", boost_pressure="1.310 bar", **charge, **WEATHER),
    )
    route = ln_pressure_route(Pair(*both))
    assert middle(route) == pytest.approx(math.log(2.31 / 2.20), abs=0.003)
    one = points(row("a", boost_pressure="1.200 bar", **WEATHER), row("b", **WEATHER))
    assert ln_pressure_route(Pair(*one)) is None
    neither = points(row("a", **WEATHER), row("b", **WEATHER))
    assert ln_pressure_route(Pair(*neither)) is None


NATURAL_DIESEL = DIESEL | {"induction": "naturally_aspirated"}


@pytest.mark.parametrize(
    ("engine", "pressure", "cold_per_pressure"),
    [
        (OPEN_AIR, prior.SPARK_PER_PRESSURE, None),
        (NATURAL_DIESEL, prior.DIESEL_FACTOR, prior.DIESEL_PER_COLD),
    ],
)
def test_power_without_a_turbocharger_answers_the_day_within_its_range(
    engine: dict, pressure: prior.Span, cold_per_pressure: float | None
) -> None:
    """Only the barometer moves, then only the temperature; the exponents are ranges."""
    dry = {"relative_humidity": "0 %"}
    days = [
        row("a", barometric_pressure="1000.00 mbar", ambient_temperature="25.00 degC", **dry),
        row("b", barometric_pressure="960.00 mbar", ambient_temperature="25.00 degC", **dry),
        row("c", barometric_pressure="1000.00 mbar", ambient_temperature="5.00 degC", **dry),
    ]
    usual, low, cold = (p.ln_power_weather for p in points(*days, engine=engine))
    by_pressure = (low - usual) / math.log(0.96)
    assert by_pressure.min() == pytest.approx(pressure.low, abs=0.02)
    assert by_pressure.max() == pytest.approx(pressure.high, abs=0.02)
    by_cold = (usual - cold) / math.log(278.15 / 298.15)
    if cold_per_pressure is None:
        span = prior.SPARK_PER_COLD
        assert by_cold.min() == pytest.approx(span.low, abs=0.02)
        assert by_cold.max() == pytest.approx(span.high, abs=0.02)
        assert np.corrcoef(by_pressure, by_cold)[0, 1] > 0.9, "both grow together"
    else:
        assert np.median(by_cold / by_pressure) == pytest.approx(cold_per_pressure, rel=0.03)


def test_air_without_a_turbocharger_follows_density_but_for_heat_on_its_way() -> None:
    dry = {"relative_humidity": "0 %", "barometric_pressure": "1000.00 mbar"}
    warm, cold = points(
        row("a", ambient_temperature="25.00 degC", **dry),
        row("b", ambient_temperature="5.00 degC", **dry),
        engine=OPEN_AIR,
    )
    by_cold = (warm.ln_air_weather - cold.ln_air_weather) / math.log(278.15 / 298.15)
    assert by_cold.min() == pytest.approx(prior.AIR_PER_COLD.low, abs=0.02)
    assert by_cold.max() == pytest.approx(prior.AIR_PER_COLD.high, abs=0.02)


def test_power_of_a_turbocharged_engine_follows_its_air() -> None:
    cold = {"barometric_pressure": "1015.0 mbar", "ambient_temperature": "5.0 degC"}
    for engine, follows in (
        (DIESEL, prior.DIESEL_POWER_PER_AIR),
        (PETROL | {"induction": "turbocharged"}, prior.SPARK_POWER_PER_AIR),
    ):
        (point,) = points(row(**cold, relative_humidity="0 %"), engine=engine)
        share = point.ln_power_weather / point.ln_air_weather
        assert share.min() == pytest.approx(follows.low, abs=0.02)
        assert share.max() == pytest.approx(follows.high, abs=0.02)
