"""Charge temperature: estimate it from boost, and undo the lag of its sensor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.align import undo_first_order_lag
from airsense.physics.arguments import between, positive
from airsense.physics.charge_place import TemperaturePlaceGuess, infer_place
from airsense.physics.compression import (
    COMPRESSOR_EFFICIENCY,
    COOLER_EFFECTIVENESS,
    Range,
    compressor_outlet_temperature_k,
)

__all__ = [
    "COMPRESSOR_EFFICIENCY",
    "COOLER_EFFECTIVENESS",
    "ChargeTemperature",
    "Range",
    "TemperaturePlaceGuess",
    "after_cooler_temperature_k",
    "compressor_outlet_temperature_k",
    "estimate_charge_temperature_k",
    "infer_place",
    "undo_thermistor_lag",
]

# What the air that cools the charge differs from ambient by (engine bay, dynamometer fan), and
# what the hot inlet manifold adds: our choice, no source.
U_SURROUNDINGS_K = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeTemperature:
    """An estimated charge temperature and its standard uncertainty (k = 1). [K]"""

    t_charge_k: FloatArray
    u_k: FloatArray


def after_cooler_temperature_k(
    t_compressor_out_k: ArrayLike, t_coolant_air_k: ArrayLike, effectiveness: ArrayLike
) -> FloatArray:
    """Return the temperature behind the charge cooler.

    Parameters
    ----------
    t_compressor_out_k, t_coolant_air_k : array_like, shape (n,)
        Temperatures of the hot charge and of the air or water that cools it. [K]
    effectiveness : array_like, shape (n,)
        Part of the possible cooling that happens, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        Temperature, hot - effectiveness (hot - cold). [K] NaN where an input is NaN.

    Raises
    ------
    InputError
        If a temperature is not above zero or the effectiveness is outside 0 to 1.

    Notes
    -----
    Steady state; for some 20 s after a step in boost a cooler that is still cold cools better.
    """
    hot = positive(t_compressor_out_k, "t_compressor_out_k")
    cold = positive(t_coolant_air_k, "t_coolant_air_k")
    return hot - between(effectiveness, 0.0, 1.0, name="effectiveness") * (hot - cold)


def estimate_charge_temperature_k(
    t_in_k: ArrayLike,
    t_ambient_k: ArrayLike,
    p_manifold_pa: ArrayLike,
    p_ambient_pa: ArrayLike,
    *,
    efficiency: Range = COMPRESSOR_EFFICIENCY,
    effectiveness: Range = COOLER_EFFECTIVENESS,
) -> ChargeTemperature:
    """Return the charge temperature that compression and cooling make likely.

    Parameters
    ----------
    t_in_k, t_ambient_k : array_like, shape (n,)
        Temperature ahead of the compressor, and of the air that cools the charge. [K]
    p_manifold_pa, p_ambient_pa : array_like, shape (n,)
        Absolute pressures. [Pa]
    efficiency, effectiveness : Range
        Isentropic efficiency of the compressor and effectiveness of the cooler.

    Returns
    -------
    ChargeTemperature
        Value at the middle of the ranges; standard uncertainty from the rectangular ranges, to
        first order, and from the surroundings. NaN where an input is NaN.

    Raises
    ------
    InputError
        If a pressure or temperature is not above zero.

    Notes
    -----
    The pressure ratio of the compressor is taken as manifold over ambient pressure, at least 1;
    the losses of filter and cooler, some 5 to 10 kPa, raise the charge by 1 to 3 K more, inside
    the uncertainty. Engines without a charge cooler need `effectiveness` of zero.
    """
    t_in, cold = positive(t_in_k, "t_in_k"), positive(t_ambient_k, "t_ambient_k")
    ratio = positive(p_manifold_pa, "p_manifold_pa") / positive(p_ambient_pa, "p_ambient_pa")
    hot = compressor_outlet_temperature_k(t_in, np.maximum(ratio, 1.0), efficiency.value)
    charge = after_cooler_temperature_k(hot, cold, effectiveness.value)
    # d(hot)/d(efficiency) = -(hot - t_in)/efficiency; d(charge)/d(hot) = 1 - effectiveness.
    by_efficiency = (1.0 - effectiveness.value) * (hot - t_in) / efficiency.value * efficiency.u
    by_effectiveness = (hot - cold) * effectiveness.u
    u = np.sqrt(by_efficiency**2 + by_effectiveness**2 + U_SURROUNDINGS_K**2)
    return ChargeTemperature(t_charge_k=charge, u_k=u)


def undo_thermistor_lag(time_s: ArrayLike, t_k: ArrayLike, time_constant_s: float) -> FloatArray:
    """Return the gas temperature that a slow sensor was exposed to.

    Parameters
    ----------
    time_s, t_k : array_like, shape (n,)
        The sensor's own sample times, strictly increasing [s], and its readings. [K]
    time_constant_s : float
        Time constant in the flow. [s] A bare thermistor in fast air has 1 to 3 s, a shielded
        one up to 15 s (common practice, no source).

    Returns
    -------
    ndarray, shape (n,)
        Gas temperature. [K] NaN where the reading is NaN. How rounding is kept from growing,
        and what error remains, is said in `airsense.physics.align.undo_first_order_lag`.

    Raises
    ------
    InputError
        If time does not increase strictly, or the time constant is negative.
    """
    return undo_first_order_lag(time_s, t_k, time_constant_s)
