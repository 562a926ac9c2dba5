"""Moist air: vapour content, gas constant, density, dew point, viscosity."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from airsense.physics.arguments import BoolArray, FloatArray, between, not_negative, positive
from airsense.physics.constants import CELSIUS_ZERO_K, M_DRY_AIR, M_WATER, R_MOLAR

WATER_PER_AIR = M_WATER.value / M_DRY_AIR.value
TRIPLE_POINT_WATER_K = 273.16


def saturation_pressure_water_pa(t_k: ArrayLike) -> FloatArray:
    """Return the vapour pressure of water at saturation, over liquid water.

    Parameters
    ----------
    t_k : array_like, shape (n,)
        Temperature. [K]

    Returns
    -------
    ndarray, shape (n,)
        Saturation pressure. [Pa] NaN where the input is NaN.

    Raises
    ------
    InputError
        If a temperature is zero or negative.

    References
    ----------
    .. [1] A. Picard et al., Metrologia 45 (2008) 149, eq. (A1.1).
    """
    t = positive(t_k, "t_k")
    return np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def saturation_pressure_goff_gratch_pa(t_k: ArrayLike) -> FloatArray:
    """Return the vapour pressure of water at saturation as emission regulations compute it.

    Over liquid water at and above 0 C, over ice below.

    Parameters
    ----------
    t_k : array_like, shape (n,)
        Temperature. [K]

    Returns
    -------
    ndarray, shape (n,)
        Saturation pressure. [Pa] NaN where the input is NaN.

    Raises
    ------
    InputError
        If a temperature is zero or negative.

    References
    ----------
    .. [1] 40 CFR 1065.645(a), eqs. 1065.645-1 and -2 (Goff 1957).
    """
    t = positive(t_k, "t_k")
    r = TRIPLE_POINT_WATER_K / t
    liquid = (
        10.79574 * (1.0 - r)
        + 5.02800 * np.log10(r)
        + 1.50475e-4 * (1.0 - 10.0 ** (-8.2969 * (1.0 / r - 1.0)))
        + 0.42873e-3 * (10.0 ** (4.76955 * (1.0 - r)) - 1.0)
        - 0.2138602
    )
    ice = -9.096853 * (r - 1.0) - 3.566506 * np.log10(r) + 0.876812 * (1.0 - 1.0 / r) - 0.2138602
    return 1e3 * 10.0 ** np.where(t < CELSIUS_ZERO_K, ice, liquid)


def _enhancement_factor(p_pa: FloatArray, t_k: FloatArray) -> FloatArray:
    """Excess of saturated vapour in air over vapour alone; Picard et al. (2008), eq. (A1.2)."""
    return 1.00062 + 3.14e-8 * p_pa + 5.6e-7 * (t_k - CELSIUS_ZERO_K) ** 2


def vapour_mole_fraction(p_pa: ArrayLike, t_k: ArrayLike, rh_frac: ArrayLike) -> FloatArray:
    """Return the mole fraction of water vapour from relative humidity."""
    p, t = positive(p_pa, "p_pa"), positive(t_k, "t_k")
    rh = not_negative(rh_frac, "rh_frac")
    return rh * _enhancement_factor(p, t) * saturation_pressure_water_pa(t) / p


def vapour_mole_fraction_from_dew_point(p_pa: ArrayLike, t_dew_k: ArrayLike) -> FloatArray:
    """Return the mole fraction of water vapour from the dew point."""
    return vapour_mole_fraction(p_pa, t_dew_k, 1.0)


def molar_mass_moist_air_kgpmol(x_vapour: ArrayLike) -> FloatArray:
    """Return the molar mass of moist air."""
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    return M_DRY_AIR.value * (1.0 - x) + M_WATER.value * x


def gas_constant_moist_air_jpkgk(x_vapour: ArrayLike) -> FloatArray:
    """Return the specific gas constant of moist air."""
    return R_MOLAR.value / molar_mass_moist_air_kgpmol(x_vapour)


def _compressibility_moist_air(p: FloatArray, t_k: FloatArray, x: FloatArray) -> FloatArray:
    """Compressibility factor; Picard et al. (2008), eq. (A1.4)."""
    t = t_k - CELSIUS_ZERO_K
    first = (
        1.58123e-6
        - 2.9331e-8 * t
        + 1.1043e-10 * t**2
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x**2
    )
    second = 1.83e-11 - 0.765e-8 * x**2
    return 1.0 - p / t_k * first + (p / t_k) ** 2 * second


def density_moist_air_kgpm3(
    p_pa: ArrayLike, t_k: ArrayLike, x_vapour: ArrayLike = 0.0
) -> FloatArray:
    """Return the density of moist air by the CIPM-2007 equation."""
    p, t = positive(p_pa, "p_pa"), positive(t_k, "t_k")
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    z = _compressibility_moist_air(p, t, x)
    return p / (z * gas_constant_moist_air_jpkgk(x) * t)


def humidity_ratio(x_vapour: ArrayLike) -> FloatArray:
    """Return the mass of water vapour per mass of dry air."""
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    with np.errstate(divide="ignore"):
        return WATER_PER_AIR * x / (1.0 - x)


def dew_point_k(p_vapour_pa: ArrayLike) -> FloatArray:
    """Return the dew point from the partial pressure of the vapour."""
    p = positive(p_vapour_pa, "p_vapour_pa")
    ln = np.log(p)
    above = 2.0798233e2 - 2.0156028e1 * ln + 4.6778925e-1 * ln**2 - 9.2288067e-6 * ln**3
    below = 1.0 - 1.3319669e-1 * ln + 5.6577518e-3 * ln**2 - 7.5172865e-5 * ln**3
    return above / below


def condenses(x_vapour: ArrayLike, p_charge_pa: ArrayLike, t_charge_k: ArrayLike) -> BoolArray:
    """Return where compressed and cooled charge air would drop water."""
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    return np.asarray(x > vapour_mole_fraction(p_charge_pa, t_charge_k, 1.0))


def viscosity_air_pas(t_k: ArrayLike) -> FloatArray:
    """Return the dynamic viscosity of air by Sutherland's formula."""
    t = positive(t_k, "t_k")
    return 1.716e-5 * (t / 273.0) ** 1.5 * (273.0 + 111.0) / (t + 111.0)
