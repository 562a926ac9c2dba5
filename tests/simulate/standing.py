"""Ignition on with the engine still, then warm idle: the seconds ahead of a pull."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import RECORDED, History
from tests.simulate.inputs import Inputs
from tests.simulate.state import R_AIR

# Invented: what a starter and a driver take.
CRANK_S = 0.6
TAKE_UP_S = 0.8
SOAKED_K = 14.0  # charge path above ambient in a warm engine bay
SOAKED_SCATTER_K = 1.5
IDLE_CHARGE_K = 9.0
IDLE_BOOST = 1.006  # of ambient: an idling compressor is hardly more than a leak in the path
IDLE_THROTTLED = 0.34  # of ambient, behind the throttle of a spark engine
IDLE_LAMBDA = 4.5  # of a compression-ignition engine, unloaded and warm
LEAN_LIMIT = 10.0
EXHAUST_IDLE = 1.02
MOMENT_S = ("full_pedal_s", "sweep_start_s", "sweep_end_s")


def with_preamble(
    engine: EngineModel, case: Case, history: History, inputs: Inputs, rng: np.random.Generator
) -> tuple[History, Inputs]:
    """Put the case's still and idle seconds ahead of a march.

    Parameters
    ----------
    engine : EngineModel
    case : Case
    history : History
        The march from the lead-in on; shape (m, n).
    inputs : Inputs
        Those of its columns.
    rng : numpy.random.Generator
        Draws how far each engine is soaked.

    Returns
    -------
    tuple of History and Inputs
        Both later by the preamble; as they came where the case asks for none.
    """
    length = case.still_s + case.idle_s
    if length <= 0.0:
        return history, inputs
    step = float(history.time_s[1] - history.time_s[0])
    rows = round(length / step)
    early = np.arange(1, rows + 1) * step
    soaked = inputs.t_ambient_k + SOAKED_K + SOAKED_SCATTER_K * rng.standard_normal(inputs.count)
    still = still_state(inputs, soaked)
    idle = idle_state(engine, case, inputs, soaked)
    turning = np.clip((early - case.still_s) / CRANK_S, 0.0, float(case.idle_s > 0.0))
    taken = np.clip((early - length + TAKE_UP_S) / TAKE_UP_S, 0.0, 1.0)
    columns = {
        name: np.concatenate(
            [
                _blend(_blend(still[name], idle[name], turning), getattr(history, name)[0], taken),
                getattr(history, name),
            ]
        )
        for name in RECORDED
    }
    shift = rows * step
    later = {name: getattr(inputs, name) + shift for name in MOMENT_S}
    time = np.concatenate([early, history.time_s + shift])
    return History(time_s=time, **columns), replace(inputs, **later)


def _blend(first: FloatArray, then: FloatArray, share: FloatArray) -> FloatArray:
    """Return rows that go from `first` to `then`; both (n,) or (m, n), `share` (m,)."""
    return np.asarray(first + share[:, None] * (then - first))


def still_state(inputs: Inputs, soaked_k: FloatArray) -> dict[str, FloatArray]:
    """Return every recorded quantity with the engine at rest; each of shape (n,)."""
    none = np.zeros(inputs.count)
    state = dict.fromkeys(RECORDED, none)
    return state | {
        "p_manifold_pa": inputs.p_ambient_pa,
        "p_exhaust_pa": inputs.p_ambient_pa,
        "t_charge_k": soaked_k,
        "t_thermistor_k": soaked_k,
        "t_intake_k": inputs.t_ambient_k + 0.5 * SOAKED_K,
        "reading_frac": inputs.reading,
        "lambda_true": none + LEAN_LIMIT,
        "lambda_sensor": none + LEAN_LIMIT,
    }


def idle_air(
    engine: EngineModel, inputs: Inputs, t_charge_k: FloatArray, recirculation_frac: float
) -> tuple[FloatArray, FloatArray]:
    """Return manifold pressure [Pa] and air [kg/s] at warm idle; each of shape (n,)."""
    share = IDLE_THROTTLED if engine.spark else IDLE_BOOST
    pressure = share * inputs.p_ambient_pa
    breathing = engine.breathing
    ratio = breathing.compression_ratio
    burnt_left = (EXHAUST_IDLE * inputs.p_ambient_pa / pressure) ** 0.75
    moved = (ratio - burnt_left) / (ratio - 1.0)
    moved = moved * (t_charge_k / 330.0) ** breathing.ve_temperature_exponent
    speed = np.full(inputs.count, engine.sweep.idle_rpm)
    ve = breathing.ve_frac(speed) * inputs.ve * (1.0 + inputs.ve_drift * (moved - 1.0))
    total = ve * pressure * breathing.displacement_m3 * speed / 120.0 / (R_AIR * t_charge_k)
    return pressure, total * (1.0 - recirculation_frac)


def idle_fuel_kgps(engine: EngineModel, air_kgps: FloatArray) -> FloatArray:
    """Return what an idle governor needs; it turns the crank, whatever the sensor reads."""
    fuelling = engine.fuelling
    if engine.spark:
        return air_kgps / fuelling.air_fuel_ratio_stoich
    breathing = engine.breathing
    strokes = engine.strokes_per_second(np.asarray(engine.sweep.idle_rpm))
    per_stroke = 1.0 * breathing.displacement_m3 / breathing.cylinders
    needed = per_stroke / (fuelling.air_fuel_ratio_stoich * IDLE_LAMBDA) * strokes
    return np.full_like(air_kgps, float(needed))


def idle_state(
    engine: EngineModel, case: Case, inputs: Inputs, soaked_k: FloatArray
) -> dict[str, FloatArray]:
    """Return every recorded quantity at warm idle; each of shape (n,)."""
    recirculated = 0.0 if engine.spark else case.idle_recirculation_frac
    t_charge = inputs.t_ambient_k + IDLE_CHARGE_K + 0.2 * (soaked_k - inputs.t_ambient_k)
    pressure, air = idle_air(engine, inputs, t_charge, recirculated)
    commanded = idle_fuel_kgps(engine, air)
    excess = np.maximum(pressure * (pressure - inputs.p_ambient_pa), 0.0)
    top = engine.reference_pressure_pa
    leak = inputs.leak_after * engine.reference_flow_kgps * np.sqrt(excess / top / (top - 101325.0))
    charge_path = air + leak
    relative = charge_path / engine.reference_flow_kgps
    depression = engine.charge.depression_pa * inputs.restriction * relative**2
    sensor = charge_path * (1.0 - inputs.leak_before * relative)
    burnt = commanded * inputs.delivery * engine.fuelling.air_fuel_ratio_stoich
    lean = np.minimum(air / burnt, LEAN_LIMIT)
    return still_state(inputs, soaked_k) | {
        "speed_rpm": np.full(inputs.count, engine.sweep.idle_rpm),
        "p_manifold_pa": pressure,
        "p_exhaust_pa": EXHAUST_IDLE * inputs.p_ambient_pa,
        "p_depression_pa": depression,
        "t_charge_k": t_charge,
        "t_thermistor_k": t_charge,
        "mdot_sensor_kgps": sensor,
        "mdot_compressor_kgps": charge_path,
        "mdot_engine_kgps": air,
        "mdot_leak_kgps": leak,
        "mdot_indicated_kgps": inputs.reading * sensor,
        "mdot_fuel_kgps": commanded * inputs.delivery,
        "mdot_fuel_commanded_kgps": commanded,
        "lambda_true": lean,
        "lambda_sensor": lean,
    }
