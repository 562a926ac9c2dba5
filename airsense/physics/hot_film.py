"""Heat from a heated film to the passing air: King's law."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.physics.arguments import floats

_SEARCH = range(-25, 26)  # 0.25 to 0.75: around King's 0.5 and the 0.45 of heated wires


@dataclass(frozen=True, slots=True)
class KingsLaw:
    """Bridge voltage of a heated film: E^2 = A + B G^n.

    Attributes
    ----------
    a : float
        Still-air part. [V2]
    b : float
        Slope, per the unit of the flow to the power n.
    n : float
        Exponent, about 0.45 to 0.5.
    """

    a: float
    b: float
    n: float

    def voltage_v(self, flow: ArrayLike) -> FloatArray:
        """Return the voltage at a mass flow (or mass velocity) that is zero or positive. [V]"""
        return np.asarray(np.sqrt(self.a + self.b * floats(flow) ** self.n))

    def flow(self, voltage_v: ArrayLike) -> FloatArray:
        """Return the flow at a voltage; NaN below the voltage of still air."""
        power = (floats(voltage_v) ** 2 - self.a) / self.b
        return np.asarray(np.where(power >= 0.0, power, np.nan) ** (1.0 / self.n))


def fit_kings_law(voltage_v: ArrayLike, flow: ArrayLike) -> KingsLaw:
    """Fit King's law to pairs of voltage and flow.

    Parameters
    ----------
    voltage_v : array_like, shape (n,)
        Bridge voltage. [V]
    flow : array_like, shape (n,)
        Mass flow or mass velocity, zero or positive, any unit.

    Returns
    -------
    KingsLaw
        Least squares in E^2: linear in A and B, the exponent by nested search between 0.25 and
        0.75, to 1e-6.

    Raises
    ------
    InputError
        If fewer than four pairs, or a flow is negative.

    References
    ----------
    .. [1] L. V. King, Phil. Trans. R. Soc. A 214 (1914) 373.
    """
    e2 = floats(voltage_v) ** 2
    g = floats(flow)
    if g.size < 4 or np.any(g < 0.0):
        raise InputError(
            "King's law needs four pairs with flows of zero or more",
            where="argument flow",
            got=f"{g.size} pairs, lowest flow {float(np.min(g, initial=np.inf)):g}",
            allowed="at least 4 pairs, no negative flow",
            fix="leave out rows with reverse flow",
        )
    n, step = 0.5, 0.01
    for _ in range(4):
        n = _best_exponent(e2, g, [n + step * k for k in _SEARCH])
        step /= _SEARCH[-1]
    (a, b), _ = _fit_linear(e2, g, n)
    return KingsLaw(a, b, n)


def _best_exponent(e2: FloatArray, g: FloatArray, exponents: list[float]) -> float:
    return min(exponents, key=lambda n: _fit_linear(e2, g, n)[1])


def _fit_linear(e2: FloatArray, g: FloatArray, n: float) -> tuple[tuple[float, float], float]:
    matrix = np.column_stack([np.ones_like(g), g**n])
    (a, b), *_ = np.linalg.lstsq(matrix, e2, rcond=None)
    return (float(a), float(b)), float(np.sum((matrix @ np.array([a, b]) - e2) ** 2))
