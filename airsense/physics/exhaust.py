"""Lambda from exhaust gas, and the exhaust that a lambda makes.

Per formula unit of fuel C_c H_h O_o with d = c + h/4 - o/2 moles of O2 demanded, air of A moles
per mole of O2, complete combustion with excess air makes c CO2, h/2 H2O, (lambda - 1) d O2 and
lambda d (A - 1) of inert gas. Solving the mole fraction of O2 or CO2 for lambda gives the
functions below (after Heywood, Internal Combustion Engine Fundamentals, 1988, section 4.9).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.physics.arguments import FloatArray, between, not_negative, positive
from airsense.physics.constants import AIR_PER_OXYGEN, NITROGEN_PER_OXYGEN
from airsense.physics.fuel import Formula, formula_of

# Frozen equilibrium CO*H2O / (CO2*H2) of the water-gas reaction: J. Brettschneider, Bosch
# Technische Berichte 6 (1979) 177; the same value in Spindt, SAE 650507.
WATER_GAS_K = 3.5
# An infrared analyser reads hydrocarbons as hexane. Some makers use twice this.
HEXANE_CARBON = 6.0
# Zero drift of an oxygen analyser reads slightly below nothing; further down is a wrong unit.
LOWEST_OXYGEN = -0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class DryExhaust:
    """Mole fractions in dry exhaust, and moles of water per mole of dry exhaust."""

    oxygen: FloatArray
    carbon_dioxide: FloatArray
    carbon_monoxide: FloatArray
    hydrogen: FloatArray
    nitrogen: FloatArray
    water_per_dry: FloatArray


def dry_exhaust(
    lambda_: ArrayLike, h_c: float, o_c: float, *, x_vapour_intake: ArrayLike = 0.0
) -> DryExhaust:
    """Return the exhaust of a lambda: complete combustion, or water-gas equilibrium when rich.

    Parameters
    ----------
    lambda_ : array_like, shape (n,)
        Air-fuel ratio over the stoichiometric one.
    h_c, o_c : float
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.
    x_vapour_intake : array_like, shape (n,), optional
        Mole fraction of water vapour in the intake air, 0 up to 1.

    Returns
    -------
    DryExhaust
        Arrays of shape (n,); NaN where an input is NaN, and where the mixture is so rich that
        CO and H2 could not take up the missing oxygen.

    Raises
    ------
    InputError
        If lambda is not above zero, a mole fraction is outside 0 to 1, or the fuel cannot burn.

    Notes
    -----
    No soot, hydrocarbons or NO. Lean, it agrees with cantera's equilibrium at 400 K to 0.005
    percentage points.
    """
    lam = positive(lambda_, "lambda_")
    x_vapour = between(x_vapour_intake, 0.0, 1.0, name="x_vapour_intake")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    reduced = 2.0 * demand * np.maximum(1.0 - lam, 0.0)
    co = _carbon_monoxide(fuel, reduced)
    h2 = reduced - co
    co2 = fuel.carbon - co
    o2 = demand * np.maximum(lam - 1.0, 0.0)
    n2 = demand * lam * NITROGEN_PER_OXYGEN.value
    dry = co2 + co + h2 + o2 + n2
    humidity = demand * lam * AIR_PER_OXYGEN * x_vapour / (1.0 - x_vapour)
    water = fuel.hydrogen / 2.0 - h2 + humidity
    return DryExhaust(
        oxygen=o2 / dry,
        carbon_dioxide=co2 / dry,
        carbon_monoxide=co / dry,
        hydrogen=h2 / dry,
        nitrogen=n2 / dry,
        water_per_dry=water / dry,
    )


def _carbon_monoxide(fuel: Formula, reduced: FloatArray) -> FloatArray:
    """Moles of CO, where CO and H2 together amount to `reduced`, per formula unit.

    Root of CO (h/2 - reduced + CO) = K (c - CO) (reduced - CO), in the form that does not
    cancel near zero.
    """
    carbon, half_h = fuel.carbon, fuel.hydrogen / 2.0
    possible = np.where(reduced < carbon + half_h, reduced, np.nan)
    square = WATER_GAS_K - 1.0
    linear = WATER_GAS_K * (carbon + possible) + half_h - possible
    constant = WATER_GAS_K * carbon * possible
    root = np.sqrt(linear**2 - 4.0 * square * constant)
    return np.asarray(2.0 * constant / (linear + root))


def lambda_from_oxygen_dry(o2_frac: ArrayLike, h_c: float, o_c: float) -> FloatArray:
    """Return lambda from the oxygen in dried exhaust of a lean mixture.

    Parameters
    ----------
    o2_frac : array_like, shape (n,)
        Mole fraction of O2 in the dry gas.
    h_c, o_c : float
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.

    Returns
    -------
    ndarray, shape (n,)
        Lambda. NaN where the input is NaN and where the oxygen is that of air (no combustion).

    Raises
    ------
    InputError
        If a mole fraction is outside -0.01 to 1 (percent given as fraction?), or the fuel
        cannot burn.

    Notes
    -----
    Complete combustion: with 0.5 % CO left it reads 0.02 high at lambda 1.2. Intake humidity
    does not matter. The shortcut 1 + O2/(20.95 % - O2) reads 1 to 5 % high.
    """
    o2 = between(o2_frac, LOWEST_OXYGEN, 1.0, name="o2_frac")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    return _burnt(demand + o2 * (fuel.carbon - demand), demand * (1.0 - AIR_PER_OXYGEN * o2))


def lambda_from_oxygen_wet(
    o2_frac: ArrayLike, h_c: float, o_c: float, *, x_vapour_intake: ArrayLike = 0.0
) -> FloatArray:
    """Return lambda from the oxygen in undried exhaust of a lean mixture.

    Parameters
    ----------
    o2_frac : array_like, shape (n,)
        Mole fraction of O2 in the wet gas, as a sensor in the hot pipe sees it.
    h_c, o_c : float
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.
    x_vapour_intake : array_like, shape (n,), optional
        Mole fraction of water vapour in the intake air, 0 up to 1.

    Returns
    -------
    ndarray, shape (n,)
        Lambda. NaN where an input is NaN and where the oxygen is that of air (no combustion).

    Raises
    ------
    InputError
        If a mole fraction is outside -0.01 (vapour: 0) to 1, or the fuel cannot burn.

    Notes
    -----
    Complete combustion. Humid intake air (2 % vapour) changes lambda by 2 % at lambda 1.5.
    """
    o2 = between(o2_frac, LOWEST_OXYGEN, 1.0, name="o2_frac")
    x_vapour = between(x_vapour_intake, 0.0, 1.0, name="x_vapour_intake")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    moist_air = AIR_PER_OXYGEN / (1.0 - x_vapour)
    products = fuel.carbon + fuel.hydrogen / 2.0
    return _burnt(demand + o2 * (products - demand), demand * (1.0 - moist_air * o2))


def _burnt(above: FloatArray, below: FloatArray) -> FloatArray:
    """Quotient, NaN where its divisor says that nothing burnt."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(below > 0.0, above / below, np.nan)


