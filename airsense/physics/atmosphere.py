"""The 1976 standard atmosphere up to 11 km: a stand-in for a missing barometer."""

from __future__ import annotations

from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import between

# U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), tables 2 and 4.
SEA_LEVEL_PA = 101325.0
SEA_LEVEL_K = 288.15
LAPSE_KPM = 0.0065
EARTH_RADIUS_M = 6356766.0
GRAVITY_MPS2 = 9.80665
M_AIR_1976_KGPMOL = 28.9644e-3
R_MOLAR_1976 = 8.31432
LOWEST_M, HIGHEST_M = -5000.0, 11000.0


def _geopotential_m(altitude_m: ArrayLike) -> FloatArray:
    # A metre higher up weighs less: eq. (18) of the standard.
    z = between(altitude_m, LOWEST_M, HIGHEST_M, name="altitude_m")
    return EARTH_RADIUS_M * z / (EARTH_RADIUS_M + z)


def standard_temperature_k(altitude_m: ArrayLike) -> FloatArray:
    """Return the temperature of the standard atmosphere.

    Parameters
    ----------
    altitude_m : array_like, shape (n,)
        Geometric altitude above mean sea level, -5 to 11 km. [m]

    Returns
    -------
    ndarray, shape (n,)
        Temperature. [K] NaN where the input is NaN.

    Raises
    ------
    InputError
        If an altitude is outside the range.

    Notes
    -----
    Weather and season move it by +-20 K: no stand-in for a thermometer.

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. (23).
    """
    return SEA_LEVEL_K - LAPSE_KPM * _geopotential_m(altitude_m)


def standard_pressure_pa(altitude_m: ArrayLike) -> FloatArray:
    """Return the static pressure of the standard atmosphere.

    Parameters
    ----------
    altitude_m : array_like, shape (n,)
        Geometric altitude above mean sea level, -5 to 11 km. [m]

    Returns
    -------
    ndarray, shape (n,)
        Pressure. [Pa] NaN where the input is NaN.

    Raises
    ------
    InputError
        If an altitude is outside the range.

    Notes
    -----
    Weather moves the pressure of a place by some +-2 % about it (common practice, no source).

    References
    ----------
    .. [1] U.S. Standard Atmosphere, 1976, eq. (33a).
    """
    exponent = GRAVITY_MPS2 * M_AIR_1976_KGPMOL / (R_MOLAR_1976 * LAPSE_KPM)
    return SEA_LEVEL_PA * (standard_temperature_k(altitude_m) / SEA_LEVEL_K) ** exponent
