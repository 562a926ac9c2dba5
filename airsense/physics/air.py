"""Moist air: vapour content, gas constant, density, dew point, viscosity."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import BoolArray, FloatArray
from airsense.physics.arguments import between, not_negative, positive
from airsense.physics.constants import CELSIUS_ZERO_K, M_DRY_AIR, M_WATER, R_MOLAR

# Ratio of molar masses, 0.62196.
WATER_PER_AIR = M_WATER.value / M_DRY_AIR.value
# 40 CFR 1065.640, table 4, air.
SUTHERLAND_REFERENCE_PAS = 1.716e-5
SUTHERLAND_REFERENCE_K = 273.0
SUTHERLAND_K = 111.0


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
        If a temperature is not above zero.

    Notes
    -----
    Against CoolProp Water (IAPWS-95): within 0.01 % over 0-70 C, 0.1 % over -20-120 C.

    References
    ----------
    .. [1] A. Picard et al., Metrologia 45 (2008) 149, appendix A1.
    """
    t = positive(t_k, "t_k")
    return np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def _enhancement_factor(p_pa: FloatArray, t_k: FloatArray) -> FloatArray:
    """Excess of saturated vapour in air over vapour alone; Picard et al. (2008), appendix A1."""
    return 1.00062 + 3.14e-8 * p_pa + 5.6e-7 * (t_k - CELSIUS_ZERO_K) ** 2


def vapour_mole_fraction(p_pa: ArrayLike, t_k: ArrayLike, rh_frac: ArrayLike) -> FloatArray:
    """Return the mole fraction of water vapour from relative humidity.

    Parameters
    ----------
    p_pa, t_k : array_like, shape (n,)
        Absolute pressure [Pa] and temperature [K] at which the humidity is given.
    rh_frac : array_like, shape (n,)
        Relative humidity, 0 to 1; above 1 is fog and is not refused.

    Returns
    -------
    ndarray, shape (n,)
        Mole fraction. NaN where an input is NaN.

    Raises
    ------
    InputError
        If a pressure or temperature is not above zero, or a humidity is negative.

    Notes
    -----
    Against CoolProp HumidAir over 0-60 C, 70-110 kPa: humidity ratio within 0.04 %.

    References
    ----------
    .. [1] A. Picard et al., Metrologia 45 (2008) 149, appendix A1.
    """
    p, t = positive(p_pa, "p_pa"), positive(t_k, "t_k")
    rh = not_negative(rh_frac, "rh_frac")
    return rh * _enhancement_factor(p, t) * saturation_pressure_water_pa(t) / p


def molar_mass_moist_air_kgpmol(x_vapour: ArrayLike) -> FloatArray:
    """Return the molar mass of moist air.

    Parameters
    ----------
    x_vapour : array_like, shape (n,)
        Mole fraction of water vapour, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        Molar mass. [kg/mol] NaN where the input is NaN.

    Raises
    ------
    InputError
        If a mole fraction is outside 0 to 1.

    References
    ----------
    .. [1] 40 CFR 1065.640 (the same mixing rule).
    """
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    return M_DRY_AIR.value * (1.0 - x) + M_WATER.value * x


def gas_constant_moist_air_jpkgk(x_vapour: ArrayLike) -> FloatArray:
    """Return the specific gas constant of moist air.

    Parameters
    ----------
    x_vapour : array_like, shape (n,)
        Mole fraction of water vapour, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        Gas constant of a kilogram of moist air. [J/(kg K)] NaN where the input is NaN.

    Raises
    ------
    InputError
        If a mole fraction is outside 0 to 1.
    """
    return R_MOLAR.value / molar_mass_moist_air_kgpmol(x_vapour)


