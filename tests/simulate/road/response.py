"""Mean values of the engine over a schedule: no turbocharger to march, each state a lag.

Written apart from the estimators and from the march: charge pressure is imposed by the boost
law and a spool lag, charge temperature by a compressor and a cooler with heat soak, breathing by
logarithms of state. Model sizes are our choice, after what engines of this kind do. There is no
loop from fuel to boost here; that loop is the march's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import Inputs
from tests.simulate.road.schedule import GRID_S, Schedule
from tests.simulate.sensor import shape_frac
from tests.simulate.standing import IDLE_THROTTLED, LEAN_LIMIT, idle_fuel_kgps
from tests.simulate.state import R_AIR
from tests.simulate.surroundings import specific_humidity

# (kappa - 1)/kappa of air; time constants of spool, valve, cooler metal, charge and inlet:
# invented.
K_ISENTROPIC = 0.2857
SPOOL_S = 0.55
VALVE_S = 0.3
COOLER_S = 75.0
AIR_S = 1.2
INLET_S = 8.0
COOLER_CREEP = 0.07  # of the compressor's heating that ends in the cooler's metal
T_RECIRCULATED_K = 385.0
BAY_K = 7.0  # warming of the charge by the engine bay at a standstill
IDLE_RISE = 0.006
PASSES = 4
PEDAL_EXPONENT = 1.5  # boost leads fuel at part load, as recirculation needs it


@dataclass(frozen=True, slots=True, kw_only=True)
class Lags:
    """What one car's sensors and logger add. [s]"""

    film_s: float
    film_delay_s: float
    thermistor_s: float
    pressure_s: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Lags:
        """Return lags as cars and loggers differ in them."""
        return cls(
            film_s=rng.uniform(0.02, 0.05),
            film_delay_s=rng.uniform(0.0, 0.04),
            thermistor_s=rng.uniform(2.0, 5.0),
            pressure_s=0.03,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Charge:
    """Charge path at each moment; each of shape (m,)."""

    p_manifold_pa: FloatArray
    depression_pa: FloatArray
    t_inlet_k: FloatArray
    t_charge_k: FloatArray
    air_kgps: FloatArray
    total_kgps: FloatArray


def lagged(values: FloatArray, time_constant_s: float, start: float | None = None) -> FloatArray:
    """Return a first-order lag of values on the grid, at rest in the first one; shape (m,)."""
    from scipy.signal import lfilter

    share = -float(np.expm1(-GRID_S / time_constant_s))
    first = float(values[0]) if start is None else start
    out, _ = lfilter([share], [1.0, share - 1.0], values, zi=[(1.0 - share) * first])
    return np.asarray(out)


def respond(engine: EngineModel, case: Case, inputs: Inputs, plan: Schedule, lags: Lags) -> History:
    """Return what the engine does over a schedule, and what its sensors show of it.

    Parameters
    ----------
    engine : EngineModel
    case : Case
        Gives recirculation at part load.
    inputs : Inputs
        One column.
    plan : Schedule
    lags : Lags

    Returns
    -------
    History
        Shape (m, 1). `p_manifold_pa` is the true pressure.
    """
    load = boost_share(engine, plan)
    recirculated = _recirculation(engine, case, plan)
    charge = _charge(engine, inputs, plan, load, recirculated)
    leak = _leak(engine, inputs, charge.p_manifold_pa)
    r_air = R_AIR * (1.0 + 0.608 * specific_humidity(inputs))
    stored = charge.p_manifold_pa * engine.charge.volume_m3 / (r_air * charge.t_charge_k)
    filling = np.where(plan.running, np.gradient(lagged(stored, 0.06), GRID_S), 0.0)
    compressor = charge.air_kgps + leak + filling
    share = inputs.leak_before * np.sqrt(charge.depression_pa / engine.charge.depression_pa)
    sensor = compressor * (1.0 - share)
    reading = reading_frac(engine, inputs, sensor, plan.speed_rpm, load)
    shown = np.clip(reading * sensor, 0.0, inputs.maf_ceiling_kgps)
    indicated = _late(lagged(shown, lags.film_s), lags.film_delay_s)
    commanded = _fuel(engine, plan, indicated, charge.air_kgps)
    fuel = commanded * inputs.delivery
    lean = _lambda(engine, inputs, charge.air_kgps, fuel)
    columns = {
        "speed_rpm": plan.speed_rpm,
        "pedal_frac": plan.pedal_frac,
        "p_manifold_pa": charge.p_manifold_pa,
        "p_exhaust_pa": _exhaust_pa(engine, inputs, charge.p_manifold_pa, charge.total_kgps),
        "p_depression_pa": charge.depression_pa,
        "t_charge_k": charge.t_charge_k,
        "t_thermistor_k": lagged(charge.t_charge_k, lags.thermistor_s),
        "t_intake_k": charge.t_inlet_k,
        "mdot_sensor_kgps": sensor,
        "mdot_compressor_kgps": compressor,
        "mdot_engine_kgps": charge.air_kgps,
        "mdot_leak_kgps": leak,
        "stored_kg": stored,
        "reading_frac": reading,
        "mdot_indicated_kgps": indicated,
        "mdot_fuel_kgps": fuel,
        "mdot_fuel_commanded_kgps": commanded,
        "lambda_true": lean,
        "lambda_sensor": lagged(lean, engine.sensing.lambda_lag_s),
        "power_w": _power(engine, plan, charge, fuel, lean),
    }
    return History(
        time_s=plan.time_s, **{name: np.asarray(v)[:, None] for name, v in columns.items()}
    )


def boost_share(engine: EngineModel, plan: Schedule) -> FloatArray:
    """Return how far from no boost to the full-load target the engine is; 0 to 1, shape (m,).

    Pulsation hangs on the same number.
    """
    asked = np.where(plan.running, np.clip(plan.pedal_frac, 0.0, 1.0), 0.0)
    # Too little exhaust below the sweep's start, whatever the pedal asks.
    start = engine.sweep.start_rpm
    able = np.clip((plan.speed_rpm - engine.sweep.idle_rpm) / (0.7 * start), 0.0, 1.0)
    return lagged(asked * np.minimum(able * 1.6, 1.0), SPOOL_S)


def _recirculation(engine: EngineModel, case: Case, plan: Schedule) -> FloatArray:
    """Return the share of exhaust gas in the charge: at part load, and at idle where asked."""
    if engine.spark:
        return np.zeros(plan.time_s.size)
    pedal = plan.pedal_frac
    part = np.clip((0.72 - pedal) / 0.2, 0.0, 1.0) * np.clip(pedal / 0.08, 0.0, 1.0)
    slow = np.clip((0.8 * engine.sweep.end_rpm - plan.speed_rpm) / 300.0, 0.0, 1.0)
    idle = np.where(pedal < 0.02, case.idle_recirculation_frac, 0.0)
    asked = np.maximum(case.road_recirculation_frac * part * slow, idle)
    return lagged(np.where(plan.running & ~plan.fuel_cut, asked, 0.0), VALVE_S)


def _charge(
    engine: EngineModel,
    inputs: Inputs,
    plan: Schedule,
    load: FloatArray,
    recirculated: FloatArray,
) -> _Charge:
    """Return the charge path: pressure imposed, flow and temperatures by a few passes."""
    ambient = float(inputs.p_ambient_pa[0])
    t_ambient = float(inputs.t_ambient_k[0])
    rest = ambient * (1.0 + IDLE_RISE * plan.speed_rpm / engine.sweep.idle_rpm)
    target = engine.turbo.p_target_pa(plan.speed_rpm)
    if engine.spark:
        rest = ambient * np.where(plan.fuel_cut, 0.28, IDLE_THROTTLED)
    flow = 0.5 * engine.reference_flow_kgps * load
    t_charge = np.full(plan.time_s.size, t_ambient + BAY_K)
    for _ in range(PASSES):
        relative = np.maximum(flow / engine.reference_flow_kgps, 0.03)
        depression = engine.charge.depression_pa * inputs.restriction * relative**2
        depression = np.where(plan.running, depression * _thinness(inputs), 0.0)
        full = inputs.boost_target_pa(target, 1.0, ambient - depression)
        pressure = np.where(plan.running, rest + (full - rest) * load, ambient)
        pressure = lagged(pressure, 0.05)
        t_inlet = lagged(
            t_ambient + engine.charge.inlet_heating_k / relative**0.4, INLET_S, t_ambient + BAY_K
        )
        t_charge = _cooled(engine, inputs, pressure / (ambient - depression), relative, t_inlet)
        total, air = _breathed(engine, inputs, plan, pressure, t_charge, recirculated)
        flow = air + _leak(engine, inputs, pressure)
    return _Charge(
        p_manifold_pa=pressure,
        depression_pa=depression,
        t_inlet_k=t_inlet,
        t_charge_k=t_charge,
        air_kgps=air,
        total_kgps=total,
    )


def _thinness(inputs: Inputs) -> float:
    """Return reference over ambient density."""
    return float(1.16 * R_AIR * inputs.t_ambient_k[0] / inputs.p_ambient_pa[0])


def _cooled(
    engine: EngineModel,
    inputs: Inputs,
    ratio: FloatArray,
    relative: FloatArray,
    t_inlet: FloatArray,
) -> FloatArray:
    """Return charge temperature behind a cooler whose metal soaks. [K]"""
    t_ambient = float(inputs.t_ambient_k[0])
    efficiency = 0.74 - 0.10 * ((relative - 0.6) / 0.6) ** 2
    heated = t_inlet * (np.maximum(ratio, 1.0) ** K_ISENTROPIC - 1.0) / np.maximum(efficiency, 0.5)
    metal = t_ambient + float(inputs.soak_k[0]) + COOLER_CREEP * lagged(heated, COOLER_S)
    units = -np.log1p(-engine.charge.cooler_effectiveness) * relative**-0.35
    cooled = t_inlet + heated - (1.0 - np.exp(-units)) * (t_inlet + heated - metal)
    return lagged(cooled + BAY_K / (1.0 + 25.0 * relative), AIR_S)


def _breathed(
    engine: EngineModel,
    inputs: Inputs,
    plan: Schedule,
    pressure: FloatArray,
    t_charge: FloatArray,
    recirculated: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return all gas and the fresh air into the cylinders. [kg/s]"""
    breathing = engine.breathing
    t_mixed = t_charge + recirculated * (T_RECIRCULATED_K - t_charge)
    ideal = pressure * breathing.displacement_m3 * plan.speed_rpm / 120.0 / (R_AIR * t_mixed)
    ideal = ideal / (1.0 + 0.608 * specific_humidity(inputs))
    back = _exhaust_pa(engine, inputs, pressure, 0.9 * ideal) / pressure
    moved = (
        2.0 * breathing.ve_per_bar * np.log(pressure / 2.0e5)
        - 0.045 * np.log(back)
        + breathing.ve_temperature_exponent * np.log(t_mixed / 330.0)
    )
    total = breathing.ve_frac(plan.speed_rpm) * inputs.ve * np.exp(inputs.ve_drift * moved) * ideal
    kept = 1.0 - np.maximum(recirculated, inputs.egr)
    return total, total * kept


def _exhaust_pa(
    engine: EngineModel, inputs: Inputs, p_manifold: FloatArray, flow: FloatArray
) -> FloatArray:
    """Return pressure ahead of the turbine: it pays for the boost, and for the flow. [Pa]"""
    relative = flow / engine.reference_flow_kgps
    boost = np.maximum(p_manifold - inputs.p_ambient_pa, 0.0)
    resistance = engine.combustion.back_pressure_pa * (1.0 + 2.0 * relative) * relative
    return np.asarray(inputs.p_ambient_pa + 0.85 * boost + resistance)


def _leak(engine: EngineModel, inputs: Inputs, pressure: FloatArray) -> FloatArray:
    """Return air lost behind the compressor through an orifice. [kg/s]"""
    top = engine.reference_pressure_pa
    excess = np.maximum(pressure * (pressure - inputs.p_ambient_pa), 0.0)
    size = np.sqrt(excess / (top * (top - 101325.0)))
    return np.asarray(inputs.leak_after * engine.reference_flow_kgps * size)


def reading_frac(
    engine: EngineModel,
    inputs: Inputs,
    sensor_kgps: FloatArray,
    speed_rpm: FloatArray,
    load: FloatArray,
) -> FloatArray:
    """Return the static reading over the true flow; pulsation needs load and low speed."""
    shape = shape_frac(engine, inputs.skew_shape, np.maximum(sensor_kgps, 0.0))
    above = np.maximum(speed_rpm - engine.sweep.start_rpm, 0.0)
    pulsed = np.exp(-above / engine.sensing.pulsation_decay_rpm) * load
    return np.asarray(inputs.reading * (1.0 + shape) * (1.0 + inputs.pulsation * pulsed))


def _late(values: FloatArray, delay_s: float) -> FloatArray:
    rows = round(delay_s / GRID_S)
    return np.concatenate([values[:1].repeat(rows), values[: values.size - rows]])


def _fuel(
    engine: EngineModel, plan: Schedule, indicated: FloatArray, air: FloatArray
) -> FloatArray:
    """Return commanded fuel [kg/s]: what the pedal asks, within what the reading allows."""
    fuelling = engine.fuelling
    idle = idle_fuel_kgps(engine, np.ones(1))[0] if not engine.spark else 0.0
    strokes = engine.strokes_per_second(plan.speed_rpm)
    limit = fuelling.lambda_full_load(plan.speed_rpm)
    if engine.spark:
        # Closed loop below high load: fuel follows the air, not the reading.
        rich = np.where(plan.pedal_frac > 0.8, limit, 1.0)
        by_air = np.where(plan.pedal_frac > 0.8, indicated, air)
        asked = by_air / (fuelling.air_fuel_ratio_stoich * rich)
    else:
        wanted = fuelling.demand_kg(plan.speed_rpm) * plan.pedal_frac**PEDAL_EXPONENT * strokes
        most = indicated / (fuelling.air_fuel_ratio_stoich * limit)
        governed = idle * plan.speed_rpm / engine.sweep.idle_rpm
        asked = np.minimum(np.maximum(wanted, governed), np.maximum(most, governed))
    return np.where(plan.running & ~plan.fuel_cut, asked, 0.0)


def _lambda(engine: EngineModel, inputs: Inputs, air: FloatArray, fuel: FloatArray) -> FloatArray:
    """Return true lambda, at the lean limit without fuel."""
    burnt = np.maximum(fuel * engine.fuelling.air_fuel_ratio_stoich, 1e-9)
    dry = air * (1.0 - specific_humidity(inputs))
    return np.where(fuel > 0.0, np.clip(dry / burnt, 0.6, LEAN_LIMIT), LEAN_LIMIT)


def _power(
    engine: EngineModel, plan: Schedule, charge: _Charge, fuel: FloatArray, lean: FloatArray
) -> FloatArray:
    """Return brake power: a Willans line that bends with lambda and speed. [W]"""
    combustion = engine.combustion
    if engine.spark:
        burnt = np.minimum(1.0, 1.0 - 0.9 * (1.0 - np.minimum(lean, 1.0)))
    else:
        burnt = 1.0 - 0.25 * np.exp(-4.0 * (lean - 0.8))
    away = plan.speed_rpm / combustion.best_speed_rpm - 1.0
    efficiency = combustion.efficiency_peak_frac * burnt * (1.0 - 0.045 * away**2)
    friction = combustion.friction_pa + combustion.friction_pa_per_krpm * plan.speed_rpm / 1e3
    lost = friction * engine.breathing.displacement_m3 * plan.speed_rpm / 120.0
    return np.asarray(fuel * engine.fuelling.heating_value_j_kg * efficiency - lost)