def lambda_from_carbon_dioxide_dry(co2_frac: ArrayLike, h_c: float, o_c: float) -> FloatArray:
    """Return lambda from the carbon dioxide in dried exhaust of a lean mixture.

    Parameters
    ----------
    co2_frac : array_like, shape (n,)
        Mole fraction of CO2 in the dry gas.
    h_c, o_c : float
        Molar H/C and O/C of the fuel.

    Returns
    -------
    ndarray, shape (n,)
        Lambda. NaN where the input is NaN, where there is no CO2 (no combustion), and where
        there is more CO2 than the stoichiometric mixture makes.

    Raises
    ------
    InputError
        If a mole fraction is outside 0 to 1, or the fuel has no carbon or cannot burn.

    Notes
    -----
    Complete combustion. A rich mixture makes less CO2 as well and would pass for a lean one.
    The 0.04 % of CO2 in the intake air is neglected: -0.7 % of lambda at lambda 3.
    """
    co2 = between(co2_frac, 0.0, 1.0, name="co2_frac")
    fuel = formula_of(h_c, o_c)
    positive(fuel.carbon, "carbon in the fuel")
    demand = fuel.oxygen_demand
    with np.errstate(divide="ignore"):
        lam = (fuel.carbon / co2 - fuel.carbon + demand) / (demand * AIR_PER_OXYGEN)
    # The rounding of the formula itself must not cut off lambda = 1.
    return np.where(np.isfinite(lam) & (lam > 1.0 - 1e-9), lam, np.nan)


def lambda_brettschneider(
    o2: ArrayLike,
    co2: ArrayLike,
    co: ArrayLike = 0.0,
    hc: ArrayLike = 0.0,
    no: ArrayLike = 0.0,
    *,
    h_c: float,
    o_c: float,
    hc_carbon: float = HEXANE_CARBON,
) -> FloatArray:
    """Return lambda from a full analysis of dried exhaust, lean or rich.

    Parameters
    ----------
    o2, co2, co, hc, no : array_like, shape (n,)
        Mole fractions in the dry gas; hydrocarbons as the analyser reads them.
    h_c, o_c : float
        Molar H/C and O/C of the fuel, with carbon.
    hc_carbon : float, optional
        Carbon atoms of the hydrocarbon that `hc` is read as: 6 for hexane, 1 for methane.

    Returns
    -------
    ndarray, shape (n,)
        Lambda. NaN where an input is NaN and where there is neither CO2 nor CO.

    Raises
    ------
    InputError
        If a mole fraction is outside 0 to 1 (O2: -0.01 to 1), or the fuel cannot burn.

    References
    ----------
    .. [1] J. Brettschneider, Bosch Technische Berichte 6 (1979) 177.
    """
    oxygen = between(o2, LOWEST_OXYGEN, 1.0, name="o2")
    dioxide, monoxide = (between(x, 0.0, 1.0, name=n) for x, n in ((co2, "co2"), (co, "co")))
    unburnt, nitric = (between(x, 0.0, 1.0, name=n) for x, n in ((hc, "hc"), (no, "no")))
    fuel = formula_of(h_c, o_c)
    positive(fuel.carbon, "carbon in the fuel")
    burnt = dioxide + monoxide
    with np.errstate(divide="ignore", invalid="ignore"):
        water = fuel.hydrogen / 4.0 * WATER_GAS_K / (WATER_GAS_K + monoxide / dioxide)
        found = dioxide + monoxide / 2.0 + oxygen + nitric / 2.0
        found = found + (water - fuel.oxygen / 2.0) * burnt
        carbon = burnt + not_negative(hc_carbon, "hc_carbon") * unburnt
        lam = found / (fuel.oxygen_demand * carbon)
        return np.where(burnt > 0.0, lam, np.nan)
