"""Mixtures of Student distributions: what the intervals of a result are read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from airsense.results import Interval

FloatArray = NDArray[np.float64]

COVERAGE = 0.95
_BISECTIONS = 44
_REACH = 40.0
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
        scaled = (at - self.mean) / np.maximum(self.scale, 1e-15)
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

    def quantile(self, probability: float) -> FloatArray:
        """Return a quantile of each quantity by bisection, shape (...)."""
        short = self.leading()
        reach = _REACH * short.scale + 1e-9
        low = np.min(short.mean - reach, axis=-1)
        high = np.max(short.mean + reach, axis=-1)
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            under = short.cdf(middle) < probability
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        return np.asarray(0.5 * (low + high), dtype=np.float64)

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
