"""The closed form of the posterior against brute force; weights, draws and reweighing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from scipy.special import logsumexp, ndtr
from scipy.stats import multivariate_normal

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.design import Scale, nuisance, stack
from airsense.evidence.hypotheses import Hypothesis, hypotheses, library_of
from airsense.evidence.posterior import (
    RUN_DOF,
    RUN_FACTORS,
    SET_DOF,
    SET_FACTORS,
    Posterior,
    infer,
    reduce_observations,
)
from airsense.evidence.priors import (
    LEAK_CAUSES,
    NEW_LEAK_SHARE,
    PRESSURE_CAUSES,
    SENSOR_CAUSES,
    PriorTable,
)
from airsense.evidence.rest import Rest
from airsense.evidence.sensor_runs import sensor_runs
from airsense.evidence.signatures import observed
from tests.evidence_inputs import ROUTES, budget_of, cells_of, forms_of, noise_of, rest_of, shifted

TABLE = PriorTable()
BUDGET = budget_of()
STILL = rest_of(before=(0.0, 0.001, 0.0), after=(0.0, 0.0, 0.001))


def inferred(
    cells: Cells, rest: Rest | None = None, budget: RouteBudget = BUDGET, table: PriorTable = TABLE
) -> Posterior:
    seen = observed(cells, rest_of() if rest is None else rest)
    return infer(reduce_observations(seen, budget, table), table, draws=4000)


# Brute force: the covariance of all observations, with nothing eliminated


@dataclass(frozen=True, slots=True, kw_only=True)
class Dense:
    """All observations in one vector, with prior mean and covariance by grid point."""

    y: FloatArray
    columns: FloatArray
    covariance: tuple[FloatArray, ...]
    ln_prior: FloatArray

    def ln_evidence(self, h: Hypothesis) -> FloatArray:
        """Return ln of the likelihood times the grid's prior, (g,)."""
        out = []
        for k, own in enumerate(self.covariance):
            x = self.columns[:, h.columns]
            total = own + x @ np.linalg.solve(h.precision, x.T) if h.columns.size else own
            value = multivariate_normal(np.zeros(self.y.size), total).logpdf(self.y)
            out.append(value + self.ln_prior[k] + np.log(self._one_sided(h, total)))
        return np.array(out)

    def _one_sided(self, h: Hypothesis, total: FloatArray) -> float:
        """Return how much the sign of a leak makes of its likelihood."""
        if not h.sensor.one_sided:
            return 1.0
        mean, variance = self.size_of(h, total)
        positive = float(ndtr(mean[0] / np.sqrt(variance[0, 0])))
        return 2.0 * (NEW_LEAK_SHARE * positive + (1.0 - NEW_LEAK_SHARE) * (1.0 - positive))

    def size_of(self, h: Hypothesis, total: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and covariance of the sizes given the observations."""
        prior = np.linalg.inv(h.precision)
        gain = prior @ self.columns[:, h.columns].T
        solved = np.linalg.solve(total, gain.T).T
        return solved @ self.y, prior - solved @ gain.T


def dense(cells: Cells, rest: Rest, budget: RouteBudget) -> Dense:
    seen = observed(cells, rest)
    library = library_of(TABLE, seen)
    groups = nuisance(seen, budget)
    own_cells, own_rest, mean = stack(groups)

    def rows(on_cells: FloatArray, at_rest: FloatArray) -> FloatArray:
        return np.concatenate([on_cells.reshape(-1, on_cells.shape[2]), at_rest])

    x = rows(own_cells, own_rest)
    noise = np.concatenate([noise_of(cells).ravel() ** 2, np.maximum(rest.u_noise, 1e-4) ** 2])
    covariance, ln_prior = [], []
    for a in SET_FACTORS:
        for b in RUN_FACTORS:
            factor = {Scale.FIXED: 1.0, Scale.BETWEEN: a, Scale.RUN: a * b}
            total, at = np.diag(noise), 0
            for g in groups:
                own = x[:, at : at + g.precision.shape[0]]
                total = total + factor[g.scale] ** 2 * own @ np.linalg.solve(g.precision, own.T)
                at += own.shape[1]
            covariance.append(total)
            ln_prior.append(_ln_chi(a, SET_DOF) + _ln_chi(b, RUN_DOF))
    y = np.concatenate([cells.residual.ravel(), rest.value]) - x @ mean
    return Dense(
        y=y,
        columns=rows(library.cells, library.rest),
        covariance=tuple(covariance),
        ln_prior=np.array(ln_prior),
    )


def _ln_chi(factor: float, dof: float) -> float:
    """Density of a scaled inverse chi-square of factor**2, over ln(factor), but for a constant."""
    return -dof * float(np.log(factor)) - 0.5 * dof / factor**2


def small(routes: Sequence[str]) -> tuple[Cells, Rest, RouteBudget]:
    rng = np.random.default_rng(4)
    cells = cells_of(runs=1, size=4, routes=routes, idle=True)
    noisy = shifted(cells, rng.normal(0.0, 0.006, cells.ln_route.shape), everywhere=True)
    rest = rest_of(before=0.001, after=0.004)
    return shifted(noisy, 0.03), rest, budget_of(routes)


@pytest.mark.parametrize("routes", [ROUTES, ROUTES[:1]])
def test_evidence_of_every_hypothesis_is_that_of_the_full_covariance(
    routes: tuple[str, ...],
) -> None:
    """Elimination, determinants and signs: against the multivariate normal of scipy."""
    cells, rest, budget = small(routes)
    brute = dense(cells, rest, budget)
    got = inferred(cells, rest, budget)
    chosen = range(0, len(got.candidates), 11)
    wanted = np.array([logsumexp(brute.ln_evidence(got.candidates[k])) for k in chosen])
    found = got.ln_evidence[list(chosen)]
    assert {h.sensor.one_sided for h in (got.candidates[k] for k in chosen)} == {False, True}
    np.testing.assert_allclose(found - found[0], wanted - wanted[0], atol=2e-6)


@pytest.mark.parametrize("routes", [ROUTES, ROUTES[:1]])
def test_the_sensors_scatter_is_that_of_the_full_covariance(routes: tuple[str, ...]) -> None:
    """The mean of a few runs' errors given the observations, with no run effect split off."""
    budget = budget_of(routes)
    rng = np.random.default_rng(8)
    cells = cells_of(runs=2, size=4, routes=routes)
    noisy = rng.normal(0.0, 0.006, (4, 1))[cells.run].T + rng.normal(0.0, 0.003, cells.size)
    cells = shifted(cells, noisy, everywhere=True)
    weight = np.array([-0.5, -0.5, 0.0, 1.0])
    brute, got = dense(cells, rest_of(), budget), inferred(cells, rest_of(), budget)
    found = sensor_runs(replace(got, set_factor=1.0, run_factor=1.0), budget, weight)

    one = int(np.argmin(np.abs(SET_FACTORS - 1.0))) * RUN_FACTORS.size
    total = brute.covariance[one + int(np.argmin(np.abs(RUN_FACTORS - 1.0)))]
    with_sensor = 0.003**2 * np.tile(weight[cells.run], len(routes))
    gain = np.linalg.solve(total, with_sensor)
    assert found.level == pytest.approx(gain @ brute.y, abs=1e-9)
    np.testing.assert_allclose(found.slope, gain @ brute.columns, atol=1e-9)
    variance = 0.003**2 * float(weight @ weight) - float(with_sensor @ gain)
    assert found.u == pytest.approx(np.sqrt(variance), rel=1e-6)


@pytest.mark.parametrize("causes", [{Cause.SENSOR_SCALE}, {Cause.SENSOR_SHAPE}])
def test_sizes_are_those_of_the_full_covariance(causes: set[Cause]) -> None:
    """Mean and spread of the first size, averaged over the scale factors."""
    cells, rest, budget = small(ROUTES)
    brute, got = dense(cells, rest, budget), inferred(cells, rest, budget)
    k = max(
        (k for k, h in enumerate(got.candidates) if h.causes == causes),
        key=lambda k: got.weights[k],
    )
    h = got.candidates[k]
    ln = brute.ln_evidence(h)
    share = np.exp(ln - logsumexp(ln))
    x = brute.columns[:, h.columns]
    parts = [
        brute.size_of(h, own + x @ np.linalg.solve(h.precision, x.T)) for own in brute.covariance
    ]
    means = np.array([m[0] for m, _ in parts])
    mean = float(share @ means)
    spread = float(np.sqrt(share @ (np.array([v[0, 0] for _, v in parts]) + means**2) - mean**2))
    own = got.draws.hypothesis == k
    values = got.draws.sizes[own, h.columns[0]]
    n = np.count_nonzero(own)
    assert values.mean() == pytest.approx(mean, abs=4.0 * spread / np.sqrt(n))
    assert values.std() == pytest.approx(spread, rel=5.0 / np.sqrt(n))


def test_a_mended_leak_is_less_likely_than_a_new_one_by_what_is_declared() -> None:
    """The same evidence mirrored: all the difference is the sign's own probability."""
    cells = cells_of(noise=1e-4)
    (form, *_) = forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells)
    shape = form.cells[..., 0]
    tight = budget_of(scale=0.1)
    new, mended = (inferred(shifted(cells, s * 0.05 * shape), None, tight) for s in (1.0, -1.0))
    alone = new.with_causes(Cause.LEAK_AFTER_COMPRESSOR) & (
        np.array([len(h.causes) for h in new.candidates]) == 1
    )
    k = int(np.argmax(np.where(alone, new.ln_evidence, -np.inf)))
    ratio = new.ln_evidence[k] - mended.ln_evidence[k]
    # The prior mean of the slopes is not mirrored; it moves both by little.
    assert ratio == pytest.approx(np.log(NEW_LEAK_SHARE / (1.0 - NEW_LEAK_SHARE)), abs=0.3)


