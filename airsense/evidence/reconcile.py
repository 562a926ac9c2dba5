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

from airsense.evidence.effects import change_variance
from airsense.evidence.inference import Change

FloatArray = NDArray[np.float64]

TEST_LEVEL = 0.01
# Disagreement that one comparison in ten shows by chance already widens the intervals.
BIRGE_LEVEL = 0.1


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


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteTest:
    """How one route stands against the others."""

    method: str
    z: float | None
    weight: float
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteTests:
    """All routes reconciled to one true change, averaged over the speed bins."""

    rows: tuple[RouteTest, ...]
    chi_square: float
    dof: int

    @property
    def probability(self) -> float:
        """Probability of a larger chi-square if all routes are sound."""
        return float(chdtrc(self.dof, self.chi_square)) if self.dof else 1.0

    @property
    def birge_ratio(self) -> float:
        """Root of chi-square over its degrees of freedom where beyond chance, else 1."""
        if self.dof == 0 or self.probability > BIRGE_LEVEL:
            return 1.0
        return float(np.sqrt(self.chi_square / self.dof))


def check_routes(change: Change) -> RouteTests:
    """Reconcile the routes (not the sensor under test) to one change and test each."""
    names = change.routes[1:]
    reading = change.value[1:].mean(axis=1)
    covariance = _mean_covariance(change)
    weights = _weights(covariance)
    if len(names) < 2:
        rows = tuple(
            RouteTest(method=n, z=None, weight=1.0, sentence="the only route: nothing to test it")
            for n in names
        )
        return RouteTests(rows=rows, chi_square=0.0, dof=0)
    conditions = np.column_stack([np.ones(len(names) - 1), -np.eye(len(names) - 1)])
    result = reconcile(reading, covariance, conditions)
    limit = critical_z(len(names))
    rows = tuple(
        RouteTest(
            method=n, z=float(z), weight=float(w), sentence=_sentence(float(z), float(w), limit)
        )
        for n, z, w in zip(names, result.z, weights, strict=True)
    )
    return RouteTests(rows=rows, chi_square=result.chi_square, dof=result.dof)


def _mean_covariance(change: Change) -> FloatArray:
    """Return the covariance of the routes' changes averaged over bins, without the engine's own."""
    n = len(change.routes)
    total = np.diag(change.noise.sum(axis=1) / change.n_bins**2)
    for effect in change.effects:
        if np.all(effect.sensitivity == 1.0):
            continue
        total = total + change_variance(effect, change.run_weight) * np.outer(
            effect.sensitivity, effect.sensitivity
        )
    return total[1:n, 1:n] + 1e-12 * np.eye(n - 1)


def _weights(covariance: FloatArray) -> FloatArray:
    """Return the weights of the generalized least-squares mean."""
    raw = np.linalg.solve(covariance, np.ones(covariance.shape[0]))
    return np.asarray(raw / raw.sum(), dtype=np.float64)


def _sentence(z: float, weight: float, limit: float) -> str:
    share = f"weight {100.0 * weight:.0f} % in the reconciled change"
    if abs(z) <= limit:
        return f"agrees with the other routes (z = {z:+.1f}); {share}"
    return (
        f"fails its test against the other routes (z = {z:+.1f}, limit {limit:.1f}); {share} if "
        "all were sound; the causes say which one is suspected, and the interval is widened"
    )
