"""Lambda from the dried exhaust of a lean mixture.

Per formula unit of fuel C_c H_h O_o with d = c + h/4 - o/2 moles of O2 demanded, air of A moles
per mole of O2, complete combustion with excess air makes c CO2, h/2 H2O, (lambda - 1) d O2 and
lambda d (A - 1) of inert gas. Solving the mole fraction of O2 or CO2 for lambda gives the
functions below (after Heywood, Internal Combustion Engine Fundamentals, 1988, section 4.9).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import between, positive
from airsense.physics.constants import AIR_PER_OXYGEN
from airsense.physics.fuel import formula_of

# Zero drift of an oxygen analyser reads slightly below nothing; further down is a wrong unit.
LOWEST_OXYGEN = -0.01


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