def _compressibility_moist_air(p: FloatArray, t_k: FloatArray, x: FloatArray) -> FloatArray:
    """Compressibility factor; Picard et al. (2008), appendix A1."""
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
    """Return the density of moist air by the CIPM-2007 equation.

    Parameters
    ----------
    p_pa, t_k : array_like, shape (n,)
        Absolute pressure [Pa] and temperature [K].
    x_vapour : array_like, shape (n,), optional
        Mole fraction of water vapour, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        Density. [kg/m3] NaN where an input is NaN; never clipped.

    Raises
    ------
    InputError
        If a pressure or temperature is not above zero, or a mole fraction is outside 0 to 1.

    Notes
    -----
    The equation's own range is 600-1100 hPa, 15-27 C. Beyond it, over 0-60 C, 70-110 kPa and
    0-100 % humidity, it stays within 0.05 % of CoolProp HumidAir. Not for charge air: its
    compressibility factor is a polynomial in temperature; take
    `airsense.physics.real_gas.compressibility_charge_air` there. The gas constant is that of
    CODATA 2018, 1.1e-6 below the one that the equation was published with.

    References
    ----------
    .. [1] A. Picard et al., Metrologia 45 (2008) 149, eq. (1) and appendix A1.
    """
    p, t = positive(p_pa, "p_pa"), positive(t_k, "t_k")
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    z = _compressibility_moist_air(p, t, x)
    return p / (z * gas_constant_moist_air_jpkgk(x) * t)


def humidity_ratio(x_vapour: ArrayLike) -> FloatArray:
    """Return the mass of water vapour per mass of dry air.

    Parameters
    ----------
    x_vapour : array_like, shape (n,)
        Mole fraction of water vapour, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        Mass ratio; infinite for pure vapour. NaN where the input is NaN.

    Raises
    ------
    InputError
        If a mole fraction is outside 0 to 1.
    """
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    with np.errstate(divide="ignore"):
        return WATER_PER_AIR * x / (1.0 - x)


def condenses(x_vapour: ArrayLike, p_charge_pa: ArrayLike, t_charge_k: ArrayLike) -> BoolArray:
    """Return where compressed and cooled charge air would drop water.

    Parameters
    ----------
    x_vapour : array_like, shape (n,)
        Mole fraction of water vapour in the intake air, 0 to 1; compression keeps it.
    p_charge_pa, t_charge_k : array_like, shape (n,)
        Absolute pressure [Pa] and temperature [K] behind the charge cooler.

    Returns
    -------
    ndarray of bool, shape (n,)
        True where the charge is beyond saturation. False where an input is NaN.

    Raises
    ------
    InputError
        If a pressure or temperature is not above zero, or a mole fraction is outside 0 to 1.

    Notes
    -----
    The sensor counts the water, the charge density does not: up to 2 % of the flow in warm,
    damp air.
    """
    x = between(x_vapour, 0.0, 1.0, name="x_vapour")
    return np.asarray(x > vapour_mole_fraction(p_charge_pa, t_charge_k, 1.0))


def viscosity_air_pas(t_k: ArrayLike) -> FloatArray:
    """Return the dynamic viscosity of air by Sutherland's formula.

    Parameters
    ----------
    t_k : array_like, shape (n,)
        Temperature. [K]

    Returns
    -------
    ndarray, shape (n,)
        Dynamic viscosity. [Pa s] NaN where the input is NaN.

    Raises
    ------
    InputError
        If a temperature is not above zero.

    Notes
    -----
    Against CoolProp Air at 101.325 kPa, 250-500 K: within 1.4 %; pressure has no say below
    1 MPa.

    References
    ----------
    .. [1] 40 CFR 1065.640, Sutherland three-coefficient model, constants of table 4.
    """
    t = positive(t_k, "t_k")
    scaled = (t / SUTHERLAND_REFERENCE_K) ** 1.5
    shape = (SUTHERLAND_REFERENCE_K + SUTHERLAND_K) / (t + SUTHERLAND_K)
    return SUTHERLAND_REFERENCE_PAS * scaled * shape
