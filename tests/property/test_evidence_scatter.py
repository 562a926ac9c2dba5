"""Declared run effects are priors: repeats move them as far as they carry weight, no further."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import optimize

from airsense.evidence.change import pair_design
from airsense.evidence.effects import Effect
from airsense.evidence.scatter import SET_DOF, update_by_repeats
from tests.evidence_inputs import effect

FloatArray = NDArray[np.float64]
DESIGN = pair_design([False] * 3 + [True] * 3).matrix
FREE = 4


def means_with(spread: float, routes: int = 1) -> FloatArray:
    """Return run means whose residual variance (over 4 degrees of freedom) is spread squared."""
    pattern = np.array([1.0, -1.0, 0.0, 1.0, 0.0, -1.0])[:, None]
    jump = np.array([0.0, 0.0, 0.0, 0.07, 0.07, 0.07])[:, None]
    return np.repeat(spread * pattern + jump, routes, axis=1)


def updated(
    effects: tuple[Effect, ...], means: FloatArray, noise: float = 0.0
) -> tuple[Effect, ...]:
    return update_by_repeats(effects, means, DESIGN, np.full(means.shape[1], noise))


@given(st.floats(1e-3, 0.05), st.floats(1e-3, 0.05), st.floats(1.0, 50.0))
@settings(max_examples=40, deadline=None)
def test_one_effect_gets_the_pooled_variance(declared: float, seen: float, dof: float) -> None:
    """Scaled inverse chi-square: (nu s0^2 + n s^2) / (nu + n), with nu + n degrees of freedom."""
    (got,) = updated((effect("a", (1,), run=declared, between=0.002, dof=dof),), means_with(seen))
    pooled = (dof * declared**2 + FREE * seen**2) / (dof + FREE)
    assert got.run**2 == pytest.approx(pooled, rel=2e-3)
    assert got.run_dof == pytest.approx(dof + FREE, rel=1e-3)
    assert got.dof == dof, "what the drift is known by"


def test_louder_repeats_widen_run_and_drift() -> None:
    (got,) = updated((effect("a", (1,), run=0.003, between=0.002),), means_with(0.03))
    assert got.run > 0.015
    assert got.between == pytest.approx(0.002 * got.run / 0.003, rel=1e-9)


@given(st.floats(0.0, 1.0))
@settings(max_examples=20, deadline=None)
def test_quieter_repeats_narrow_no_further_than_the_prior_allows(share: float) -> None:
    """Perfect repeats leave nu/(nu + n) of the declared variance, and all of the drift."""
    (got,) = updated((effect("a", (1,), run=0.01, between=0.004),), means_with(0.01 * share))
    assert 0.01**2 * 5.6 / (5.6 + FREE) - 1e-9 <= got.run**2 <= 0.01**2 * 1.001
    assert got.between == 0.004


def test_one_run_each_keeps_what_was_declared() -> None:
    given_effects = (effect("a", (1,), run=0.01, between=0.004),)
    design = pair_design([False, True]).matrix
    got = update_by_repeats(given_effects, np.array([[0.0], [0.07]]), design, np.zeros(1))
    assert got == given_effects


def test_one_repeat_on_one_side_counts_already() -> None:
    """Two before and one after: residuals of +-1 % with one degree of freedom, s^2 = 2e-4."""
    design = pair_design([False, False, True]).matrix
    means = np.array([[0.01], [-0.01], [0.07]])
    (got,) = update_by_repeats((effect("a", (1,), run=0.004),), means, design, np.zeros(1))
    assert got.run**2 == pytest.approx((5.6 * 0.004**2 + 2e-4) / 6.6, rel=2e-3)
    assert got.run_dof == pytest.approx(6.6, rel=1e-3)


def test_effects_without_run_scatter_stay() -> None:
    fixed = effect("ve", (1,), between=0.005)
    moved = effect("a", (1,), run=0.003)
    got = updated((fixed, moved), means_with(0.03))
    assert got[0] is fixed
    assert got[0].dof_of_run == 5.6
    assert got[1].key == "a"
    assert got[1].run > 0.003
    assert updated((fixed,), means_with(0.03)) == (fixed,)


def test_sample_noise_that_explains_the_scatter_leaves_the_effect() -> None:
    quiet = effect("a", (1,), run=0.003)
    (blamed,) = updated((quiet,), means_with(0.01), noise=0.0)
    (excused,) = updated((quiet,), means_with(0.01), noise=0.01**2)
    assert excused.run < 0.5 * (blamed.run + 0.003)
    assert excused.dof_of_run < blamed.dof_of_run


def test_scatter_that_all_routes_share_goes_to_the_engine() -> None:
    effects = (
        effect("maf", (1, 0), run=0.003),
        effect("map", (0, 1), run=0.003),
        effect("engine", (1, 1), run=0.005, dof=4.0),
    )
    together = {e.key: e.run for e in updated(effects, means_with(0.02, routes=2))}
    assert together["engine"] > 0.012
    assert together["maf"] < 0.004
    apart = means_with(0.02, routes=2)
    apart[:, 1] = np.array([0.0, 0.0, 0.0, 0.07, 0.07, 0.07])
    alone = {e.key: e.run for e in updated(effects, apart)}
    assert alone["maf"] > together["maf"]
    assert alone["engine"] < together["engine"]


def test_expectation_maximization_ends_at_the_most_probable_variances() -> None:
    """The fixed point maximizes the normal likelihood times the inverse chi-square priors."""
    rng = np.random.default_rng(5)
    effects = (
        effect("maf", (1, 0, 0), run=0.004, dof=6.0),
        effect("map", (0, 1, 0), run=0.006, dof=3.0),
        effect("speed", (0, 1, 1), run=0.003, dof=5.0),
        effect("engine", (1, 1, 1), run=0.008, dof=4.0),
    )
    means = rng.normal(0.0, 0.012, (6, 3))
    noise = np.full(3, 1e-5)
    got = update_by_repeats(effects, means, DESIGN, noise)
    g = np.array([e.sensitivity for e in effects])
    prior = np.array([e.run**2 for e in effects])
    dof = np.array([e.dof for e in effects])

    def loudness_of(covariance: FloatArray) -> float:
        """By hand, on the second and third route less the first: the engine drops out."""
        to_maf = np.array([[-1.0, 1.0, 0.0], [-1.0, 0.0, 1.0]])
        maf, map_, speed, _ = prior
        declared = np.diag([maf, map_ + speed, speed]) + np.diag(noise + 1e-10)
        declared[1, 2] = declared[2, 1] = speed
        ratio = np.linalg.solve(to_maf @ declared @ to_maf.T, to_maf @ covariance @ to_maf.T)
        return float((SET_DOF + FREE * np.trace(ratio)) / (SET_DOF + 2 * FREE))

    centred = np.vstack([means[:3] - means[:3].mean(0), means[3:] - means[3:].mean(0)])
    observed = centred.T @ centred / FREE

    def cost(ln_v: FloatArray) -> float:
        v = np.exp(ln_v)
        total = (g.T * v) @ g + np.diag(noise + 1e-10)
        sign, log_det = np.linalg.slogdet(total)
        assert sign > 0
        fit = FREE * (log_det + np.trace(np.linalg.solve(total, observed)))
        return float(0.5 * fit + 0.5 * np.sum(dof * (ln_v + prior / v)))

    prior *= np.where([e.key == "engine" for e in effects], 1.0, loudness_of(observed))
    best = np.exp(optimize.minimize(cost, np.log(prior), method="BFGS").x)
    np.testing.assert_allclose([e.run**2 for e in got], best, rtol=0.03)


@pytest.mark.parametrize("factor", [0.2, 1.0, 3.0])
def test_what_the_routes_show_against_each_other_scales_all_sensors(factor: float) -> None:
    """Routes 2 and 3 stay still; route 1 alone shows how well the workshop repeats.

    Of three equal sizes u, the differences (-x, -x) to the first route have the covariance
    [[2, 1], [1, 2]] u^2, whose inverse sums to (2/3) / u^2.
    """
    u = 0.004
    effects = (
        effect("maf", (1, 0, 0), run=u, between=0.003, dof=1e6),
        effect("map", (0, 1, 0), run=u, between=0.003, dof=1e6),
        effect("fuel", (0, 0, 1), run=u, between=0.003, dof=1e6),
        effect("engine", (1, 1, 1), run=0.005, dof=1e6),
    )
    means = means_with(factor * u, routes=3)
    means[:, 1:] = np.array([0.0, 0.0, 0.0, 0.07, 0.07, 0.07])[:, None]
    got = {e.key: e for e in updated(effects, means)}
    scale = (SET_DOF + FREE * factor**2 * 2.0 / 3.0) / (SET_DOF + 2 * FREE)
    for key in ("maf", "map", "fuel"):
        assert got[key].run == pytest.approx(u * np.sqrt(scale), rel=1e-3)
        assert got[key].between == pytest.approx(0.003 * max(1.0, np.sqrt(scale)), rel=1e-3)
    assert got["engine"].run == pytest.approx(0.005, rel=1e-3)


def test_degrees_of_freedom_grow_by_the_share_that_an_effect_has_in_its_route() -> None:
    """Two equal effects on one route share its degrees of freedom in halves."""
    effects = (effect("a", (1,), run=0.01, dof=5.0), effect("b", (1,), run=0.01, dof=5.0))
    got = updated(effects, means_with(0.01 * np.sqrt(2.0)))
    for e in got:
        assert e.run == pytest.approx(0.01, rel=1e-3)
        assert e.run_dof == pytest.approx(5.0 + 0.5 * FREE, rel=1e-3)
