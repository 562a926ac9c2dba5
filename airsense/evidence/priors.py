"""The prior table of the causes: how likely, how large, and why. Our choices, in one place.

Probabilities describe a comparison in which someone changed the intake tube. Sizes are standard
deviations (k = 1) of a Gaussian around zero; fractions unless a unit is given.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Cause(Enum):
    """What can make the routes and the sensor disagree."""

    NONE = "none"
    SENSOR_SCALE = "sensor_scale"
    SENSOR_SHAPE = "sensor_shape"
    PULSATION = "pulsation"
    LEAK_AFTER_COMPRESSOR = "leak_after_compressor"
    LEAK_BEFORE_COMPRESSOR = "leak_before_compressor"
    MANIFOLD_PRESSURE = "manifold_pressure"
    CHARGE_TEMPERATURE = "charge_temperature"
    VOLUMETRIC_EFFICIENCY = "volumetric_efficiency"
    RECIRCULATION = "recirculation"
    FUEL_SCALE = "fuel_scale"
    LAMBDA_SCALE = "lambda_scale"


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Probability and size of one cause, with the reason."""

    cause: Cause
    probability: float
    size: float
    reason: str


# A factor on the reading after a change of tube, and the wide half of the prior: a change is
# seldom large, but a wrong tube can be far off.
USUAL_SCALE_SIZE = 0.03
LARGE_SCALE_SHARE = 0.35
LARGE_SCALE_SIZE = 0.12
# Part of a shape, pulsation or leak effect that is the same at all flows.
COMPANION_SCALE_SIZE = 0.03
# Nothing is known beforehand about the level of one configuration's reading: nearly flat.
LEVEL_SIZE = 0.5

# What happens at the air-flow sensor or between it and the engine: one of these.
SENSOR_PRIORS = (
    Prior(
        cause=Cause.NONE,
        probability=0.404,
        size=0.0,
        reason="many tubes keep the bore and the flow at the sensor",
    ),
    Prior(
        cause=Cause.SENSOR_SCALE,
        probability=0.478,
        size=USUAL_SCALE_SIZE,
        reason="a bore or profile change is the usual effect of a new tube; 1 mm in 80 is 2.5 %",
    ),
    Prior(
        cause=Cause.SENSOR_SHAPE,
        probability=0.06,
        size=0.03,
        reason="a bend or filter whose effect changes with flow",
    ),
    Prior(
        cause=Cause.PULSATION,
        probability=0.04,
        size=0.05,
        reason="reverse flow reads as forward flow at low speed; depends on tube length",
    ),
    Prior(
        cause=Cause.LEAK_AFTER_COMPRESSOR,
        probability=0.012,
        size=0.05,
        reason="couplers are opened in the work; leaks grow with boost",
    ),
    Prior(
        cause=Cause.LEAK_BEFORE_COMPRESSOR,
        probability=0.006,
        size=0.025,
        reason="a joint behind the sensor may draw unmetered air, but the depression is small",
    ),
)
# A leak that the work made is likelier than one that the work mended.
NEW_LEAK_SHARE = 0.85

# What can shift a route between the configurations without any change of air: at most one.
FAULT_PRIORS = (
    Prior(
        cause=Cause.MANIFOLD_PRESSURE,
        probability=0.045,
        size=0.10,
        reason="a drifted or exchanged sensor, a wrong unit, a loose hose: seldom, then large",
    ),
    Prior(
        cause=Cause.CHARGE_TEMPERATURE,
        probability=0.040,
        size=0.04,
        reason="sensor moved, or heat soak that the lag correction misses; 12 K in 310 K",
    ),
    Prior(
        cause=Cause.VOLUMETRIC_EFFICIENCY,
        probability=0.045,
        size=0.025,
        reason="back pressure, valve timing or temperature of the engine changed",
    ),
    Prior(
        cause=Cause.RECIRCULATION,
        probability=0.020,
        size=0.06,
        reason="a recirculation valve open in one configuration only",
    ),
    Prior(
        cause=Cause.FUEL_SCALE,
        probability=0.020,
        size=0.05,
        reason="commanded fuel off by rail pressure, injector map or temperature",
    ),
    Prior(
        cause=Cause.LAMBDA_SCALE,
        probability=0.020,
        size=0.04,
        reason="an aged or moved lambda sensor, leak in the exhaust",
    ),
)

# The true change itself: what intakes and boost control do to an engine.
TRUE_CHANGE_SIZE = 0.10
TRUE_CHANGE_SHAPE_SIZE = 0.04
# Tilt over speed that comes with a change of volumetric efficiency.
EFFICIENCY_TILT_SIZE = 0.012
# The same for a recirculation valve, whose flow depends on the pressures around it.
RECIRCULATION_TILT_SIZE = 0.03
# d ln VE / d ln p_manifold that is not known: two published engine models give -0.04 and -0.02.
VE_PER_PRESSURE = 0.05
# d ln VE / d ln T_charge that is not known: 0 where VE is taken as constant, 0.5 where heat from
# the port walls rules (Heywood 1988, ch. 6.2, from memory), a little more with evaporating fuel.
VE_PER_TEMPERATURE = 0.35
# d ln(brake efficiency) / d ln(lambda) that is not known: slower and less complete combustion
# towards the smoke limit, timing and heat loss elsewhere. Our choice.
EFFICIENCY_PER_LAMBDA = 0.3
