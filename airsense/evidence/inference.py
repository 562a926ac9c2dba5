"""Closed-form Gaussian evidence for each hypothesis, and the mixture over them.

With ``d`` the change of ln(flow) over (route, bin), ``a`` the true change by bin, ``H`` the
columns of a hypothesis and ``K`` the covariance of the budget:

    d = E a + H t + e,   a ~ N(0, A),   t ~ N(0, P),   e ~ N(0, K)        (1)

so d ~ N(0, G + H P H') with G = K + E A E'; the sizes t and the true change follow by the matrix
inversion lemma. Weights are prior times marginal likelihood; misfit is judged by a Student
likelihood with the budget's effective degrees of freedom, since the budget itself is uncertain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.special import ndtr

from airsense.evidence.effects import (
    Effect,
    bin_correlation,
    change_dof,
    change_variance,
    spread,
)
from airsense.evidence.hypotheses import Hypothesis
from airsense.evidence.priors import (
    NEW_LEAK_SHARE,
    TRUE_CHANGE_SHAPE_SIZE,
    TRUE_CHANGE_SIZE,
    Cause,
)
from airsense.evidence.student import Mixture, welch_satterthwaite

FloatArray = NDArray[np.float64]

RIDGE = 1e-10
# The true change varies smoothly over speed around its mean.
TRUE_CHANGE_CONSTANT_SHARE = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The data of one comparison: ln(after/before) over (route, bin).

    `value` and `noise` have shape (n_routes, n_bins); the first route is the sensor under test.
    `run_weight` is the sum of squared run weights. `noise` is a variance, independent by bin;
    `common_noise` (n_bins,) is shared by all routes. `run_correlation` is not needed for each
    effect: all effects use the bin correlation of `effects.py`.
    """

    routes: tuple[str, ...]
    speed_rpm: FloatArray
    value: FloatArray
    noise: FloatArray
    common_noise: FloatArray
    run_weight: float
    effects: tuple[Effect, ...]

    @property
    def n_bins(self) -> int:
        """Number of speed bins."""
        return self.speed_rpm.size


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A labelled share of the variance of the skew, as a standard uncertainty (k = 1)."""

    label: str
    u: float
    dof: float
    shared: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Posterior of one hypothesis. Logarithmic changes; by-bin arrays have shape (n_bins,)."""

    hypothesis: Hypothesis
    log_evidence: float
    misfit: float
    skew: float
    u_skew: float
    true: float
    u_true: float
    skew_by_bin: FloatArray
    u_skew_by_bin: FloatArray
    true_by_bin: FloatArray
    u_true_by_bin: FloatArray
    sizes: FloatArray
    u_sizes: FloatArray

    def first_column(self, cause: Cause) -> int:
        """Return the index of the main size of a cause: sensor causes come before faults."""
        if cause is self.hypothesis.sensor:
            return 0
        return self.hypothesis.fault_column


@dataclass(frozen=True, slots=True, kw_only=True)
class Posterior:
    """All fits with their weights, the effective degrees of freedom, and the budget."""

    fits: tuple[Fit, ...]
    log_likelihood: FloatArray
    weights: FloatArray
    mean_of: tuple[int, ...]
    spread_of: tuple[int, ...]
    dof: float
    budget: tuple[Part, ...]
    inflation: float = 1.0

    def mixture(self, quantity: str) -> Mixture:
        """Return the mixture of `skew` or `true`, or by bin with `_by_bin`, marked by the fault."""
        faults = tuple(Cause)
        mean = np.array([getattr(self.fits[k], quantity) for k in self.mean_of])
        scale = np.array([getattr(self.fits[k], f"u_{quantity}") for k in self.spread_of])
        return Mixture(
            weight=self.weights,
            mean=mean.T,
            scale=self.inflation * scale.T,
            dof=self.dof,
            assumption=np.array([faults.index(f.hypothesis.fault) for f in self.fits]),
        )

    def inflated(self, disagreement: float) -> Posterior:
        """Return the posterior widened by a Birge ratio as far as no fault explains it.

        Parameters
        ----------
        disagreement : float
            Root of chi-square over degrees of freedom of the routes; 1 or less changes nothing.
        """
        sound = self.probability_of_no_fault()
        return replace(self, inflation=1.0 + max(disagreement - 1.0, 0.0) * sound)

    def probability_of_no_fault(self) -> float:
        """Return the probability that no route has a fault."""
        return float(
            sum(
                w
                for w, f in zip(self.weights, self.fits, strict=True)
                if f.hypothesis.fault is Cause.NONE
            )
        )

    def reweighed(self, candidates: Sequence[Hypothesis]) -> Posterior:
        """Return the posterior under other prior probabilities of the same hypotheses."""
        return replace(self, weights=_weights(self.log_likelihood, candidates))

    def probability(self, cause: Cause) -> float:
        """Return the posterior probability that a cause is at work."""
        return float(
            sum(
                w
                for w, f in zip(self.weights, self.fits, strict=True)
                if cause in f.hypothesis.causes
            )
        )