# Weights and draws


@cache
def skewed() -> Posterior:
    return inferred(shifted(cells_of(), 0.05), STILL)


def test_weights_and_draws_sum_to_one() -> None:
    got = skewed()
    assert got.weights.sum() == pytest.approx(1.0)
    assert got.draws.weight.sum() == pytest.approx(1.0)
    assert np.all(got.weights >= 0.0)
    assert np.all(got.draws.weight >= 0.0)
    by_draw = np.bincount(got.draws.hypothesis, got.draws.weight, got.weights.size)
    np.testing.assert_allclose(by_draw, got.weights, atol=1e-4)


def test_what_is_not_free_is_zero_in_a_draw() -> None:
    got = skewed()
    for k in np.unique(got.draws.hypothesis):
        own = got.draws.sizes[got.draws.hypothesis == k]
        columns = got.candidates[k].columns
        assert not np.any(np.delete(own, columns, axis=1))
        assert columns.size == 0 or np.all(np.any(own[:, columns], axis=1))


def test_a_spike_at_zero_does_not_narrow_an_interval() -> None:
    """A sign is read from `sizes`, an interval from `spread`."""
    got = inferred(cells_of(), STILL)
    quiet = np.array([not h.sensor.causes for h in got.candidates])[got.draws.hypothesis]
    factor = got.reduced.library.columns_of(Cause.SENSOR_SCALE)[0]
    assert not np.any(got.draws.sizes[quiet, factor])
    assert np.all(got.draws.spread[quiet, factor] != 0.0)
    np.testing.assert_array_equal(got.draws.spread[~quiet], got.draws.sizes[~quiet])


