"""From repeats in bins to a change: means, covariance, drift, and what a level adds."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.estimates.defaults import DEFAULT_DOF
from airsense.estimates.estimate import Influence
from airsense.evidence import change as module
from airsense.evidence.change import (
    build_change,
    build_level,
    conditions_of,
    pair_design,
    route_change,
    state_change,
)
from airsense.evidence.effects import (
    bin_correlation,
    change_dof,
    change_variance,
    collect_effects,
    engine_effect,
    spread,
    with_run,
)
from airsense.evidence.scatter import update_by_repeats
from airsense.evidence.student import single, welch_satterthwaite
from tests.evidence_inputs import ROUTES, change_of, effect, table_of

PAIR = pair_design([False, False, False, True, True, True])
ONE = pair_design([False, True])


def influence(key: str, **sizes: float) -> Influence:
    full = {"absolute": 0.0, "run": 0.0, "between": 0.0, **sizes}
    return Influence(key=key, label=f"label of {key}", **full)


BUDGETS = {
    "mass_air_flow": (influence("mass_air_flow", run=0.003),),
    "speed_density": (
        influence("manifold_pressure", absolute=0.02, run=0.003, between=0.002),
        influence("volumetric_efficiency", absolute=0.05, between=0.005),
        influence("engine_speed", run=0.0005, sensitivity=1.0),
    ),
    "fuel_lambda": (
        influence("fuel", absolute=0.04, run=0.006, between=0.004),
        influence("engine_speed", run=0.0005, sensitivity=1.0),
    ),
}


def pair_table(jumps: tuple[float, float, float] = (0.07, 0.02, 0.02), **given: object):  # type: ignore[no-untyped-def]
    after = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0])[:, None]
    bins = np.linspace(0.0, 0.4, 5)[None, :]
    ln = {name: -2.5 + bins + jump * after for name, jump in zip(BUDGETS, jumps, strict=True)}
    return table_of(ln, **given)  # type: ignore[arg-type]


def test_components_of_one_key_are_one_effect() -> None:
    effects = {e.key: e for e in collect_effects(BUDGETS)}
    assert list(effects) == [
        "mass_air_flow", "manifold_pressure", "volumetric_efficiency", "engine_speed", "fuel",
    ]  # fmt: skip
    np.testing.assert_array_equal(effects["engine_speed"].sensitivity, [0, 1, 1])
    np.testing.assert_array_equal(effects["fuel"].sensitivity, [0, 0, 1])
    pressure = effects["manifold_pressure"]
    assert (pressure.absolute, pressure.run, pressure.between) == (0.02, 0.003, 0.002)
    assert (pressure.label, pressure.dof) == ("label of manifold_pressure", DEFAULT_DOF)


def test_the_engines_own_variation_moves_all_routes_alike() -> None:
    own = engine_effect(3, 0.005, 0.003, 4.0)
    np.testing.assert_array_equal(own.sensitivity, [1, 1, 1])
    assert (own.key, own.run, own.between, own.dof, own.absolute) == (
        "engine", 0.005, 0.003, 4.0, 0.0,
    )  # fmt: skip
    assert own.label == "engine's own run-to-run variation"


def test_variance_of_a_change_and_its_spread_over_routes_and_bins() -> None:
    e = effect("a", (0, 1, -0.5), run=0.01, between=0.004, absolute=9.0)
    assert change_variance(e, 2 / 3) == pytest.approx(0.004**2 + 2 / 3 * 0.01**2)
    near = np.array([[1.0, 0.8], [0.8, 1.0]])
    got = spread(e, near, 4.0)
    assert got.shape == (6, 6)
    assert got[2, 3] == pytest.approx(4.0 * 0.8)
    assert got[2, 4] == pytest.approx(-0.5 * 4.0)
    assert got[4, 5] == pytest.approx(0.25 * 4.0 * 0.8)
    assert not got[:2].any()
    learned = with_run(e, 0.02, 0.005, 9.0)
    assert (learned.run, learned.between, learned.dof_of_run) == (0.02, 0.005, 9.0)
    assert (learned.dof, e.dof_of_run) == (5.6, 5.6)


def test_repeats_teach_nothing_about_a_drift_between_configurations() -> None:
    """Welch-Satterthwaite over two parts: 16e-6 with 5.6 and 54e-6 with 25 degrees of freedom."""
    e = with_run(effect("a", (1,), run=0.003, between=0.004), 0.009, 0.004, 25.0)
    parts = np.array([0.004**2, 2 / 3 * 0.009**2])
    wanted = parts.sum() ** 2 / (parts[0] ** 2 / 5.6 + parts[1] ** 2 / 25.0)
    assert change_dof(e, 2 / 3) == pytest.approx(wanted)
    drift_alone = with_run(effect("a", (1,), between=0.004), 0.0, 0.004, 25.0)
    assert change_dof(drift_alone, 2 / 3) == pytest.approx(5.6)


def test_an_effect_is_mostly_an_offset_and_otherwise_smooth_over_speed() -> None:
    """0.7 + 0.3 exp(-x^2/2), x the distance in ln(speed) over 0.15."""
    got = bin_correlation(np.array([2000.0, 2000.0 * np.exp(0.15), 8000.0]))
    np.testing.assert_allclose(np.diag(got), 1.0)
    assert got[0, 1] == pytest.approx(0.7 + 0.3 * np.exp(-0.5))
    assert got[0, 2] == pytest.approx(0.7, abs=1e-6)
    np.testing.assert_allclose(got, got.T)


def test_change_is_the_mean_after_less_the_mean_before() -> None:
    got = build_change(pair_table(), BUDGETS, PAIR, controlled=True)
    assert got.routes == tuple(BUDGETS)
    np.testing.assert_allclose(got.value, np.repeat([[0.07], [0.02], [0.02]], 5, axis=1))
    assert got.n_bins == 5
    assert got.run_weight == pytest.approx(2 / 3)
    # u = 1e-3 in each of six runs, weights 1/3: 6/9 of the variance.
    np.testing.assert_allclose(got.noise, 2 / 3 * 1e-6)
    np.testing.assert_allclose(got.common_noise, 0.0)


def test_noise_that_routes_share_is_kept_apart() -> None:
    got = build_change(pair_table(u_common=2e-3), BUDGETS, PAIR, controlled=True)
    np.testing.assert_allclose(got.common_noise, 2 / 3 * 4e-6)


def test_bins_that_a_run_did_not_fill_are_left_out() -> None:
    table = pair_table()
    table.ln["fuel_lambda"][4, 1] = np.nan
    got = build_change(table, BUDGETS, PAIR, controlled=True)
    assert got.n_bins == 4
    np.testing.assert_allclose(got.speed_rpm, np.delete(table.centre_rpm, 1))


def test_fewer_than_two_common_bins_are_bad_input() -> None:
    table = pair_table()
    table.ln["mass_air_flow"][0, 1:] = np.nan
    with pytest.raises(InputError) as caught:
        build_change(table, BUDGETS, PAIR, controlled=True)
    error = caught.value
    assert "too few engine-speed bins" in error.what
    assert "run 0: 5 of 5 bins, run 1: 5 of 5 bins" in error.got
    assert error.where == "the logs"
    assert "at least 2 bins" in error.allowed
    assert "--rpm" in error.fix
    table.ln["mass_air_flow"][0, 1] = -2.5
    assert build_change(table, BUDGETS, PAIR, controlled=True).n_bins == 2


def sizes_of(key: str, change: object) -> tuple[float, float]:
    found = next(e for e in change.effects if e.key == key)  # type: ignore[attr-defined]
    return found.run, found.between


def test_driving_logs_scatter_far_more_than_sweeps() -> None:
    one = {name: v[[0, 3]] for name, v in pair_table().ln.items()}
    sweep = build_change(table_of(one), BUDGETS, ONE, controlled=True)
    drive = build_change(table_of(one), BUDGETS, ONE, controlled=False)
    assert sizes_of("engine", sweep) == (0.005, module.ENGINE_BETWEEN)
    assert sizes_of("engine", drive)[0] == 0.25
    assert next(e.dof for e in sweep.effects if e.key == "engine") == 4.0


def test_breathing_is_less_known_where_pressure_rose() -> None:
    """u = 0.05 per ln(p): 10 % more pressure adds 0.05 ln 1.1 in quadrature."""
    p = np.where(np.arange(6)[:, None] >= 3, 2.2e5, 2.0e5) * np.ones((6, 5))
    got = build_change(pair_table(p_manifold_pa=p), BUDGETS, PAIR, controlled=True)
    extra = 0.05 * np.log(1.1)
    assert sizes_of("volumetric_efficiency", got)[1] == pytest.approx(np.hypot(0.005, extra))
    plain = build_change(pair_table(), BUDGETS, PAIR, controlled=True)
    assert sizes_of("volumetric_efficiency", plain)[1] == pytest.approx(0.005)
    assert sizes_of("manifold_pressure", got)[1] == sizes_of("manifold_pressure", plain)[1]


def test_breathing_is_less_known_where_the_charge_got_hotter() -> None:
    """Both what pressure and what temperature may do to it, in quadrature."""
    after = np.arange(6)[:, None] >= 3
    hot = np.where(after, 320.0, 300.0) * np.ones((6, 5))
    p = np.where(after, 2.2e5, 2.0e5) * np.ones((6, 5))
    got = build_change(pair_table(t_charge_k=hot, p_manifold_pa=p), BUDGETS, PAIR, controlled=True)
    parts = (0.005, 0.35 * np.log(320.0 / 300.0), 0.05 * np.log(1.1))
    wanted = float(np.linalg.norm(parts))
    assert sizes_of("volumetric_efficiency", got)[1] == pytest.approx(wanted)


def test_brake_efficiency_is_less_known_where_lambda_moved() -> None:
    """u = 0.3 per ln(lambda), from the mean over bins of its absolute change."""
    lam = np.where(np.arange(6)[:, None] >= 3, 1.3, 1.4) * np.ones((6, 5))
    lam[0, 0] = np.nan
    budgets = {
        "mass_air_flow": BUDGETS["mass_air_flow"],
        "brake_power": (influence("brake_efficiency", absolute=0.1, between=0.01),),
    }
    ln = {name: pair_table().ln["mass_air_flow"] for name in budgets}
    got = build_change(table_of(ln, lambda_=lam), budgets, PAIR, controlled=True)
    extra = 0.3 * np.log(1.4 / 1.3)
    assert sizes_of("brake_efficiency", got)[1] == pytest.approx(np.hypot(0.01, extra))


def test_a_level_carries_absolute_sizes_and_no_dependence() -> None:
    ln = {name: v[:3] + shift for (name, v), shift in zip(
        pair_table().ln.items(), (0.03, 0.0, 0.0), strict=True
    )}  # fmt: skip
    table = table_of(ln, p_manifold_pa=np.linspace(1.5e5, 2.5e5, 3)[:, None] * np.ones((3, 5)))
    got = build_level(table, BUDGETS, controlled=True)
    assert got.run_weight == pytest.approx(1 / 3)
    assert got.value.mean() == pytest.approx(0.0, abs=1e-12)
    np.testing.assert_allclose(got.value[0] - got.value[1], 0.03)
    assert sizes_of("volumetric_efficiency", got)[1] == pytest.approx(np.hypot(0.05, 0.005))
    assert sizes_of("fuel", got)[1] == pytest.approx(np.hypot(0.04, 0.004))
    assert sizes_of("mass_air_flow", got)[1] == 0.0


def test_conditions_are_means_over_all_repeats() -> None:
    p = np.array([1.8e5, 1.8e5, np.nan, 2.0e5, 2.0e5, 2.0e5])[:, None] * np.ones((6, 5))
    table = pair_table(p_manifold_pa=p, boost_pa=p - 1e5, t_charge_k=np.full((6, 5), 315.0))
    change = build_change(table, BUDGETS, PAIR, controlled=True)
    got = conditions_of(table, change)
    np.testing.assert_allclose(got.p_manifold_pa, 1.92e5)
    np.testing.assert_allclose(got.boost_pa, 0.92e5)
    np.testing.assert_allclose(got.t_charge_k, 315.0)
    np.testing.assert_allclose(got.mdot_kgps, np.exp(-2.5 + np.linspace(0, 0.4, 5) + 0.035))
    assert got.routes == tuple(BUDGETS)
    assert got.lambda_routes == ()
    np.testing.assert_array_equal(got.compressor_to_pressure, 0.0)


def test_one_repeat_that_logged_a_state_is_enough() -> None:
    p = np.full((6, 5), np.nan)
    p[4] = 2.4e5
    table = pair_table(p_manifold_pa=p)
    got = conditions_of(table, build_change(table, BUDGETS, PAIR, controlled=True))
    np.testing.assert_allclose(got.p_manifold_pa, 2.4e5)


def test_scatter_is_judged_against_the_noise_of_a_run_mean() -> None:
    """Five bins of u = 2 %: a run mean is known to 2 %/sqrt(5) from samples alone."""
    rng = np.random.default_rng(8)
    ln = {name: v + rng.normal(0.0, 0.01, (6, 1)) for name, v in pair_table().ln.items()}
    got = build_change(table_of(ln, u_noise=0.02), BUDGETS, PAIR, controlled=True)
    means = np.array([v.mean(axis=1) for v in ln.values()]).T
    declared = (*collect_effects(BUDGETS), engine_effect(3, 0.005, module.ENGINE_BETWEEN, 4.0))
    wanted = update_by_repeats(declared, means, PAIR.matrix, np.full(3, 0.02**2 / 5))
    for mine, theirs in zip(got.effects, wanted, strict=True):
        assert mine.run == pytest.approx(theirs.run, rel=1e-9)
        assert mine.dof_of_run == pytest.approx(theirs.dof_of_run, rel=1e-9)


def test_conditions_that_nobody_logged_are_harmless() -> None:
    table = pair_table()
    got = conditions_of(table, build_change(table, BUDGETS, PAIR, controlled=True))
    np.testing.assert_array_equal(got.boost_pa, 0.0)
    np.testing.assert_array_equal(got.p_manifold_pa, 1e5)
    np.testing.assert_array_equal(got.t_charge_k, 300.0)


def test_conditions_know_which_routes_lambda_moves_and_what_a_map_does_with_pressure() -> None:
    routes = ("mass_air_flow", "fuel_lambda", "brake_power", "compressor_map")
    change = change_of(
        np.zeros((4, 5)),
        routes=routes,
        effects=(
            effect("lambda", (0, 1, 1, 0), run=0.01),
            effect("manifold_pressure", (0, 0, 0, -2.5), run=0.01),
        ),
    )
    slope = np.linspace(-3.0, -2.0, 5)
    table = table_of(dict.fromkeys(routes, np.zeros((2, 5))), compressor_to_pressure=slope)
    change = module.replace(change, speed_rpm=table.centre_rpm)
    got = conditions_of(table, change)
    assert got.lambda_routes == ("fuel_lambda", "brake_power")
    np.testing.assert_array_equal(got.compressor_to_pressure, slope)


def test_a_colder_sensor_and_a_hotter_one_are_as_uncertain() -> None:
    """The sign of a sensitivity has no part in a variance."""

    def width(sensitivity: float) -> float:
        e = effect("charge_temperature", (0, sensitivity), between=0.01)
        change = change_of((0.0, 0.0), routes=ROUTES[:2], effects=(e,))
        return route_change(change, "speed_density").half_width

    assert width(-2.0) == width(2.0) > width(1.0)


def test_a_state_that_was_logged_here_and_there_only_moves_no_efficiency() -> None:
    """Zero and missing values are left out; without a full bin nothing is known to have moved."""
    p = np.where(np.arange(6)[:, None] >= 3, 2.2e5, 2.0e5) * np.ones((6, 5))
    for spoilt in (0.0, -1.0, np.nan):
        hole, holes = p.copy(), p.copy()
        hole[1, 2] = spoilt
        holes[1, :] = spoilt
        some = build_change(pair_table(p_manifold_pa=hole), BUDGETS, PAIR, controlled=True)
        extra = 0.05 * np.log(1.1)
        found = sizes_of("volumetric_efficiency", some)[1]
        assert found == pytest.approx(np.hypot(0.005, extra))
        none = build_change(pair_table(p_manifold_pa=holes), BUDGETS, PAIR, controlled=True)
        assert sizes_of("volumetric_efficiency", none)[1] == pytest.approx(0.005)
    small = build_change(pair_table(p_manifold_pa=p * 1e-6), BUDGETS, PAIR, controlled=True)
    assert sizes_of("volumetric_efficiency", small)[1] == pytest.approx(np.hypot(0.005, extra))


@pytest.mark.parametrize("route", [0, 1, 2])
def test_one_routes_change_has_its_own_budget(route: int) -> None:
    change = build_change(pair_table(u_common=1e-3), BUDGETS, PAIR, controlled=True)
    parts = [
        (e.sensitivity[route] ** 2 * v, dof)
        for e in change.effects
        for v, dof in ((e.between**2, e.dof), (2 / 3 * e.run**2, e.dof_of_run))
    ]
    parts.append((float(np.sum(change.noise[route] + change.common_noise)) / 25, 5.0))
    variance, dof = np.array(parts).T
    wanted = single(
        (0.07, 0.02, 0.02)[route], np.sqrt(variance.sum()), welch_satterthwaite(variance, dof)
    ).interval()
    got = route_change(change, change.routes[route])
    assert (got.value, got.low, got.high) == pytest.approx(
        (wanted.value, wanted.low, wanted.high), abs=1e-10
    )
    wider = route_change(change, change.routes[route], 0.99)
    assert wider.low < got.low < got.high < wider.high


def test_change_of_a_state_by_hand() -> None:
    fuel = np.where(np.arange(6)[:, None] >= 3, 5.25e-3, 5.0e-3) * np.ones((6, 5))
    table = pair_table(mdot_fuel_kgps=fuel)
    got = state_change(
        table, "mdot_fuel_kgps", PAIR, (influence("fuel", run=0.006, between=0.004),),
        controlled=True,
    )  # fmt: skip
    assert got is not None
    assert got.value == pytest.approx(0.05, abs=1e-9)
    # Perfect repeats leave nu/(nu + 4) of each run variance, by the shares of the effects.
    assert 0.004 < got.half_width / 2.2 < 0.009
    assert got.low < 0.05 < got.high


def test_a_state_that_one_repeat_lacks_is_no_change() -> None:
    fuel = np.full((6, 5), 5e-3)
    fuel[2] = np.nan
    budget = (influence("fuel", run=0.006),)
    for table in (pair_table(mdot_fuel_kgps=fuel), pair_table(mdot_fuel_kgps=-np.abs(fuel))):
        assert state_change(table, "mdot_fuel_kgps", PAIR, budget, controlled=True) is None
    assert state_change(pair_table(), "no such", PAIR, budget, controlled=True) is None
    fuel[2] = 5e-3
    fuel[2, 2:] = np.nan
    partly = state_change(
        pair_table(mdot_fuel_kgps=fuel), "mdot_fuel_kgps", PAIR, budget, controlled=True
    )
    assert partly is not None
    assert partly.value == pytest.approx(0.0, abs=1e-9)
