"""What the engine cannot choose: roller, driver and weather."""

from __future__ import annotations

import numpy as np

from airsense.arrays import FloatArray
from airsense.physics.constants import CELSIUS_ZERO_K
from tests.simulate.engine_model import EngineModel
from tests.simulate.inputs import Inputs


def speed_and_pedal(
    engine: EngineModel, inputs: Inputs, time_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return engine speed [rpm] and pedal [0..1] that the dynamometer and the driver impose."""
    sweep = engine.sweep
    x = np.clip(
        (time_s - inputs.sweep_start_s) / (inputs.sweep_end_s - inputs.sweep_start_s), 0.0, 1.0
    )
    # The roller brake lets the middle of the sweep run a little faster than its ends.
    path = x - 0.03 * np.sin(2.0 * np.pi * x)
    speed = sweep.start_rpm + (sweep.end_rpm - sweep.start_rpm) * path
    lifted = np.maximum(time_s - inputs.sweep_end_s, 0.0)
    down = np.clip((time_s - inputs.full_pedal_s) / 0.3, 0.0, 1.0)
    up = np.clip(lifted / 0.25, 0.0, 1.0)
    pedal = (sweep.cruise_pedal + (1.0 - sweep.cruise_pedal) * down) * (1.0 - up)
    return speed * np.exp(-lifted / 6.0), pedal


def specific_humidity(inputs: Inputs) -> FloatArray:
    """Return water vapour over moist air, by mass; vapour pressure by the Magnus formula."""
    t_c = inputs.t_ambient_k - CELSIUS_ZERO_K
    p_vapour = inputs.humidity_frac * 611.2 * np.exp(17.62 * t_c / (243.12 + t_c))
    ratio = 0.622 * p_vapour / (inputs.p_ambient_pa - p_vapour)
    return ratio / (1.0 + ratio)
