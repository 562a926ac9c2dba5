"""Reconciliation by generalized least squares, with its global and single tests.

For readings x with covariance S and linear conditions ``C x = 0``:

    x_hat = x - S C' (C S C')^-1 C x,   J = r' (C S C')^-1 r,  r = C x        (1)

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

from airsense.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """Reconciled readings, shape (n,), their covariance, and the tests."""

    value: FloatArray
    covariance: FloatArray
    z: FloatArray
    chi_square: float
    dof: int


def reconcile(reading: FloatArray, covariance: FloatArray, conditions: FloatArray) -> Reconciled:
    """Reconcile readings with linear conditions.

    Parameters
    ----------
    reading : ndarray, shape (n,)
        Measured values.
    covariance : ndarray, shape (n, n)
        Their covariance.
    conditions : ndarray, shape (m, n)
        Rows of full rank.

    Returns
    -------
    Reconciled
        z is NaN for a reading that the conditions do not touch.
    """
    residual = conditions @ reading
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
