"""What can make the routes and the sensor disagree: one list for priors, results and setup."""

from __future__ import annotations

from enum import Enum


class Cause(Enum):
    """What can make the routes and the sensor disagree."""

    NONE = "none"
    SENSOR_SCALE = "sensor_scale"
    SENSOR_SHAPE = "sensor_shape"
    PULSATION = "pulsation"
    LEAK_AFTER_COMPRESSOR = "leak_after_compressor"
    LEAK_BEFORE_COMPRESSOR = "leak_before_compressor"
    MANIFOLD_PRESSURE_GAIN = "manifold_pressure_gain"
    MANIFOLD_PRESSURE_OFFSET = "manifold_pressure_offset"
    CHARGE_TEMPERATURE = "charge_temperature"
    VOLUMETRIC_EFFICIENCY = "volumetric_efficiency"
    RECIRCULATION = "recirculation"
    FUEL_SCALE = "fuel_scale"
    LAMBDA_SCALE = "lambda_scale"
