"""Smooth curves: values on knots, drawn to zero where data end.

Between knots a curve is a straight line. Its prior is a Matern process of order 3/2 [1]_, which
has no more memory beyond the last data than its reach.

References
----------
.. [1] C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), eq. 4.17.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray

# Knot distance in ln(flow). A profile or bend effect changes over a factor of two in flow at the
# fastest (our choice); four knots resolve that.
KNOT_STEP = 0.17
# Reach of the shape beyond the last data in ln(flow): a factor of 1.6, our choice.
REACH = 0.5
# Far below any curve that matters, so that knots closer than the reach stay invertible.
NUGGET = 1e-6


@dataclass(frozen=True, slots=True)
class SplineBasis:
    """Curves through values on the rising `knots`."""

    knots: FloatArray

    @property
    def size(self) -> int:
        """Number of knots."""
        return self.knots.size

    def design(self, x: ArrayLike) -> FloatArray:
        """Return the share of each knot at `x`, shape (n, size); end values beyond the ends."""
        at = np.clip(np.ravel(np.asarray(x, dtype=np.float64)), self.knots[0], self.knots[-1])
        left = np.clip(np.searchsorted(self.knots, at, side="right") - 1, 0, self.size - 2)
        share = (at - self.knots[left]) / (self.knots[left + 1] - self.knots[left])
        rows = np.zeros((at.size, self.size))
        row = np.arange(at.size)
        rows[row, left] = 1.0 - share
        rows[row, left + 1] = share
        return rows


def basis_over(low: float, high: float, step: float = KNOT_STEP) -> SplineBasis:
    """Return a basis with evenly spaced knots over [low, high]."""
    return SplineBasis(np.linspace(low, high, max(4, int(np.ceil((high - low) / step)) + 1)))


def process_precision(basis: SplineBasis, amplitude: float, reach: float = REACH) -> FloatArray:
    """Return the precision matrix of a shape with standard deviation `amplitude`."""
    apart = np.sqrt(3.0) * np.abs(basis.knots[:, None] - basis.knots) / reach
    correlation = (1.0 + apart) * np.exp(-apart) + NUGGET * np.eye(basis.size)
    return np.asarray(np.linalg.inv(correlation) / amplitude**2)