def test_the_same_observations_give_the_same_answer() -> None:
    one, two = (inferred(shifted(cells_of(), 0.03), STILL) for _ in range(2))
    np.testing.assert_array_equal(one.weights, two.weights)
    np.testing.assert_array_equal(one.draws.sizes, two.draws.sizes)
    np.testing.assert_array_equal(one.draws.spread, two.draws.spread)


@pytest.mark.parametrize("factor", [0.2, 5.0])
def test_reweighing_is_inference_under_the_other_odds(factor: float) -> None:
    got = skewed()
    table = TABLE.with_odds(factor)
    moved = got.reweighed(hypotheses(table, got.reduced.library))
    anew = infer(got.reduced, table, draws=4000)
    np.testing.assert_allclose(moved.weights, anew.weights, atol=1e-12)
    assert moved.draws.weight.sum() == pytest.approx(1.0)
    means = [p.draws.weight @ p.draws.sizes[:, 0] for p in (moved, anew)]
    assert means[0] == pytest.approx(means[1], abs=5e-4)


def test_weights_under_some_causes_are_theirs_alone() -> None:
    got = skewed()
    weight = got.under(*PRESSURE_CAUSES)
    own = got.with_causes(*PRESSURE_CAUSES)[got.draws.hypothesis]
    assert weight.sum() == pytest.approx(1.0)
    assert not np.any(weight[~own])


