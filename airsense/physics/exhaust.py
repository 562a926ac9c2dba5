"""Lambda from exhaust gas, and the dry exhaust that a lambda makes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.physics.arguments import FloatArray, between, floats, not_negative, positive
from airsense.physics.constants import AIR_PER_OXYGEN, NITROGEN_PER_OXYGEN
from airsense.physics.fuel import Formula, formula_of

# Frozen equilibrium CO*H2O / (CO2*H2) of the water-gas reaction in exhaust.
WATER_GAS_K = 3.5
# Carbon atoms of the hexane that an infrared analyser reads hydrocarbons as.
HEXANE_CARBON = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DryExhaust:
    """Mole fractions in dry exhaust, and the water per mole of dry exhaust."""

    oxygen: FloatArray
    carbon_dioxide: FloatArray
    carbon_monoxide: FloatArray
    hydrogen: FloatArray
    nitrogen: FloatArray
    water_per_dry: FloatArray


def dry_exhaust(
    lambda_: ArrayLike, h_c: float, o_c: float, *, x_vapour_intake: ArrayLike = 0.0
) -> DryExhaust:
    """Return the exhaust of complete (lean) or water-gas (rich) combustion."""
    lam = positive(lambda_, "lambda_")
    x_vapour = between(x_vapour_intake, 0.0, 1.0, name="x_vapour_intake")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    missing = 2.0 * demand * np.maximum(1.0 - lam, 0.0)
    co = _carbon_monoxide(fuel, missing)
    h2 = missing - co
    co2 = fuel.carbon - co
    o2 = demand * np.maximum(lam - 1.0, 0.0)
    n2 = demand * lam * NITROGEN_PER_OXYGEN.value
    dry = co2 + co + h2 + o2 + n2
    humid = demand * lam * AIR_PER_OXYGEN * x_vapour / (1.0 - x_vapour)
    water = fuel.hydrogen / 2.0 - h2 + humid
    return DryExhaust(
        oxygen=o2 / dry,
        carbon_dioxide=co2 / dry,
        carbon_monoxide=co / dry,
        hydrogen=h2 / dry,
        nitrogen=n2 / dry,
        water_per_dry=water / dry,
    )


def _carbon_monoxide(fuel: Formula, missing: FloatArray) -> FloatArray:
    """Solve CO*(H2O) = K*CO2*H2 with H2 = missing - CO for CO, per formula unit."""
    k = WATER_GAS_K
    half_h, carbon = fuel.hydrogen / 2.0, fuel.carbon
    # co*(half_h - missing + co) = k*(carbon - co)*(missing - co)
    square = k - 1.0
    linear = -(k * (carbon + missing) + half_h - missing)
    constant = k * carbon * missing
    root = np.sqrt(linear**2 - 4.0 * square * constant)
    return np.asarray(2.0 * constant / (root - linear))


def lambda_from_oxygen_dry(o2_frac: ArrayLike, h_c: float, o_c: float) -> FloatArray:
    """Return lambda from the oxygen in dry exhaust of complete combustion."""
    o2 = between(o2_frac, 0.0, 1.0, name="o2_frac")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    return _lean(o2, demand + o2 * (fuel.carbon - demand), demand * (1.0 - AIR_PER_OXYGEN * o2))


def lambda_from_oxygen_wet(
    o2_frac: ArrayLike, h_c: float, o_c: float, *, x_vapour_intake: ArrayLike = 0.0
) -> FloatArray:
    """Return lambda from the oxygen in wet exhaust, as a hot sensor sees it."""
    o2 = between(o2_frac, 0.0, 1.0, name="o2_frac")
    x_vapour = between(x_vapour_intake, 0.0, 1.0, name="x_vapour_intake")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    moist_air = AIR_PER_OXYGEN / (1.0 - x_vapour)
    products = fuel.carbon + fuel.hydrogen / 2.0 - demand
    return _lean(o2, demand + o2 * products, demand * (1.0 - moist_air * o2))


def _lean(o2: FloatArray, above: FloatArray, below: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(below > 0.0, above / below, np.nan)


def lambda_from_carbon_dioxide_dry(co2_frac: ArrayLike, h_c: float, o_c: float) -> FloatArray:
    """Return lambda from the carbon dioxide in dry exhaust of complete lean combustion."""
    co2 = positive(co2_frac, "co2_frac")
    fuel = formula_of(h_c, o_c)
    demand = fuel.oxygen_demand
    lam = (fuel.carbon / co2 - fuel.carbon + demand) / (demand * AIR_PER_OXYGEN)
    return np.where(lam >= 1.0 - 1e-9, lam, np.nan)


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
    """Return lambda from a full dry gas analysis, lean or rich."""
    oxygen, dioxide = not_negative(o2, "o2"), positive(co2, "co2")
    monoxide, unburnt = not_negative(co, "co"), not_negative(hc, "hc")
    burnt = dioxide + monoxide
    water = h_c / 4.0 * WATER_GAS_K / (WATER_GAS_K + monoxide / dioxide)
    found = dioxide + monoxide / 2.0 + oxygen + not_negative(no, "no") / 2.0
    found = found + (water - o_c / 2.0) * burnt
    needed = (1.0 + h_c / 4.0 - o_c / 2.0) * (burnt + hc_carbon * unburnt)
    return floats(found / needed)
