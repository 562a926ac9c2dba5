"""The states of all runs that a time step moves, and where they begin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.engine_model import EngineModel
from tests.simulate.inputs import Inputs

# Dry air, in the digits of handbooks.
R_AIR = 287.05


@dataclass(slots=True)
class State:
    """One value a run; every entry of shape (n,), replaced at each step."""

    mass_kg: FloatArray
    t_charge_k: FloatArray
    tip_speed_sq: FloatArray
    t_cooler_k: FloatArray
    t_thermistor_k: FloatArray
    t_inlet_k: FloatArray
    p_inlet_pa: FloatArray
    t_exhaust_k: FloatArray
    p_exhaust_pa: FloatArray
    opening: FloatArray
    indicated_kgps: FloatArray
    lambda_sensor: FloatArray
    trim: FloatArray
    opening_trim: FloatArray


def first_state(engine: EngineModel, inputs: Inputs) -> State:
    """Return a state near cruise; the pre-roll settles it."""
    flat = np.ones(inputs.count)
    t_charge = inputs.t_ambient_k + 12.0
    p_start = 1.15 * inputs.p_ambient_pa
    return State(
        mass_kg=p_start * engine.charge.volume_m3 / (R_AIR * t_charge),
        t_charge_k=t_charge,
        tip_speed_sq=flat * 180.0**2,
        t_cooler_k=inputs.t_ambient_k + inputs.soak_k,
        t_thermistor_k=t_charge,
        t_inlet_k=inputs.t_ambient_k + 2.0 * engine.charge.inlet_heating_k,
        p_inlet_pa=inputs.p_ambient_pa,
        t_exhaust_k=flat * 600.0,
        p_exhaust_pa=1.3 * inputs.p_ambient_pa,
        opening=flat * 0.1,
        indicated_kgps=flat * 0.12 * engine.reference_flow_kgps,
        lambda_sensor=flat * 1.5,
        trim=flat * 0.0,
        opening_trim=flat * 0.0,
    )
