"""Plans obey what any honest interval does, and make of their states what they say."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import airsense
from airsense.evidence.planning.channels import (
    STILL,
    has,
    missing,
    template_for,
    with_channels,
)
from airsense.evidence.planning.resolution import Wish, budget_of, forecast, look, run_orders
from airsense.evidence.planning.states import PlannedQuantity, Template, synthetic
from airsense.setup.engine import EngineSetup

pytestmark = pytest.mark.slow

SETUP = EngineSetup.model_validate(
    {"engine": {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}}
)
ALL = frozenset(
    {
        "engine_speed", "mass_air_flow", "manifold_pressure", "charge_temperature",
        "barometric_pressure", "fuel_per_stroke", "lambda", "brake_power",
    }
)  # fmt: skip
WITHOUT_LAMBDA = ALL - {"lambda"}
GAUGE_ONLY = frozenset({"engine_speed", "mass_air_flow", "boost_pressure"})
AIR, SURPLUS, SKEW, POWER = PlannedQuantity


@pytest.fixture(scope="module")
def full() -> Template:
    return template_for(ALL, SETUP)


def half_width(template: Template, runs: int, quantity: PlannedQuantity = SURPLUS) -> float:
    return look(template, quantity, runs).half_width(0.95)


@pytest.mark.parametrize("runs", [1, 2, 5])
def test_planned_runs_hold_the_change_and_nothing_else_in_the_mean(
    full: Template, runs: int
) -> None:
    surplus = 0.04
    cells, rest = synthetic(full, runs, surplus)
    assert cells.size == 2 * runs * full.cells.size
    assert rest.size == 0
    assert np.unique(cells.run[cells.after]).size == runs
    mean = cells.residual[:, cells.after].mean(axis=1) - cells.residual[:, ~cells.after].mean(
        axis=1
    )
    assert mean == pytest.approx(np.full(len(cells.routes), surplus), abs=1e-9)


def test_planned_runs_scatter_as_declared(full: Template) -> None:
    runs = 400
    cells, _ = synthetic(replace(full, run_factor=2.0), runs, 0.0)
    levels = np.array([cells.residual[:, cells.run == k].mean(axis=1) for k in range(runs)])
    declared = 4.0 * np.diag(full.budget.covariance("run"))
    own = np.mean(full.cells.u_noise**2 + 0.003**2, axis=1) / full.cells.size
    assert levels.var(axis=0) == pytest.approx(declared + own, rel=0.1)


def test_more_runs_never_widen(full: Template) -> None:
    widths = [half_width(full, n) for n in (1, 2, 4, 8)]
    # Draws of a quantile wander by a percent or two.
    assert all(b < 1.02 * a for a, b in itertools.pairwise(widths))
    assert widths[-1] < 0.8 * widths[0]


def test_what_belongs_to_the_configuration_sets_a_floor() -> None:
    lone = template_for(WITHOUT_LAMBDA, SETUP)
    # Breathing (0.5 %, known to some 8 degrees of freedom) does not average over runs.
    assert half_width(lone, 12) > 0.010


def test_a_second_route_narrows_and_quiet_seconds_make_a_claim(full: Template) -> None:
    lone = template_for(WITHOUT_LAMBDA, SETUP)
    assert half_width(full, 3) < 0.85 * half_width(lone, 3)
    silent = template_for(WITHOUT_LAMBDA | {STILL}, SETUP)
    wish = Wish(change=0.05)
    assert forecast(lone, SURPLUS, 3, wish).detectable_change == np.inf
    assert forecast(silent, SURPLUS, 3, wish).detectable_change < 0.05


def test_the_engines_own_scatter_moves_its_air_but_not_the_reading(full: Template) -> None:
    wilder = replace(full, indicated=(0.02, 20.0))
    assert half_width(wilder, 3, SURPLUS) == half_width(full, 3, SURPLUS)
    assert half_width(wilder, 3, AIR) > 1.5 * half_width(full, 3, AIR)


def test_a_detectable_change_lies_beyond_the_interval(full: Template) -> None:
    for quantity in (AIR, POWER):
        found = forecast(full, quantity, 3, Wish())
        assert found.detectable_change > found.half_width
        surer = forecast(full, quantity, 3, Wish(power=0.99))
        assert surer.detectable_change > found.detectable_change


def test_brake_power_follows_the_textbook(full: Template) -> None:
    # u^2 = 2/n (0.7 % * sqrt(0.8))^2 + ... is dominated by pulls: four times the runs, half of it.
    one, four = (forecast(full, POWER, n, Wish()).half_width for n in (3, 12))
    assert 1.6 < one / four < 2.2


def test_shares_of_the_budget_add_up(full: Template) -> None:
    for quantity in (AIR, SURPLUS):
        parts = budget_of(look(full, quantity, 3))
        assert sum(c.share for c in parts) == pytest.approx(1.0, abs=0.01)
        assert [c.u for c in parts] == sorted((c.u for c in parts), reverse=True)
    labels = {c.label for c in budget_of(look(full, AIR, 3))}
    assert any("scatter of the engine" in label for label in labels)


def test_what_is_missing_is_what_the_channels_lack(full: Template) -> None:
    gauge = template_for(GAUGE_ONLY, SETUP)
    named = {a.key for a in missing(GAUGE_ONLY, gauge)}
    assert named == {"barometer", "charge_temperature", "fuel_quantity", "lambda_sensor"}
    assert {a.key for a in missing(ALL, full)} == {"still_seconds"}
    assert {a.key for a in missing(ALL | {STILL}, full)} == set()


def test_a_measured_charge_temperature_narrows_a_pressure_route() -> None:
    gauge = template_for(GAUGE_ONLY, SETUP)
    then = with_channels(gauge, GAUGE_ONLY, frozenset({"charge_temperature"}), SETUP)
    assert half_width(then, 3) < 0.9 * half_width(gauge, 3)


def test_routes_follow_from_channels() -> None:
    assert template_for(frozenset({"engine_speed", "mass_air_flow"}), SETUP).cells.size == 0
    assert template_for(GAUGE_ONLY, SETUP).cells.routes == ("speed_density",)
    assert set(template_for(ALL, SETUP).cells.routes) == {
        "speed_density",
        "fuel_lambda",
        "brake_power",
    }
    assert has(ALL, ("x", "lambda"))


def test_a_declared_size_is_used() -> None:
    declared: dict[str, Any] = SETUP.model_dump() | {"uncertainty": {"brake_power_run": 0.002}}
    tight = EngineSetup.model_validate(declared)
    usual, own = (forecast(template_for(ALL, s), POWER, 3, Wish()) for s in (SETUP, tight))
    assert own.half_width < usual.half_width


@pytest.mark.parametrize("runs", [1, 2, 3, 4, 7])
def test_orders_hold_each_configuration_alike_and_drift_is_as_counted(runs: int) -> None:
    orders = run_orders(runs)
    for order in orders:
        names = order.order.split()
        assert names.count("A") == names.count("B") == runs
        drift = 0.001 * np.arange(2 * runs)
        after = np.array([name == "B" for name in names])
        false_change = drift[after].mean() - drift[~after].mean()
        assert false_change == pytest.approx(0.001 * order.drift_left)
    assert abs(orders[0].drift_left) <= abs(orders[-1].drift_left)
    if runs % 2 == 0:
        assert orders[0].drift_left == 0.0


def test_more_runs_never_show_less() -> None:
    """Far out in the tail the draws are few; without lambda six runs once showed less than four."""
    engine = Path(__file__).parents[2] / "examples" / "two_boxes" / "engine.toml"
    result = airsense.plan(engine)
    shown = [row.detectable_change for row in result.by_runs]
    assert len(shown) >= 6
    assert shown == sorted(shown, reverse=True)
    assert shown[0] > 1.5 * shown[-1]
    at = [row.runs_per_configuration for row in result.by_runs].index(result.planned_runs)
    assert result.detectable_change == shown[at]


def test_a_leak_counts_against_the_sensor_and_not_against_the_surplus(full: Template) -> None:
    """Air lost behind the sensor is in the surplus all the same; whose it is, is the question."""
    labels = {q: {c.label for c in budget_of(look(full, q, 3))} for q in (SURPLUS, SKEW)}
    assert "leak after compressor" in labels[SKEW]
    assert not any("leak" in label for label in labels[SURPLUS])
