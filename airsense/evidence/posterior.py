"""Closed-form evidence of every hypothesis, and draws from the mixture over them.

All observations are linear in the columns of nuisance and causes with Gaussian priors. With the
nuisance integrated out, the sizes t of the causes have the normal equations S t = s, and a
hypothesis with prior precision D has

    ln evidence = [ln|D| - ln|S + D| + s'(S + D)^-1 s] / 2 + terms that all share         (1)

Declared sizes may all be wrong together: one factor on drift and run effects, and one more on run
effects, are integrated over a grid with scaled inverse chi-square priors. Quantities are read
from weighted draws of the mixture (JCGM 101), so that each has its own degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from airsense.arrays import BoolArray, FloatArray, IntArray
from airsense.cause import Cause
from airsense.evidence.budget import RouteBudget
from airsense.evidence.design import Group, Scale, nuisance, stack
from airsense.evidence.hypotheses import Hypothesis, Library, hypotheses, library_of
from airsense.evidence.normal import Normal, normal_equations
from airsense.evidence.priors import NEW_LEAK_SHARE, PriorTable
from airsense.evidence.signatures import Observed

# Degrees of freedom of the common factor on all declared sizes, and of that on run effects, which
# the repeats then judge: JCGM 100 G.4.2 for sizes known to about 25 %. Our choice.
SET_DOF = 8.0
RUN_DOF = 6.0
SET_FACTORS = np.array([0.55, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5])
RUN_FACTORS = np.array([0.5, 0.65, 0.8, 1.0, 1.25, 1.6, 2.0])
DRAWS = 10_000
LEAST_DRAWS = 40
NEGLIGIBLE = 1e-6
SEED = 20_011


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """Normal equations of the causes by grid point, nuisance integrated out: (g, c, c), (g, c).

    `ln_shared` (g,) is what all hypotheses share at a grid point, its prior included. `normal` and
    `groups` are what was reduced: the nuisance's columns come first.
    """

    s_matrix: FloatArray
    s_vector: FloatArray
    ln_shared: FloatArray
    library: Library
    seen: Observed
    normal: Normal
    groups: tuple[Group, ...]

    def of_runs(
        self, weight: FloatArray, set_factor: float, run_factor: float
    ) -> tuple[float, FloatArray, float]:
        """Return what the observations say of a weighted sum of the routes' run effects.

        Parameters
        ----------
        weight : ndarray, shape (n_runs, n_routes)

        Returns
        -------
        tuple of float, ndarray (c,), float
            Its mean without causes, how much each unit of a cause takes from it, and its u.
        """
        still = [np.zeros(g.precision.shape[0]) for g in self.groups]
        row = np.concatenate(
            [z if g.run is None else weight[g.run] for g, z in zip(self.groups, still, strict=True)]
        )
        size = row.size
        matrix = self.normal.xwx[:size, :size] + _precision(self.groups, set_factor, run_factor)
        solved = np.linalg.solve(matrix, row)
        level = float(solved @ self.normal.xwy[:size])
        return level, solved @ self.normal.xwx[:size, size:], float(np.sqrt(solved @ row))


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Weighted draws of the sizes of all cause columns, (n, c); zero where not free.

    `hypothesis` (n,) is the number of the hypothesis. In `spread` what a hypothesis takes to be
    unchanged at the sensor is drawn from that of a free factor with the same fault, so that a
    spike at zero does not narrow an interval; a sign is read from `sizes`.
    """

    sizes: FloatArray
    spread: FloatArray
    weight: FloatArray
    hypothesis: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """Hypotheses with their posterior probabilities, and the draws."""

    candidates: tuple[Hypothesis, ...]
    ln_evidence: FloatArray
    weights: FloatArray
    draws: Draws
    set_factor: float
    run_factor: float
    reduced: Reduced

    def probability(self, *causes: Cause) -> float:
        """Return the posterior probability that one of some causes is at work."""
        return float(self.weights @ self.with_causes(*causes))

    def with_causes(self, *causes: Cause) -> BoolArray:
        """Return which hypotheses have one of some causes at work, (h,)."""
        wanted = frozenset(causes)
        return np.array([bool(wanted & h.causes) for h in self.candidates])

    def under(self, *causes: Cause) -> FloatArray:
        """Return the weights of the draws under some causes alone, summing to one."""
        weight = self.draws.weight * self.with_causes(*causes)[self.draws.hypothesis]
        return np.asarray(weight / max(float(weight.sum()), 1e-300))

    def reweighed(self, candidates: Sequence[Hypothesis]) -> Posterior:
        """Return the posterior under other prior probabilities of the same hypotheses."""
        weights = _weights(self.ln_evidence, candidates)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.where(self.weights > 0.0, weights / self.weights, 0.0)
        moved = self.draws.weight * ratio[self.draws.hypothesis]
        return replace(
            self,
            candidates=tuple(candidates),
            weights=weights,
            draws=replace(self.draws, weight=moved / moved.sum()),
        )


