"""Plans obey the arithmetic of variances, whatever the sizes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.estimates.defaults import DEFAULT_DOF
from airsense.evidence.effects import Effect, bin_correlation
from airsense.evidence.planning import (
    PlannedQuantity,
    Rows,
    Wish,
    forecast,
    run_orders,
    runs_needed,
    weights_of,
)
from airsense.evidence.planning_channels import Pilot, rank_additions, rows_for
from airsense.setup.engine import EngineSetup

SETUP = EngineSetup.model_validate(
    {"engine": {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}}
)
ALL = frozenset(
    {
        "engine_speed", "mass_air_flow", "manifold_pressure", "charge_temperature",
        "barometric_pressure", "fuel_per_stroke", "lambda", "brake_power",
    }
)  # fmt: skip
GAUGE_ONLY = frozenset({"engine_speed", "mass_air_flow", "boost_pressure"})
AIR, SKEW, POWER = PlannedQuantity


def one_row(u_run, u_between, dof=np.inf, key="x"):
    """Return a plan for brake power alone, so that a hand can follow it."""
    effect = Effect(
        key=key, label=key, sensitivity=np.array([1.0]), absolute=0.0,
        run=u_run, between=u_between, dof=dof,
    )  # fmt: skip
    return Rows(
        names=("power",), effects=(effect,), routes=(), sensor=0, power=0, speed_rpm=(3000.0,)
    )


def test_the_variance_is_that_of_the_formula():
    # Equation (1) by hand: 0.3**2 / 4 + 2 / 4 * 0.8**2 = 0.3425, in per cent squared.
    found = forecast(one_row(0.008, 0.003), POWER, 4)
    assert found.u == pytest.approx(0.01 * 0.3425**0.5, rel=1e-12)
    blocks = forecast(one_row(0.008, 0.003), POWER, 4, alternating=False)
    assert blocks.u == pytest.approx(0.01 * (0.09 + 0.32) ** 0.5, rel=1e-12)


def test_what_belongs_to_the_configuration_does_not_average():
    rows = one_row(0.0, 0.005, key="volumetric_efficiency")
    assert forecast(rows, POWER, 30).u == pytest.approx(0.005)
    assert not forecast(rows, POWER, 30).components[0].averages_over_runs


def test_known_sizes_give_the_textbook_sample_size():
    # n = 2 (z_0.975 + z_0.90)**2 (sigma / delta)**2 = 2 * 10.507 * 1 = 21.01, so 22 runs; any
    # textbook on the design of experiments (two samples, known sigma equal to the difference).
    assert runs_needed(one_row(0.01, 0.0), POWER, Wish(change=0.01)) == 22
    # 80 % power: 2 * 7.849 = 15.70.
    assert runs_needed(one_row(0.01, 0.0), POWER, Wish(change=0.01, power=0.8)) == 16


def test_half_width_at_known_sizes_is_the_normal_one():
    found = forecast(one_row(0.01, 0.0), POWER, 2)
    assert found.half_width() == pytest.approx(1.959964 * 0.01, rel=1e-6)
    assert found.half_width(0.99) == pytest.approx(2.575829 * 0.01, rel=1e-6)


def test_repeats_add_degrees_of_freedom():
    rows = one_row(0.01, 0.0, dof=4.0)
    assert forecast(rows, POWER, 1).dof == pytest.approx(4.0)
    assert forecast(rows, POWER, 6).dof == pytest.approx(14.0)


def test_two_routes_are_weighted_by_inverse_variance():
    effects = tuple(
        Effect(key=k, label=k, sensitivity=np.array(s), absolute=0.0, run=u, between=0.0, dof=12.0)
        for k, s, u in (("a", [0.0, 1.0, 0.0], 0.01), ("b", [0.0, 0.0, 1.0], 0.02))
    )
    rows = Rows(
        names=("sensor", "one", "two"), effects=effects, routes=(1, 2), sensor=0, power=None
    )
    assert weights_of(rows, AIR, 3, alternating=True) == pytest.approx([0.0, 0.8, 0.2], abs=1e-6)
    assert weights_of(rows, SKEW, 3, alternating=True) == pytest.approx([1.0, -0.8, -0.2], abs=1e-6)


@settings(max_examples=30)
@given(
    run=st.floats(1e-4, 0.05), between=st.floats(0.0, 0.05), dof=st.floats(3.0, 50.0),
    runs=st.integers(1, 29),
)  # fmt: skip
def test_more_runs_never_widen(run, between, dof, runs):
    rows = one_row(run, between, dof)
    for alternating in (True, False):
        few = forecast(rows, POWER, runs, alternating=alternating)
        many = forecast(rows, POWER, runs + 1, alternating=alternating)
        assert many.u <= few.u * (1.0 + 1e-12)
        # The effective degrees of freedom may fall as what does not average takes over; with the
        # fewest degrees of freedom drawn here that costs up to 3 % of the quantile.
        assert many.half_width() <= few.half_width() * 1.03
    mixed = forecast(rows, POWER, runs)
    assert mixed.u <= forecast(rows, POWER, runs, alternating=False).u * (1.0 + 1e-12)


@settings(max_examples=30)
@given(change=st.floats(0.003, 0.1), power=st.floats(0.5, 0.99))
def test_a_larger_change_needs_no_more_runs(change, power):
    rows = rows_for(ALL, SETUP, Pilot())
    small = runs_needed(rows, AIR, Wish(change=change, power=power))
    large = runs_needed(rows, AIR, Wish(change=1.3 * change, power=power))
    assert small is None or (large is not None and large <= small)


def test_the_run_count_is_the_smallest_that_meets_the_wish():
    rows = rows_for(ALL, SETUP, Pilot())
    wish = Wish(change=0.012)
    needed = runs_needed(rows, AIR, wish)
    assert forecast(rows, AIR, needed).detectable(wish) <= 0.012
    assert forecast(rows, AIR, needed - 1).detectable(wish) > 0.012


def test_shares_of_the_budget_add_up():
    found = forecast(rows_for(ALL, SETUP, Pilot()), SKEW, 3)
    assert sum(c.share for c in found.components) == pytest.approx(1.0, abs=1e-4)
    assert sum(c.u**2 for c in found.components) == pytest.approx(found.u**2, rel=1e-4)
    assert [c.u for c in found.components] == sorted((c.u for c in found.components), reverse=True)


def test_the_mean_over_speeds_keeps_its_share():
    speeds = (1800.0, 2400.0, 3200.0)
    narrow = forecast(rows_for(ALL, SETUP, Pilot(speed_rpm=(2400.0,))), SKEW, 3)
    wide = forecast(rows_for(ALL, SETUP, Pilot(speed_rpm=speeds)), SKEW, 3)
    left = float(np.mean(bin_correlation(np.array(speeds))))
    assert wide.u == pytest.approx(narrow.u * left**0.5, rel=1e-9)


def test_the_engines_own_scatter_moves_its_air_but_not_the_skew():
    rows = rows_for(ALL, SETUP, Pilot())
    labels = {q: {c.label for c in forecast(rows, q, 3).components} for q in (AIR, SKEW)}
    assert any("engine's own" in label for label in labels[AIR])
    assert not any("engine's own" in label for label in labels[SKEW])


@pytest.mark.parametrize("channels", [GAUGE_ONLY, ALL - {"lambda"}, ALL - {"charge_temperature"}])
def test_additions_are_ranked_by_what_they_take_away(channels):
    ranked = rank_additions(channels, SETUP, Pilot(), quantity=AIR, wish=Wish(), runs=4)
    reductions = [item.reduction for item in ranked]
    assert reductions == sorted(reductions, reverse=True)
    now = forecast(rows_for(channels, SETUP, Pilot()), AIR, 4)
    for item in ranked:
        assert item.half_width <= now.half_width() * 1.02


def test_a_missing_charge_temperature_is_asked_for_on_a_pressure_route():
    ranked = rank_additions(GAUGE_ONLY, SETUP, Pilot(), quantity=AIR, wish=Wish(), runs=4)
    assert "charge temperature" in ranked[0].measurement
    named = " ".join(item.measurement for item in ranked)
    for words in ("barometer", "bore", "intake depression", "fuel quantity"):
        assert words in named or words == "fuel quantity"


def test_an_intake_depression_takes_nothing_off_the_interval():
    ranked = rank_additions(ALL, SETUP, Pilot(), quantity=SKEW, wish=Wish(), runs=4)
    depression = next(item for item in ranked if "depression" in item.measurement)
    assert depression.reduction == 0.0


def test_a_barometer_is_not_asked_for_beside_an_absolute_sensor():
    ranked = rank_additions(
        ALL - {"barometric_pressure"}, SETUP, Pilot(), quantity=AIR, wish=Wish(), runs=4
    )
    assert not any("barometer" in item.measurement for item in ranked)


def test_a_declared_size_is_used():
    tight = EngineSetup.model_validate(
        SETUP.model_dump() | {"uncertainty": {"brake_power_run": 0.002}}
    )
    usual, own = (forecast(rows_for(ALL, s, Pilot()), POWER, 3) for s in (SETUP, tight))
    assert own.u < usual.u
    assert own.dof <= DEFAULT_DOF * 4


@pytest.mark.parametrize("runs", [1, 2, 3, 4, 7])
def test_orders_hold_each_configuration_alike_and_drift_is_as_counted(runs):
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