def test_more_scatter_than_declared_is_learned_from_the_repeats() -> None:
    rng = np.random.default_rng(9)
    cells = cells_of(runs=5)
    factor = []
    for u in (0.004, 0.02):
        per_run = rng.normal(0.0, u, (2, 10))
        moved = shifted(cells, per_run[:, cells.run], everywhere=True)
        got = inferred(moved)
        factor.append(got.set_factor * got.run_factor)
    assert factor[1] > 1.5 * factor[0]
    assert factor[0] < 1.3


# Planted causes come back


PLANTED = {
    Cause.SENSOR_SCALE: 0.06,
    Cause.PULSATION: 0.12,
    Cause.LEAK_AFTER_COMPRESSOR: 0.06,
    Cause.MANIFOLD_PRESSURE_GAIN: 0.05,
    Cause.CHARGE_TEMPERATURE: 12.0,
    Cause.FUEL_SCALE: 0.12,  # nearer to zero the lambda sensor is as likely: the same mark
}


@pytest.mark.parametrize(("cause", "size"), PLANTED.items())
def test_a_planted_cause_is_the_likeliest_and_has_its_size(cause: Cause, size: float) -> None:
    """Three runs a side, two routes, sensor still: each leaves its mark and is found by it."""
    rng = np.random.default_rng(10)
    cells = cells_of(idle=True)
    rest = rest_of(before=(0.0, 0.0, 0.0), after=(0.0, 0.0, 0.0))
    form = forms_of(cause, cells, rest)[0]
    # A bend or an unlike share beside the first column stays zero, as the prior thinks likeliest.
    columns = form.cells[..., 0] + (form.cells[..., 1] if cause is Cause.CHARGE_TEMPERATURE else 0)
    moved = shifted(cells, size * columns)
    moved = shifted(moved, rng.normal(0.0, 0.002, cells.ln_route.shape), everywhere=True)
    value = rest.value + size * form.rest[:, 0]
    got = inferred(moved, replace(rest, value=value))
    chance = {c: got.probability(c) for c in Cause if c is not Cause.NONE}
    assert max(chance, key=lambda c: chance[c]) is cause, chance
    assert chance[cause] > 0.5
    if cause is Cause.CHARGE_TEMPERATURE:
        return  # its size is split between load and rest
    own = got.with_causes(cause)[got.draws.hypothesis]
    side = [h.sensor if cause in h.sensor.causes else h.fault for h in got.candidates]
    column = np.array([s.columns[0] if s.columns.size else 0 for s in side])[got.draws.hypothesis]
    values = got.draws.sizes[np.arange(own.size), column][own]
    weight = got.draws.weight[own] / got.draws.weight[own].sum()
    mean = float(weight @ values)
    spread = float(np.sqrt(weight @ (values - mean) ** 2))
    assert abs(mean - size) < 2.5 * spread
    assert spread < 0.35 * size


def test_nothing_planted_is_nothing_found() -> None:
    got = inferred(cells_of(), STILL)
    assert got.probability(Cause.NONE) > 0.5
    assert got.probability(*LEAK_CAUSES) < 0.05
    assert got.probability(*SENSOR_CAUSES) < 0.5


def test_one_route_alone_cannot_tell_the_sensor_from_the_pressure_until_the_engine_stands() -> None:
    cells = shifted(cells_of(routes=ROUTES[:1]), -0.05)
    budget = budget_of(ROUTES[:1])
    blind = inferred(cells, rest_of(), budget)
    drifted = rest_of(before=(0.0, 0.0, 0.0), after=(0.05, 0.05, 0.05))
    sound = rest_of(before=(0.0, 0.0, 0.0), after=(0.0, 0.0, 0.0))
    by_pressure, by_sensor = (inferred(cells, r, budget) for r in (drifted, sound))
    assert by_pressure.probability(*PRESSURE_CAUSES) > 0.95
    assert by_pressure.probability(*SENSOR_CAUSES) < 0.5
    assert by_sensor.probability(*PRESSURE_CAUSES) < blind.probability(*PRESSURE_CAUSES)
    assert by_sensor.probability(*PRESSURE_CAUSES) < 0.02
    assert by_sensor.probability(*SENSOR_CAUSES, *LEAK_CAUSES) > 0.9
