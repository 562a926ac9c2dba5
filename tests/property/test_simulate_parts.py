"""Parts by counterfactual passes: each knob in its own part, and all multiply to the whole."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import BoostControl, Case
from tests.simulate.engines import ENGINES, TURBO_DIESEL, EngineModel
from tests.simulate.parts import Parts, parts_of

pytestmark = pytest.mark.slow

QUIET = Case(drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0, rounding=False)
NAMES = ("engine", "weather", "intake", "demand", "feedback")
engines = pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)
LAWS = (BoostControl.ABSOLUTE, BoostControl.GAUGE, BoostControl.RATIO_AMBIENT)


def span(engine: EngineModel) -> tuple[float, float]:
    start, end = engine.sweep.start_rpm, engine.sweep.end_rpm
    return start + 0.35 * (end - start), end - 0.05 * (end - start)


@cache
def parts(engine: EngineModel = TURBO_DIESEL, **knobs: object) -> Parts:
    return parts_of(engine, [replace(QUIET, **knobs)], 3)[0]  # type: ignore[arg-type]


@engines
def test_parts_multiply_to_the_truth_of_the_campaign(engine: EngineModel) -> None:
    case = Case(
        ambient_temperature_change_k=-11.0,
        ambient_pressure_change_pa=900.0,
        restriction_factor=0.3,
        boost_change=0.05,
        skew=0.06,
        air_limited=True,
        boost_per_fuel=0.3,
        ve_change=0.01,
        boost_control=BoostControl.GAUGE,
    )
    found = parts_of(engine, [case], 8)[0]
    low, high = span(engine)
    product = np.prod([1.0 + found.change(name, low, high) for name in NAMES])
    whole = simulate_campaigns(engine, [case], 8)[0].truth.airflow_change(low, high)
    assert product - 1.0 == pytest.approx(whole, abs=1e-6)
    assert abs(found.change("engine", low, high)) < 0.02
    assert found.change("weather", low, high) > 0.025


@pytest.mark.parametrize(
    ("knobs", "part"),
    [
        ({"ambient_temperature_change_k": -10.0}, "weather"),
        ({"ambient_pressure_change_pa": 1500.0}, "weather"),
        ({"restriction_factor": 0.2}, "intake"),
        ({"leak_before_compressor": 0.05}, "intake"),
        ({"boost_change": 0.05}, "demand"),
        ({"ve_change": 0.02}, "engine"),
        ({"skew": 0.06, "air_limited": True, "boost_per_fuel": 0.3}, "feedback"),
    ],
    ids=lambda x: x if isinstance(x, str) else "+".join(x),
)
def test_each_knob_moves_its_own_part_only(knobs: dict[str, object], part: str) -> None:
    found = parts(**knobs)
    low, high = span(TURBO_DIESEL)
    for name in NAMES:
        size = found.change(name, low, high)
        if name == part:
            assert abs(size) > 0.002
        else:
            assert abs(size) < 1e-9


@engines
def test_a_held_pressure_takes_the_weather_by_its_law(engine: EngineModel) -> None:
    low, high = span(engine)
    sizes = [parts(engine, boost_control=law, ambient_pressure_change_pa=-2_000.0) for law in LAWS]
    absolute, gauge, ratio = (p.weather.change(p.weather.airflow, low, high) for p in sizes)
    assert ratio < gauge < absolute < 0.0
    # With the ratio to ambient held, charge goes as ambient pressure does.
    assert ratio == pytest.approx(-2_000.0 / 98_500.0, abs=0.006)
    assert absolute > 0.4 * ratio
    pressures = [p.weather.change(p.weather.p_manifold, low, high) for p in sizes]
    assert pressures[0] == pytest.approx(0.0, abs=0.004)
    assert pressures[2] == pytest.approx(-2_000.0 / 98_500.0, abs=0.006)


def test_a_held_pressure_leaves_little_to_a_freer_intake() -> None:
    low, high = span(TURBO_DIESEL)
    held = parts(boost_control=BoostControl.ABSOLUTE, restriction_factor=0.2)
    drooping = parts(restriction_factor=0.2)
    assert 0.0 < held.change("intake", low, high) < 0.6 * drooping.change("intake", low, high)


def test_a_relief_pays_where_the_ratio_to_the_inlet_is_held() -> None:
    low, high = span(TURBO_DIESEL)
    by_law = {
        law: parts(boost_control=law, restriction_factor=0.2).change("intake", low, high)
        for law in (BoostControl.RATIO_AMBIENT, BoostControl.RATIO_INLET)
    }
    # Four fifths of a depression of some 3 % over the sweep.
    assert 0.015 < by_law[BoostControl.RATIO_INLET] < 0.04
    assert by_law[BoostControl.RATIO_INLET] > 3.0 * by_law[BoostControl.RATIO_AMBIENT]


@pytest.mark.parametrize("skew", [0.06, -0.06])
def test_the_loop_through_fuel_follows_the_sign_of_the_skew(skew: float) -> None:
    low, high = span(TURBO_DIESEL)
    looped = parts(skew=skew, air_limited=True, boost_per_fuel=0.3).change("feedback", low, high)
    assert 0.1 < looped / skew < 0.8
    held = parts(skew=skew, air_limited=True, boost_control=BoostControl.ABSOLUTE)
    assert abs(held.change("feedback", low, high)) < 0.15 * abs(skew)


def test_a_raised_demand_is_logged_and_reached() -> None:
    case = replace(
        QUIET,
        boost_change=0.06,
        boost_control=BoostControl.ABSOLUTE,
        log_boost_demand=True,
        heat_soak=False,
    )
    found = simulate_campaigns(TURBO_DIESEL, [case], 3)[0]

    def at(log_index: int, name: str) -> float:
        log = (*found.before, *found.after)[log_index]
        speed = log["engine_speed"]
        pulling = log.at("pedal", speed.time_s) > 0.99
        time = np.interp(3000.0, speed.value[pulling], speed.time_s[pulling])
        return float(log.at(name, np.array([time]))[0])

    assert at(3, "boost_demand") / at(0, "boost_demand") == pytest.approx(1.06, abs=1e-3)
    for run in (0, 3):
        assert at(run, "manifold_pressure") == pytest.approx(at(run, "boost_demand"), rel=0.01)
