"""Mixtures of Student distributions: what the intervals of a result are read from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from airsense.arrays import FloatArray
from airsense.results import Interval

# Of all intervals that are shown.
COVERAGE = 0.95
# Of a logarithmic change: far below what is shown, far above rounding.
_RESOLUTION = 1e-10
# Components that together weigh less move an end of a 95 % interval by 0.002 of its half-width.
_NEGLIGIBLE = 1e-4


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
        """Return the mixture without the lightest components, of negligible weight together."""
        lightest = np.argsort(self.weight)
        return self._of(np.sort(lightest[np.cumsum(self.weight[lightest]) > _NEGLIGIBLE]))

    def _of(self, keep: NDArray[np.int64]) -> Mixture:
        weight = self.weight[keep]
        return Mixture(
            weight=weight / weight.sum(),
            mean=self.mean[..., keep],
            scale=self.scale[..., keep],
            dof=self.dof,
        )

    def quantile(self, probability: float) -> FloatArray:
        """Return a quantile of each quantity, shape (...)."""
        return np.asarray(self.quantiles([probability])[0], dtype=np.float64)

    def quantiles(self, probability: Sequence[float]) -> FloatArray:
        """Return several quantiles of each quantity, shape (n_probabilities, ...).

        A quantile of a mixture lies between the least and the largest of its components' own, so
        that a single component needs no search and bisection starts from a narrow bracket.
        """
        short = self.leading()
        of_unit = stdtrit(short.dof, np.asarray(probability, dtype=np.float64))
        p = np.reshape(probability, (-1, *[1] * (short.mean.ndim - 1)))
        own = short.mean + short.scale * of_unit.reshape(*p.shape, 1)
        low, high = own.min(axis=-1), own.max(axis=-1)
        while np.any(high - low > _RESOLUTION * (1.0 + np.abs(low))):
            middle = 0.5 * (low + high)
            under = short.cdf(middle) < p
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        return np.asarray(0.5 * (low + high), dtype=np.float64)

    def intervals(self, coverage: float = COVERAGE) -> tuple[Interval, ...]:
        """Return the interval of each quantity's change as a fraction: expm1 of the logarithm."""
        tail = 0.5 * (1.0 - coverage)
        rows = np.expm1(self.quantiles([0.5, tail, 1.0 - tail])).reshape(3, -1)
        return tuple(Interval(float(v), float(lo), float(hi)) for v, lo, hi in rows.T)

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