def reduce_observations(seen: Observed, budget: RouteBudget, table: PriorTable) -> Reduced:
    """Return the normal equations of the causes over the grid of scale factors.

    Parameters
    ----------
    seen : Observed
        Cells and readings at rest.
    budget : RouteBudget
        Of the routes, in the order of the cells.
    table : PriorTable
        Which causes there are; sizes and probabilities do not matter here.
    """
    groups = nuisance(seen, budget)
    library = library_of(table, seen)
    own_cells, own_rest, own_mean = stack(groups)
    x_cells = np.concatenate([own_cells, library.cells], axis=2)
    x_rest = np.concatenate([own_rest, library.rest], axis=1)
    size = own_cells.shape[2]
    mean = np.concatenate([own_mean, np.zeros(library.cells.shape[2])])
    normal = normal_equations(x_cells, x_rest, mean, seen.cells, seen.rest)
    points = [(a, b) for a in SET_FACTORS for b in RUN_FACTORS]
    rows = [_eliminate(normal, size, _precision(groups, a, b), a, b) for a, b in points]
    return Reduced(
        s_matrix=np.array([r[0] for r in rows]),
        s_vector=np.array([r[1] for r in rows]),
        ln_shared=np.array([r[2] for r in rows]),
        library=library,
        seen=seen,
        normal=normal,
        groups=groups,
    )


def _precision(groups: Sequence[Group], set_factor: float, run_factor: float) -> FloatArray:
    factor = {Scale.FIXED: 1.0, Scale.BETWEEN: set_factor, Scale.RUN: set_factor * run_factor}
    total = sum(g.precision.shape[0] for g in groups)
    out = np.zeros((total, total))
    at = 0
    for group in groups:
        here = slice(at, at + group.precision.shape[0])
        out[here, here] = group.precision / factor[group.scale] ** 2
        at = here.stop
    return out


def _eliminate(
    normal: Normal, size: int, precision: FloatArray, set_factor: float, run_factor: float
) -> tuple[FloatArray, FloatArray, float]:
    """Integrate the nuisance out at one grid point."""
    lower = np.linalg.cholesky(normal.xwx[:size, :size] + precision)
    both = np.column_stack([normal.xwx[:size, size:], normal.xwy[:size]])
    reduced = np.linalg.solve(lower, both)
    cross, y = reduced[:, :-1], reduced[:, -1]
    ln_det = 2.0 * float(np.sum(np.log(np.diag(lower))))
    ln_prior = float(np.linalg.slogdet(precision)[1])
    shared = 0.5 * (ln_prior - ln_det - normal.ywy + float(y @ y))
    shared += _ln_scale_prior(set_factor, SET_DOF) + _ln_scale_prior(run_factor, RUN_DOF)
    return (
        normal.xwx[size:, size:] - cross.T @ cross,
        normal.xwy[size:] - cross.T @ y,
        shared,
    )


def _ln_scale_prior(factor: float, dof: float) -> float:
    """Scaled inverse chi-square of the squared factor, over ln(factor)."""
    return -dof * float(np.log(factor)) - 0.5 * dof / factor**2


def infer(reduced: Reduced, table: PriorTable, *, draws: int = DRAWS) -> Posterior:
    """Weigh the hypotheses of a prior table and draw from their mixture.

    Parameters
    ----------
    reduced : Reduced
        From `reduce_observations`.
    table : PriorTable
        Probabilities and sizes; no cause that the reduced observations lack.
    draws : int
        About so many draws.
    """
    candidates = hypotheses(table, reduced.library)
    fits = _fit_all(reduced, candidates)
    by_grid = np.array([f.ln_evidence for f in fits])
    top = by_grid.max(axis=1)
    ln_evidence = top + np.log(np.sum(np.exp(by_grid - top[:, None]), axis=1))
    weights = _weights(ln_evidence, candidates)
    inside = np.exp(by_grid - ln_evidence[:, None])
    overall = weights @ inside
    drawn = _draw(candidates, fits, weights, inside, draws, reduced.library)
    a = np.repeat(SET_FACTORS, RUN_FACTORS.size)
    b = np.tile(RUN_FACTORS, SET_FACTORS.size)
    return Posterior(
        candidates=candidates,
        ln_evidence=ln_evidence,
        weights=weights,
        draws=drawn,
        set_factor=float(np.exp(overall @ np.log(a))),
        run_factor=float(np.exp(overall @ np.log(b))),
        reduced=reduced,
    )


def _weights(ln_evidence: FloatArray, candidates: Sequence[Hypothesis]) -> FloatArray:
    with np.errstate(divide="ignore"):
        ln_weight = ln_evidence + np.log([h.probability for h in candidates])
    weights = np.exp(ln_weight - ln_weight.max())
    return np.asarray(weights / weights.sum())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """Posterior of one hypothesis by grid point: mean (g, k), root (g, k, k), evidence (g,)."""

    mean: FloatArray
    root: FloatArray
    ln_evidence: FloatArray