def _has_skew(hypothesis: Hypothesis) -> bool:
    return any(c.at_sensor for c in hypothesis.columns)


def interval_indices(candidates: Sequence[Hypothesis]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return, for each hypothesis, the fits whose mean and whose spread stand for it.

    That the sensor's own reading is unchanged is part of a hypothesis about a cause, not
    knowledge: its spread is that of a free scale with the same fault, so that no spike at zero
    narrows the interval. Where nothing else is at work the mean is the free scale's too.
    """
    free: dict[Cause, int] = {}
    for k, h in enumerate(candidates):
        if h.sensor is Cause.SENSOR_SCALE:
            free.setdefault(h.fault, k)
    means = tuple(free[h.fault] if h.sensor is Cause.NONE else k for k, h in enumerate(candidates))
    spreads = tuple(k if _has_skew(h) else free[h.fault] for k, h in enumerate(candidates))
    return means, spreads


def _weights(log_likelihood: FloatArray, candidates: Sequence[Hypothesis]) -> FloatArray:
    log_weight = log_likelihood + np.log([h.probability for h in candidates])
    weights = np.exp(log_weight - log_weight.max())
    return np.asarray(weights / weights.sum(), dtype=np.float64)


class _Solver:
    """Everything that all hypotheses share: the factor of G and the true-change prior."""

    def __init__(self, change: Change, true_size: float, true_shape_size: float) -> None:
        n_routes, n_bins = change.value.shape
        self.change = change
        self.correlation = bin_correlation(change.speed_rpm)
        self.parts = [
            (e, spread(e, self.correlation, change_variance(e, change.run_weight)))
            for e in change.effects
        ]
        shape = bin_correlation(change.speed_rpm, TRUE_CHANGE_CONSTANT_SHARE)
        self.prior_true = true_size**2 + true_shape_size**2 * shape
        self.expand = np.tile(np.eye(n_bins), (n_routes, 1))
        self.noise = np.diag(change.noise.ravel() + RIDGE) + np.kron(
            np.ones((n_routes, n_routes)), np.diag(change.common_noise)
        )
        budget = self.noise + np.sum([k for _, k in self.parts], axis=0)
        self.cross = self.prior_true @ self.expand.T
        total = budget + self.expand @ self.cross
        self.factor = cho_factor(total, lower=True)
        self.lower = self.factor[0]
        self.y = solve_triangular(self.lower, change.value.ravel(), lower=True)
        self.log_det = 2.0 * float(np.sum(np.log(np.diag(self.lower))))
        # Gain from the data to the true change by bin, and what it leaves unexplained.
        self.gain = cho_solve(self.factor, self.cross.T).T
        self.left = self.prior_true - self.gain @ self.cross.T

    def fit(self, hypothesis: Hypothesis) -> Fit:
        n_bins = self.change.n_bins
        h = np.array([c.effect for c in hypothesis.columns]).T.reshape(self.y.size, -1)
        sensor = np.array([c.at_sensor for c in hypothesis.columns], dtype=bool)
        size = np.array([c.size for c in hypothesis.columns])
        z = solve_triangular(self.lower, h, lower=True) if size.size else h
        precision = np.diag(size**-2.0) + z.T @ z
        cov = np.linalg.inv(precision) if size.size else np.zeros((0, 0))
        theta = cov @ (z.T @ self.y)
        misfit = float(self.y @ self.y - theta @ precision @ theta)
        log_det = self.log_det + float(np.linalg.slogdet(precision)[1] + 2.0 * np.sum(np.log(size)))
        at_sensor = h[:n_bins] * sensor
        skew_bin = at_sensor @ theta
        skew_cov = at_sensor @ cov @ at_sensor.T
        back = self.gain @ h
        true_bin = self.gain @ self.change.value.ravel() - back @ theta
        true_cov = self.left + back @ cov @ back.T
        return Fit(
            hypothesis=hypothesis,
            log_evidence=-0.5 * log_det + _sign_evidence(hypothesis, theta, cov),
            misfit=misfit,
            skew=float(np.mean(skew_bin)),
            u_skew=float(np.sqrt(max(np.mean(skew_cov), 0.0))),
            true=float(np.mean(true_bin)),
            u_true=float(np.sqrt(max(np.mean(true_cov), 0.0))),
            skew_by_bin=skew_bin,
            u_skew_by_bin=np.sqrt(np.maximum(np.diag(skew_cov), 0.0)),
            true_by_bin=true_bin,
            u_true_by_bin=np.sqrt(np.maximum(np.diag(true_cov), 0.0)),
            sizes=theta,
            u_sizes=np.sqrt(np.diag(cov)),
        )

    def budget(self, hypothesis: Hypothesis) -> tuple[Part, ...]:
        """Return the variance of the skew by effect, for the linear estimator of a hypothesis."""
        n_bins = self.change.n_bins
        h = np.array([c.effect for c in hypothesis.columns]).T
        size = np.array([c.size for c in hypothesis.columns])
        z = solve_triangular(self.lower, h, lower=True)
        cov = np.linalg.inv(np.diag(size**-2.0) + z.T @ z)
        mean_row = np.mean(h[:n_bins], axis=0)
        weights = cho_solve(self.factor, h) @ cov @ mean_row
        parts = [
            Part(
                label=e.label,
                u=float(np.sqrt(max(weights @ k @ weights, 0.0))),
                dof=change_dof(e, self.change.run_weight),
                shared=e.between > 0.0,
            )
            for e, k in self.parts
        ]
        noise = float(np.sqrt(weights @ self.noise @ weights))
        parts.append(Part(label="sample noise", u=noise, dof=float(n_bins), shared=False))
        return tuple(sorted((p for p in parts if p.u > 0.0), key=lambda p: -p.u))


def _sign_evidence(hypothesis: Hypothesis, theta: FloatArray, cov: FloatArray) -> float:
    """Return what the sign of a one-sided size adds to the log evidence.

    The prior is a pair of half-normals with shares s and 1 - s instead of a normal, so that the
    marginal likelihood gains the factor 2 (s P(t > 0 | d) + (1 - s) P(t < 0 | d)).
    """
    factor = 1.0
    for i, column in enumerate(hypothesis.columns):
        if column.one_sided:
            positive = float(ndtr(theta[i] / np.sqrt(cov[i, i])))
            factor *= 2.0 * (NEW_LEAK_SHARE * positive + (1.0 - NEW_LEAK_SHARE) * (1.0 - positive))
    return float(np.log(factor))


def infer(
    change: Change,
    candidates: Sequence[Hypothesis],
    *,
    true_size: float = TRUE_CHANGE_SIZE,
    true_shape_size: float = TRUE_CHANGE_SHAPE_SIZE,
) -> Posterior:
    """Weigh the hypotheses and return the posterior.

    Parameters
    ----------
    change : Change
        The data.
    candidates : sequence of Hypothesis
        From `hypotheses()`; must hold the scale hypothesis without fault.
    true_size, true_shape_size : float
        Prior standard deviations of the true change: of its mean, and of its shape over speed.
    """
    solver = _Solver(change, true_size, true_shape_size)
    fits = tuple(solver.fit(h) for h in candidates)
    scale = next(h for h in candidates if h.sensor is Cause.SENSOR_SCALE and h.fault is Cause.NONE)
    budget = solver.budget(scale)
    dof = welch_satterthwaite(np.array([p.u**2 for p in budget]), np.array([p.dof for p in budget]))
    misfit = np.array([f.misfit for f in fits])
    excess = misfit - misfit.min()
    likelihood = np.array([f.log_evidence for f in fits]) - 0.5 * (dof + 1.0) * np.log1p(
        excess / dof
    )
    means, spreads = interval_indices(candidates)
    return Posterior(
        fits=fits,
        log_likelihood=likelihood,
        weights=_weights(likelihood, candidates),
        mean_of=means,
        spread_of=spreads,
        dof=dof,
        budget=budget,
    )
