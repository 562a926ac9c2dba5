"""Mixtures of Student distributions: what the intervals of a result are read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, stdtr

from airsense.results import Interval

FloatArray = NDArray[np.float64]

COVERAGE = 0.95
_REACH = 40.0
_MOST_STEPS = 100
# The last step, as a part of the smallest scale.
_CLOSE = 1e-11
_LEAST_SCALE = 1e-15
_AS_GOOD_AS_NORMAL = 1e7
# Components below this weight move no 95 % interval by a digit that is shown.
_NEGLIGIBLE = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """Weighted Student distributions of one quantity, or of several at once.

    `weight` has shape (k,); `mean` and `scale` shape (..., k), one row a quantity; one dof.
    """

    weight: FloatArray
    mean: FloatArray
    scale: FloatArray
    dof: float

    def cdf(self, x: FloatArray | float) -> FloatArray:
        """Return the probability of a value below `x`, shape (...)."""
        at = np.asarray(x, dtype=np.float64)[..., None]
        scaled = (at - self.mean) / np.maximum(self.scale, _LEAST_SCALE)
        return np.asarray(stdtr(self.dof, scaled) @ self.weight, dtype=np.float64)

    def below(self, x: float) -> float:
        """Return the probability of a value below `x` of a single quantity."""
        return float(self.cdf(x))

    def leading(self) -> Mixture:
        """Return the mixture without components of negligible weight."""
        keep = self.weight > _NEGLIGIBLE
        weight = self.weight[keep]
        return Mixture(
            weight=weight / weight.sum(),
            mean=self.mean[..., keep],
            scale=self.scale[..., keep],
            dof=self.dof,
        )

    def density(self, x: FloatArray | float) -> FloatArray:
        """Return the probability density at `x`, shape (...)."""
        at = np.asarray(x, dtype=np.float64)[..., None]
        scale = np.maximum(self.scale, _LEAST_SCALE)
        dof = min(self.dof, _AS_GOOD_AS_NORMAL)
        shape = (1.0 + ((at - self.mean) / scale) ** 2 / dof) ** (-0.5 * (dof + 1.0))
        peak = np.exp(gammaln(0.5 * (dof + 1.0)) - gammaln(0.5 * dof)) / np.sqrt(np.pi * dof)
        return np.asarray((peak * shape / scale) @ self.weight, dtype=np.float64)

    def quantile(self, probability: float) -> FloatArray:
        """Return a quantile of each quantity, shape (...).

        By Newton's method inside a bracket, which is halved where a step would leave it or gain
        too little.
        """
        short = self.leading()
        reach = _REACH * short.scale + 1e-9
        low = np.min(short.mean - reach, axis=-1)
        high = np.max(short.mean + reach, axis=-1)
        close = _CLOSE * np.min(short.scale, axis=-1) + 1e-13
        x, last = short.mean @ short.weight, high - low
        for _ in range(_MOST_STEPS):
            error = short.cdf(x) - probability
            low, high = np.where(error < 0.0, x, low), np.where(error < 0.0, high, x)
            slope = np.maximum(short.density(x), _LEAST_SCALE)
            newton = x - error / slope
            good = (newton > low) & (newton < high) & (2.0 * np.abs(error) < last * slope)
            following = np.where(good, newton, 0.5 * (low + high))
            last, x = np.abs(following - x), following
            if np.all(last <= close):
                break
        return np.asarray(x, dtype=np.float64)

    def intervals(self, coverage: float = COVERAGE) -> tuple[Interval, ...]:
        """Return the interval of each quantity's change as a fraction: expm1 of the logarithm."""
        tail = 0.5 * (1.0 - coverage)
        rows = [np.atleast_1d(np.expm1(self.quantile(p))) for p in (0.5, tail, 1.0 - tail)]
        return tuple(
            Interval(float(v), float(lo), float(hi)) for v, lo, hi in zip(*rows, strict=True)
        )

    def interval(self, coverage: float = COVERAGE) -> Interval:
        """Return the interval of a single quantity; see `intervals`."""
        return self.intervals(coverage)[0]


def single(mean: float, scale: float, dof: float) -> Mixture:
    """Return a mixture of one."""
    return Mixture(
        weight=np.ones(1), mean=np.array([mean]), scale=np.array([max(scale, 0.0)]), dof=dof
    )


def welch_satterthwaite(variance: FloatArray, dof: FloatArray) -> float:
    """Return the effective degrees of freedom of a sum of variances (JCGM 100, G.4.1).

    Parameters
    ----------
    variance, dof : ndarray, shape (k,)
        Contributions and their degrees of freedom; infinite dof are allowed.
    """
    total = float(np.sum(variance))
    spread = float(np.sum(variance**2 / dof))
    return float("inf") if spread == 0.0 else total**2 / spread