def _fit_all(reduced: Reduced, candidates: Sequence[Hypothesis]) -> list[_Fit]:
    """Fit all hypotheses, those of one number of columns together."""
    size = np.array([h.columns.size for h in candidates])
    out: dict[int, _Fit] = {}
    for k in np.unique(size):
        own = np.flatnonzero(size == k).tolist()
        fits = _fit_alike(reduced, [candidates[i] for i in own])
        out.update(zip(own, fits, strict=True))
    return [out[i] for i in range(len(candidates))]


def _fit_alike(reduced: Reduced, alike: Sequence[Hypothesis]) -> list[_Fit]:
    """Fit hypotheses with equally many columns: arrays of shape (h, g, ...)."""
    g = reduced.ln_shared.size
    if alike[0].columns.size == 0:
        nothing = _Fit(
            mean=np.zeros((g, 0)), root=np.zeros((g, 0, 0)), ln_evidence=reduced.ln_shared
        )
        return [nothing for _ in alike]
    prior = np.array([h.precision for h in alike])
    at = np.array([h.columns for h in alike])
    matrix = reduced.s_matrix[:, at[:, :, None], at[:, None, :]].swapaxes(0, 1)
    vector = reduced.s_vector[:, at].swapaxes(0, 1)
    lower = np.linalg.cholesky(matrix + prior[:, None])
    inverse = np.linalg.inv(lower)
    half = inverse @ vector[..., None]
    root = inverse.swapaxes(-1, -2)
    mean = (root @ half)[..., 0]
    ln_det = 2.0 * np.sum(np.log(np.diagonal(lower, axis1=-2, axis2=-1)), axis=-1)
    ln_prior = np.linalg.slogdet(prior)[1]
    evidence = 0.5 * (ln_prior[:, None] - ln_det + np.sum(half[..., 0] ** 2, axis=-1))
    evidence += reduced.ln_shared
    for k, h in enumerate(alike):
        if h.sensor.one_sided:
            u = np.sqrt(np.sum(root[k, :, 0] ** 2, axis=-1))
            positive = ndtr(mean[k, :, 0] / u)
            share = NEW_LEAK_SHARE * positive + (1.0 - NEW_LEAK_SHARE) * (1.0 - positive)
            evidence[k] += np.log(2.0 * share)
    return [_Fit(mean=mean[k], root=root[k], ln_evidence=evidence[k]) for k in range(len(alike))]


def _draw(
    candidates: Sequence[Hypothesis],
    fits: Sequence[_Fit],
    weights: FloatArray,
    inside: FloatArray,
    draws: int,
    library: Library,
) -> Draws:
    rng = np.random.default_rng(SEED)
    size = library.cells.shape[2]
    free = {
        h.fault.columns.tobytes() + h.fault.precision.tobytes(): k for k, h in _free(candidates)
    }
    parts: list[tuple[FloatArray, FloatArray, FloatArray, int]] = []
    for k, h in enumerate(candidates):
        if weights[k] < NEGLIGIBLE:
            continue
        count = max(LEAST_DRAWS, round(draws * weights[k]))
        own = _sample(fits[k], h, inside[k], count, size, rng)
        wide = own
        if not h.sensor.causes:
            other = free[_fault_key(h)]
            wide = _sample(fits[other], candidates[other], inside[other], count, size, rng)
        weight = np.full(count, weights[k] / count)
        if h.sensor.one_sided:
            share = np.where(own[:, h.columns[0]] > 0.0, NEW_LEAK_SHARE, 1.0 - NEW_LEAK_SHARE)
            weight = weights[k] * share / share.sum()
        parts.append((own, wide, weight, k))
    return Draws(
        sizes=np.concatenate([p[0] for p in parts]),
        spread=np.concatenate([p[1] for p in parts]),
        weight=np.concatenate([p[2] for p in parts]) / sum(float(p[2].sum()) for p in parts),
        hypothesis=np.concatenate([np.full(p[2].size, p[3], dtype=np.int64) for p in parts]),
    )


def _fault_key(hypothesis: Hypothesis) -> bytes:
    """Return what tells one fault of a route, with its size, from the others."""
    return hypothesis.fault.columns.tobytes() + hypothesis.fault.precision.tobytes()


def _free(candidates: Sequence[Hypothesis]) -> list[tuple[int, Hypothesis]]:
    """Return the hypotheses of a usual free factor of the sensor, by fault; the first one wins."""
    found = [(k, h) for k, h in enumerate(candidates) if h.sensor.causes == {Cause.SENSOR_SCALE}]
    return found[::-1]


def _sample(
    fit: _Fit,
    hypothesis: Hypothesis,
    inside: FloatArray,
    count: int,
    size: int,
    rng: np.random.Generator,
) -> FloatArray:
    out = np.zeros((count, size))
    at = hypothesis.columns
    if at.size:
        # Evenly spaced over the grid's probabilities, so that few draws still span it.
        grid = np.searchsorted(np.cumsum(inside), (np.arange(count) + 0.5) / count * inside.sum())
        grid = np.minimum(grid, inside.size - 1)
        z = rng.standard_normal((count, at.size))
        z[1::2] = -z[: 2 * (count // 2) : 2]
        out[:, at] = fit.mean[grid] + np.einsum("nij,nj->ni", fit.root[grid], z)
    return out
