"""What an engine's answer to weather and intake depends on beside boost control, with ranges."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from airsense.physics.compression import COMPRESSOR_EFFICIENCY, COOLER_EFFECTIVENESS, Range

TURBINE_EFFICIENCY = Range(
    low=0.50,
    high=0.70,
    source="turbine with bearings under pulsating flow: handbook 0.5 to 0.7 (from memory)",
)
T_EXHAUST_K = Range(
    low=850.0,
    high=1200.0,
    source="ahead of the turbine at full load, diesel 850 to 1050, spark 1050 to 1250 "
    "(common practice, no source)",
)
VE_EXPONENT = Range(
    low=0.0, high=0.3, source="published fits of volumetric efficiency lie in 0 to 0.3 (our choice)"
)
COOLANT_K = Range(
    low=305.0, high=335.0, source="low-temperature water circuit (common practice, no source)"
)
INLET_RATIO = Range(
    low=0.94, high=1.0, source="0 to 6 kPa lost in filter and tube at full load (our choice)"
)
EXHAUST_LOSS = Range(
    low=0.02,
    high=0.12,
    source="(p_4 - p_a)/p_4 of silencer and after-treatment at full load: 2 to 13 kPa (our choice)",
)
# Burnt near full load with lambda 1.0 to 1.4, fuels of stoichiometric ratio 14 to 14.7.
FUEL_SHARE = Range(low=0.045, high=0.065, source="derived: 1/(1 + lambda AFR) at full load")
FOLLOWING = Range(
    low=0.0, high=1.0, source="fuel fixed (0) to lambda fixed (1): limits of what a controller does"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Character:
    """What the exponents depend on beside law and pressure ratio; scalars or arrays of one shape.

    `follows` is d ln(fuel per stroke)/d ln(air): 0 with fuel fixed, 1 with lambda fixed.
    """

    compressor_efficiency: ArrayLike = COMPRESSOR_EFFICIENCY.value
    cooler_effectiveness: ArrayLike = COOLER_EFFECTIVENESS.value
    turbine_efficiency: ArrayLike = TURBINE_EFFICIENCY.value
    t_exhaust_k: ArrayLike = T_EXHAUST_K.value
    ve_exponent: ArrayLike = VE_EXPONENT.value
    inlet_ratio: ArrayLike = INLET_RATIO.value
    exhaust_loss: ArrayLike = EXHAUST_LOSS.value
    fuel_share: ArrayLike = FUEL_SHARE.value
    t_coolant_k: ArrayLike = COOLANT_K.value
    t_ambient_k: ArrayLike = 295.0
    follows: ArrayLike = FOLLOWING.value


RANGES: dict[str, Range] = {
    "compressor_efficiency": COMPRESSOR_EFFICIENCY,
    "cooler_effectiveness": COOLER_EFFECTIVENESS,
    "turbine_efficiency": TURBINE_EFFICIENCY,
    "t_exhaust_k": T_EXHAUST_K,
    "ve_exponent": VE_EXPONENT,
    "inlet_ratio": INLET_RATIO,
    "exhaust_loss": EXHAUST_LOSS,
    "fuel_share": FUEL_SHARE,
    "t_coolant_k": COOLANT_K,
    "follows": FOLLOWING,
}
