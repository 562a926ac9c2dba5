"""Mixtures of Student distributions: what the intervals of a result are read from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from airsense.results import Interval

FloatArray = NDArray[np.float64]

COVERAGE = 0.95
_BISECTIONS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """Weighted Student distributions, arrays of shape (k,): weight, mean, scale; one dof."""

    weight: FloatArray
    mean: FloatArray
    scale: FloatArray
    dof: float

    def cdf(self, x: float) -> float:
        """Return the probability of a value below `x`."""
        scaled = (x - self.mean) / np.maximum(self.scale, 1e-15)
        return float(np.sum(self.weight * stdtr(self.dof, scaled)))

    def centre(self) -> float:
        """Return the mean."""
        return float(np.sum(self.weight * self.mean))

    def quantile(self, probability: float) -> float:
        """Return a quantile by bisection."""
        reach = 60.0 * self.scale + 1e-12
        low, high = float(np.min(self.mean - reach)), float(np.max(self.mean + reach))
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            if self.cdf(middle) < probability:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    def interval_ln(self, coverage: float = COVERAGE) -> tuple[float, float, float]:
        """Return median, low and high of the logarithmic change."""
        tail = 0.5 * (1.0 - coverage)
        return self.quantile(0.5), self.quantile(tail), self.quantile(1.0 - tail)

    def interval(self, coverage: float = COVERAGE) -> Interval:
        """Return the interval of the change as a fraction: expm1 of the logarithmic one."""
        middle, low, high = self.interval_ln(coverage)
        return Interval(float(np.expm1(middle)), float(np.expm1(low)), float(np.expm1(high)))


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
