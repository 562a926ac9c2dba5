"""Fuels: composition, stoichiometric air-fuel ratio, heating value, density."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.physics.arguments import floats, not_negative
from airsense.physics.constants import (
    AIR_PER_OXYGEN,
    M_CARBON,
    M_DRY_AIR,
    M_HYDROGEN,
    M_OXYGEN,
    M_WATER,
)
from airsense.reference import reference_rows

TABLE_NAME = "fuels.csv"
# Heat of vaporization of water at 25 C, from memory: 2442 kJ/kg (steam tables).
WATER_VAPORIZATION_25C_JPKG = 2.442e6
# Channiwala and Parikh, Fuel 81 (2002) 1051, per kilogram of the element in the fuel.
HHV_PER_CARBON_JPKG = 34.91e6
HHV_PER_HYDROGEN_JPKG = 117.83e6
HHV_PER_OXYGEN_JPKG = 10.34e6


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelProperties:
    """What the fuel route needs to know of a fuel.

    `hydrogen_to_carbon` is infinite for hydrogen; `density_kgpm3` is NaN where it is not known.
    `lhv_jpkg` is the lower heating value at 25 C, of the liquid for liquid fuels; the density is
    that at 15 C and 101.325 kPa. `afr_stoich` is a mass ratio of dry air to fuel.
    """

    name: str
    hydrogen_to_carbon: float
    oxygen_to_carbon: float
    afr_stoich: float
    lhv_jpkg: float
    density_kgpm3: float
    source: str


@dataclass(frozen=True, slots=True)
class Formula:
    """Atoms of one formula unit: one carbon, or one hydrogen where there is no carbon."""

    carbon: FloatArray
    hydrogen: FloatArray
    oxygen: FloatArray

    @property
    def oxygen_demand(self) -> FloatArray:
        """Moles of O2 that burn one mole of formula units completely."""
        return self.carbon + self.hydrogen / 4.0 - self.oxygen / 2.0

    @property
    def molar_mass_kgpmol(self) -> FloatArray:
        """Mass of one mole of formula units. [kg/mol]"""
        return (
            self.carbon * M_CARBON.value
            + self.hydrogen * M_HYDROGEN.value
            + self.oxygen * M_OXYGEN.value
        )


def formula_of(h_c: ArrayLike, o_c: ArrayLike) -> Formula:
    """Return the formula unit.

    Parameters
    ----------
    h_c, o_c : array_like, shape (n,)
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.

    Returns
    -------
    Formula
        Arrays of shape (n,); NaN where an input is NaN.

    Raises
    ------
    InputError
        If a ratio is negative, or the composition does not burn.
    """
    y, z = np.broadcast_arrays(not_negative(h_c, "h_c"), not_negative(o_c, "o_c"))
    no_carbon = np.isinf(y)
    formula = Formula(
        carbon=np.where(no_carbon, 0.0, 1.0),
        hydrogen=np.where(no_carbon, 1.0, y),
        oxygen=np.where(no_carbon, 0.0, floats(z)),
    )
    if np.any(formula.oxygen_demand <= 0.0):
        raise InputError(
            "this composition does not burn",
            where="hydrogen_to_carbon, oxygen_to_carbon",
            got=f"H/C {np.max(y)}, O/C {np.max(z)}",
            allowed="1 + H/C/4 - O/C/2 above zero",
            fix="check the molar ratios; they are not mass fractions",
        )
    return formula


def stoichiometric_afr(h_c: ArrayLike, o_c: ArrayLike) -> FloatArray:
    """Return the stoichiometric mass ratio of dry air to fuel.

    Parameters
    ----------
    h_c, o_c : array_like, shape (n,)
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.

    Returns
    -------
    ndarray, shape (n,)
        Mass ratio. NaN where an input is NaN.

    Raises
    ------
    InputError
        If a ratio is negative, or the composition does not burn.

    Notes
    -----
    Air is 3.773 moles of atmospheric nitrogen per mole of oxygen, see `constants`. Against
    cantera with 20.946 % O2, 78.112 % N2, 0.942 % Ar: within 0.02 %.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. (3.6).
    """
    formula = formula_of(h_c, o_c)
    air = formula.oxygen_demand * AIR_PER_OXYGEN * M_DRY_AIR.value
    return air / formula.molar_mass_kgpmol


def estimated_lhv_jpkg(h_c: ArrayLike, o_c: ArrayLike) -> FloatArray:
    """Return the lower heating value estimated from the composition.

    Parameters
    ----------
    h_c, o_c : array_like, shape (n,)
        Molar H/C and O/C of the fuel; an infinite H/C is hydrogen.

    Returns
    -------
    ndarray, shape (n,)
        Lower heating value. [J/kg] NaN where an input is NaN.

    Raises
    ------
    InputError
        If a ratio is negative, or the composition does not burn.

    Notes
    -----
    Higher value by the correlation, less the heat of the water vapour. Within 2 % of the
    measured value for paraffins, aromatics, alcohols, petrol, diesel and methane; 20 % low for
    hydrogen, which lies outside the correlation's range.

    References
    ----------
    .. [1] S. A. Channiwala, P. P. Parikh, Fuel 81 (2002) 1051 (coefficients from memory).
    """
    formula = formula_of(h_c, o_c)
    m = formula.molar_mass_kgpmol
    w_c = formula.carbon * M_CARBON.value / m
    w_h = formula.hydrogen * M_HYDROGEN.value / m
    w_o = formula.oxygen * M_OXYGEN.value / m
    higher = HHV_PER_CARBON_JPKG * w_c + HHV_PER_HYDROGEN_JPKG * w_h - HHV_PER_OXYGEN_JPKG * w_o
    water = w_h * M_WATER.value / (2.0 * M_HYDROGEN.value)
    return higher - water * WATER_VAPORIZATION_25C_JPKG


@lru_cache(maxsize=1)
def _table() -> tuple[tuple[str, tuple[str, ...], FuelProperties], ...]:
    rows = reference_rows(TABLE_NAME)
    return tuple((row["name"], tuple(row["aliases"].split()), _fuel_of(row)) for row in rows)


def _fuel_of(row: dict[str, str]) -> FuelProperties:
    h_c, o_c = float(row["hydrogen_to_carbon"]), float(row["oxygen_to_carbon"])
    return FuelProperties(
        name=row["name"],
        hydrogen_to_carbon=h_c,
        oxygen_to_carbon=o_c,
        afr_stoich=float(stoichiometric_afr(h_c, o_c)),
        lhv_jpkg=float(row["lhv_mj_kg"]) * 1e6,
        density_kgpm3=float(row["density_kg_l"]) * 1e3,
        source=row["source"],
    )


def fuel_names() -> tuple[str, ...]:
    """Return the names of the reference table, in its order."""
    return tuple(name for name, _, _ in _table())


def fuel_named(name: str) -> FuelProperties:
    """Return a fuel of the reference table.

    Parameters
    ----------
    name : str
        A name of `fuel_names` or an alias of the table; case, hyphens and spaces do not matter.

    Raises
    ------
    InputError
        If the table has no such fuel; the message lists the names.
    """
    key = "_".join(name.lower().replace("-", " ").replace("_", " ").split())
    for own, aliases, fuel in _table():
        if key == own or key in aliases:
            return fuel
    raise InputError(
        "unknown fuel",
        where="[fuel] name",
        got=name,
        allowed=", ".join(fuel_names()),
        fix="take a name of the list, or give hydrogen_to_carbon and oxygen_to_carbon",
    )


def fuel_from_composition(
    hydrogen_to_carbon: float,
    oxygen_to_carbon: float,
    lower_heating_value_mj_kg: float | None = None,
    density_kg_l: float | None = None,
) -> FuelProperties:
    """Return a fuel declared by its composition.

    Parameters
    ----------
    hydrogen_to_carbon, oxygen_to_carbon : float
        Molar ratios.
    lower_heating_value_mj_kg : float, optional
        Lower heating value; estimated from the composition if not given, which `source` says.
    density_kg_l : float, optional
        Density; NaN in the result if not given.

    Raises
    ------
    InputError
        If a ratio is negative, or the composition does not burn.
    """
    source = "declared composition"
    if lower_heating_value_mj_kg is None:
        lhv = float(estimated_lhv_jpkg(hydrogen_to_carbon, oxygen_to_carbon))
        source += "; heating value estimated by Channiwala and Parikh, Fuel 81 (2002) 1051"
    else:
        lhv = lower_heating_value_mj_kg * 1e6
    return FuelProperties(
        name="own composition",
        hydrogen_to_carbon=hydrogen_to_carbon,
        oxygen_to_carbon=oxygen_to_carbon,
        afr_stoich=float(stoichiometric_afr(hydrogen_to_carbon, oxygen_to_carbon)),
        lhv_jpkg=lhv,
        density_kgpm3=math.nan if density_kg_l is None else density_kg_l * 1e3,
        source=source,
    )
