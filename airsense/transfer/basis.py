"""Cubic B-splines over ln(flow) with a penalty that pulls them back to zero where data end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DEGREE = 3
# Knot distance in ln(flow). A profile or bend effect changes over a factor of two in flow at the
# fastest (our choice); four knots resolve that.
KNOT_STEP = 0.17
# 1/KAPPA is the reach of the shape beyond the last data in ln(flow): a factor of 1.6, our choice.
KAPPA = 2.0
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(4)  # exact for products of cubics


@dataclass(frozen=True, slots=True)
class SplineBasis:
    """B-splines on `knots` (with repeated ends)."""

    knots: FloatArray

    @property
    def size(self) -> int:
        """Number of splines."""
        return self.knots.size - DEGREE - 1

    def design(self, x: ArrayLike) -> FloatArray:
        """Return the splines at `x`, shape (n, size), with their end values beyond the ends."""
        from scipy.interpolate import BSpline

        inside = np.clip(np.asarray(x, dtype=float), self.knots[0], self.knots[-1])
        return np.asarray(BSpline.design_matrix(inside, self.knots, DEGREE).toarray())

    def penalty(self, kappa: float = KAPPA) -> FloatArray:
        """Return the matrix P of the integral of u''^2 + 2 kappa^2 u'^2 + kappa^4 u^2 as c^T P c.

        With `kappa` zero it is the roughness of a smoothing spline. With `kappa` above zero a
        random function whose precision is P / (4 kappa^3 a^2) has a standard deviation of about
        `a` and a reach of 1/kappa: a Matern process of order 3/2 with flat ends [1]_.

        References
        ----------
        .. [1] F. Lindgren, H. Rue, J. Lindström, J. R. Stat. Soc. B 73 (2011) 423.
        """
        from scipy.interpolate import BSpline

        edges = np.unique(self.knots)
        half = 0.5 * np.diff(edges)
        points = (edges[:-1, None] + half[:, None] * (1.0 + _GAUSS_X)).ravel()
        weights = (half[:, None] * _GAUSS_W).ravel()
        splines = BSpline(self.knots, np.eye(self.size), DEGREE)
        total = np.zeros((self.size, self.size))
        for order, factor in ((2, 1.0), (1, 2.0 * kappa**2), (0, kappa**4)):
            values = splines(points, nu=order)
            total += factor * values.T @ (weights[:, None] * values)
        return total


def basis_over(low: float, high: float, step: float = KNOT_STEP) -> SplineBasis:
    """Return a basis with evenly spaced knots over [low, high]."""
    inner = np.linspace(low, high, max(4, int(np.ceil((high - low) / step)) + 1))
    return basis_on(inner)


def basis_on(points: FloatArray) -> SplineBasis:
    """Return a basis with a knot on each of the rising `points`."""
    ends = [points[0]] * DEGREE, [points[-1]] * DEGREE
    return SplineBasis(np.concatenate([ends[0], points, ends[1]]))


def process_precision(basis: SplineBasis, amplitude: float, kappa: float = KAPPA) -> FloatArray:
    """Return the precision matrix of a shape with standard deviation `amplitude`."""
    return basis.penalty(kappa) / (4.0 * kappa**3 * amplitude**2)
