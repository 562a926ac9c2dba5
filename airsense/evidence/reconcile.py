"""Reconciliation by generalized least squares, with its global and single tests.

For readings x with covariance S and linear conditions ``C x = c``:

    x_hat = x - S C' (C S C')^-1 (C x - c),   J = r' (C S C')^-1 r,  r = C x - c        (1)

J follows chi-square with rank(C) degrees of freedom; the measurement test of reading i is
``z_i = (x_i - x_hat_i) / sqrt(V_ii)`` with V the covariance of the corrections [1]_, [2]_.

References
----------
.. [1] VDI 2048 part 1: Control and quality improvement of process data.
.. [2] S. Narasimhan, C. Jordache, Data Reconciliation and Gross Error Detection (2000), ch. 3, 7.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtri

FloatArray = NDArray[np.float64]

TEST_LEVEL = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """Reconciled readings, shape (n,), their covariance, and the tests."""

    value: FloatArray
    covariance: FloatArray
    z: FloatArray
    chi_square: float
    dof: int

    @property
    def probability(self) -> float:
        """Probability of a larger chi-square if nothing is wrong."""
        return float(chdtrc(self.dof, self.chi_square)) if self.dof else 1.0


def reconcile(
    reading: FloatArray,
    covariance: FloatArray,
    conditions: FloatArray,
    constant: FloatArray | None = None,
) -> Reconciled:
    """Reconcile readings with linear conditions.

    Parameters
    ----------
    reading : ndarray, shape (n,)
        Measured values.
    covariance : ndarray, shape (n, n)
        Their covariance.
    conditions : ndarray, shape (m, n)
        Rows of full rank.
    constant : ndarray, shape (m,), optional
        Right-hand side, zero by default.

    Returns
    -------
    Reconciled
        z is NaN for a reading that the conditions do not touch.
    """
    target = np.zeros(conditions.shape[0]) if constant is None else constant
    residual = conditions @ reading - target
    inverse = np.linalg.inv(conditions @ covariance @ conditions.T)
    gain = covariance @ conditions.T @ inverse
    correction = gain @ residual
    moved = gain @ conditions @ covariance
    spread = np.sqrt(np.maximum(np.diag(moved), 0.0))
    touched = spread > 1e-12 * np.sqrt(np.diag(covariance))
    z = np.full(reading.size, np.nan)
    z[touched] = correction[touched] / spread[touched]
    return Reconciled(
        value=reading - correction,
        covariance=covariance - moved,
        z=z,
        chi_square=float(residual @ inverse @ residual),
        dof=int(conditions.shape[0]),
    )


def critical_z(count: int, level: float = TEST_LEVEL) -> float:
    """Return the limit of |z| that keeps the chance of any false alarm among `count` at `level`."""
    single = 1.0 - (1.0 - level) ** (1.0 / max(count, 1))
    return float(-ndtri(0.5 * single))
