"""One time step of all runs.

States of a run: air mass and temperature of the charge volume, squared tip speed of the
compressor wheel, temperature of the cooler's metal, of the thermistor and of the air ahead of
the compressor, compressor inlet pressure, exhaust temperature and pressure, actuator opening,
hot-film and lambda-sensor lags, and the fuel trim of a spark engine. The stiff one, charge
mass, is marched by a linearly implicit Euler step, the others explicitly.

Model forms: filling and emptying with the two-factor volumetric efficiency of Guzzella and
Onder, Introduction to Modeling and Control of Internal Combustion Engine Systems, ch. 2 (from
memory); turbine flow by Stodola's ellipse; a parabola at each tip speed for the compressor (our
choice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import Inputs
from tests.simulate.sensor import shape_frac
from tests.simulate.state import R_AIR, first_state
from tests.simulate.surroundings import specific_humidity, speed_and_pedal

# Handbook values of air, vapour and exhaust gas, in two to four digits.
VAPOUR_GAS_CONSTANT_RATIO = 1.608
CP_AIR = 1006.0
GAMMA = 1.4
K_AIR = (GAMMA - 1.0) / GAMMA
R_EXHAUST = 288.0
CP_EXHAUST = 1150.0
K_EXHAUST = R_EXHAUST / CP_EXHAUST
# Invented: losses, references, lags and limits of the model.
BEARING_FRAC = 0.97
RHO_REFERENCE = 1.16
P_VE_PA = 2.0e5
T_VE_K = 330.0
T_EGR_K = 390.0
IDLE_FUEL_KG = 3.0e-6
LAMBDA_SPAN = (0.65, 10.0)
ACTUATOR_LAG_S = 0.12
INERTANCE_LAG_S = 0.03
EXHAUST_LAG_S = 0.2
INLET_HEAT_LAG_S = 4.0
INTEGRAL_WITHIN = 0.06  # of the target
PULSATION_BOOST = 0.5  # boost over ambient at which pulsation is full
SURGE_FLOOR = 0.0015  # the parabola ends just above zero flow


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Flows, pressures and temperatures of one step; every entry of shape (n,)."""

    p_manifold_pa: FloatArray
    depression_pa: FloatArray
    mdot_compressor_kgps: FloatArray
    mdot_engine_kgps: FloatArray
    mdot_leak_kgps: FloatArray
    mdot_sensor_kgps: FloatArray
    power_compressor_w: FloatArray
    t_mixed_k: FloatArray


class Stepper:
    """The states of all runs and the rule that advances them."""

    def __init__(self, engine: EngineModel, inputs: Inputs, step_s: float) -> None:
        self.engine = engine
        self.inputs = inputs
        self.dt = step_s
        self.state = first_state(engine, inputs)
        vapour = specific_humidity(inputs)
        self.dry_frac = 1.0 - vapour
        self.r_air = R_AIR * (1.0 + (VAPOUR_GAS_CONSTANT_RATIO - 1.0) * vapour)
        rho_ambient = inputs.p_ambient_pa / (self.r_air * inputs.t_ambient_k)
        flow, pressure = engine.reference_flow_kgps, engine.reference_pressure_pa
        self.loss = engine.charge.depression_pa * inputs.restriction * RHO_REFERENCE / flow**2
        self.loss = self.loss / rho_ambient
        self.leak = inputs.leak_after * flow / np.sqrt(pressure * (pressure - 101325.0))
        self.cooler_units = -float(np.log1p(-engine.charge.cooler_effectiveness))

    def step(self, time_s: float) -> History:
        """Advance all states to `time_s` and return what they are there, as one row."""
        speed, pedal = speed_and_pedal(self.engine, self.inputs, time_s)
        p_exhaust = self.state.p_exhaust_pa
        air = self._air(speed, pedal)
        reading = self._sensors(air, speed)
        commanded = self._fuel(speed, pedal)
        fuel = commanded * self.inputs.delivery
        lambda_true = self._lambda(air, fuel, speed, pedal)
        power = self._power(air, fuel, lambda_true, speed)
        self._exhaust(air, fuel, lambda_true)
        self._boost(air, speed, pedal, commanded)
        state = self.state
        return History(
            time_s=np.array([time_s]),
            speed_rpm=speed,
            pedal_frac=pedal,
            p_manifold_pa=air.p_manifold_pa,
            p_exhaust_pa=p_exhaust,
            p_depression_pa=air.depression_pa,
            t_charge_k=state.t_charge_k,
            t_thermistor_k=state.t_thermistor_k,
            t_intake_k=state.t_inlet_k,
            mdot_sensor_kgps=air.mdot_sensor_kgps,
            mdot_compressor_kgps=air.mdot_compressor_kgps,
            mdot_engine_kgps=air.mdot_engine_kgps,
            mdot_leak_kgps=air.mdot_leak_kgps,
            stored_kg=state.mass_kg,
            reading_frac=reading,
            mdot_indicated_kgps=state.indicated_kgps,
            mdot_fuel_kgps=fuel,
            mdot_fuel_commanded_kgps=commanded,
            lambda_true=lambda_true,
            lambda_sensor=state.lambda_sensor,
            power_w=power,
        )

    def _share(self, time_constant_s: float) -> float:
        """Return how far a first-order lag goes towards its target in one step."""
        return -float(np.expm1(-self.dt / time_constant_s))

    def _throttle(self, pedal: FloatArray) -> FloatArray | float:
        """Return manifold over charge-pipe pressure; only a spark engine is throttled."""
        if not self.engine.spark:
            return 1.0
        return 0.35 + 0.64 * np.clip(pedal / 0.9, 0.0, 1.0)

    def _air(self, speed: FloatArray, pedal: FloatArray) -> Air:
        """Compressor, cooler, volume and cylinders; the mass balance closes to rounding."""
        state, dt, volume = self.state, self.dt, self.engine.charge.volume_m3
        p = state.mass_kg * self.r_air * state.t_charge_k / volume
        head, through, inflow, slope = self._compressor(p)
        throttle = self._throttle(pedal)
        outflow, t_mixed = self._cylinders(speed, pedal, p * throttle)
        leak = self.leak * np.sqrt(np.maximum(p * (p - self.inputs.p_ambient_pa), 0.0))
        change = dt * (inflow - outflow - leak)
        change = change / (1.0 - dt * (slope * p - outflow) / state.mass_kg)
        inflow = inflow + slope * p / state.mass_kg * change
        outflow = outflow * (1.0 + change / state.mass_kg)
        t_out, power = self._cooler(inflow, head, through)
        t_charge = state.t_charge_k
        warming = inflow * (GAMMA * t_out - t_charge) - (outflow + leak) * (GAMMA - 1.0) * t_charge
        state.t_charge_k = t_charge + dt * warming / state.mass_kg
        state.mass_kg = state.mass_kg + change
        depression, sensor = self._inlet(inflow)
        return Air(
            p_manifold_pa=throttle * state.mass_kg * self.r_air * state.t_charge_k / volume,
            depression_pa=depression,
            mdot_compressor_kgps=inflow,
            mdot_engine_kgps=outflow,
            mdot_leak_kgps=leak,
            mdot_sensor_kgps=sensor,
            power_compressor_w=power,
            t_mixed_k=t_mixed,
        )

    def _compressor(self, p: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return isentropic head [J/kg], relative flow, flow [kg/s] and its slope in pressure."""
        state, turbo = self.state, self.engine.turbo
        enthalpy = CP_AIR * state.t_inlet_k
        ratio_k = (p / state.p_inlet_pa) ** K_AIR
        head = enthalpy * (ratio_k - 1.0)
        room = state.tip_speed_sq - 2.0 / turbo.head_coefficient * head
        room = np.maximum(room, SURGE_FLOOR * state.tip_speed_sq)
        rho = state.p_inlet_pa / (self.r_air * state.t_inlet_k)
        flow = rho * turbo.compressor_area_m2 * np.sqrt(room)
        slope = -flow / room * enthalpy * K_AIR * ratio_k / (p * turbo.head_coefficient)
        return head, np.sqrt(room / state.tip_speed_sq), flow, slope

    def _cooler(
        self, inflow: FloatArray, head: FloatArray, through: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return temperature behind the cooler [K] and compressor power [W]; heat its metal."""
        state, engine, dt = self.state, self.engine, self.dt
        efficiency = engine.turbo.efficiency_peak_frac - 0.9 * (through - 0.5) ** 2
        work = head / np.maximum(efficiency, 0.4)
        t_hot = state.t_inlet_k + work / CP_AIR
        # Conductance rises about as flow^0.6, so the units of transfer fall as flow^-0.4.
        relative = np.maximum(inflow / engine.reference_flow_kgps, 0.02)
        units = self.cooler_units * relative**-0.4
        given = (1.0 - np.exp(-units)) * (t_hot - state.t_cooler_k)
        lost = engine.charge.cooler_to_ambient_w_k * (state.t_cooler_k - self.inputs.t_ambient_k)
        heat = inflow * CP_AIR * given - lost
        state.t_cooler_k = state.t_cooler_k + dt * heat / engine.charge.cooler_heat_capacity_j_k
        return t_hot - given, inflow * work

    def _cylinders(
        self, speed: FloatArray, pedal: FloatArray, p_manifold: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return fresh air into the cylinders [kg/s] and mixed charge temperature [K]."""
        state, inputs, breathing = self.state, self.inputs, self.engine.breathing
        part_load = np.clip((0.75 - pedal) / 0.3, 0.0, 1.0) * np.clip(pedal / 0.1, 0.0, 1.0)
        egr = np.maximum(breathing.egr_part_load_frac * part_load, inputs.egr)
        t_mixed = state.t_charge_k + egr * (T_EGR_K - state.t_charge_k)
        ratio = breathing.compression_ratio
        residual = (ratio - (state.p_exhaust_pa / p_manifold) ** 0.75) / (ratio - 1.0)
        moved = residual * (1.0 + breathing.ve_per_bar * (p_manifold - P_VE_PA) / 1e5)
        moved = moved * (t_mixed / T_VE_K) ** breathing.ve_temperature_exponent
        ve = breathing.ve_frac(speed) * inputs.ve * (1.0 + inputs.ve_drift * (moved - 1.0))
        volume_rate = breathing.displacement_m3 * speed / 120.0
        total = ve * p_manifold * volume_rate / (self.r_air * t_mixed)
        return total * (1.0 - egr), t_mixed

    def _inlet(self, inflow: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return depression [Pa] and flow through the sensor [kg/s]; move the inlet states."""
        state, inputs, charge = self.state, self.inputs, self.engine.charge
        depression = np.maximum(inputs.p_ambient_pa - state.p_inlet_pa, 0.0)
        # The gap of a loose joint opens with depression, so its share of the flow grows.
        share = inputs.leak_before * np.sqrt(depression / charge.depression_pa)
        sensor = inflow * (1.0 - share)
        target = inputs.p_ambient_pa - self.loss * sensor * np.abs(sensor)
        state.p_inlet_pa = state.p_inlet_pa + self._share(INERTANCE_LAG_S) * (
            target - state.p_inlet_pa
        )
        relative = np.maximum(inflow / self.engine.reference_flow_kgps, 0.06)
        warm = inputs.t_ambient_k + charge.inlet_heating_k / np.sqrt(relative)
        state.t_inlet_k = state.t_inlet_k + self._share(INLET_HEAT_LAG_S) * (warm - state.t_inlet_k)
        return depression, sensor

    def _sensors(self, air: Air, speed: FloatArray) -> FloatArray:
        """Move hot film and thermistor; return the static reading over true flow."""
        state, inputs, sensing = self.state, self.inputs, self.engine.sensing
        slow = np.exp(
            -np.maximum(speed - self.engine.sweep.start_rpm, 0.0) / sensing.pulsation_decay_rpm
        )
        loaded = np.clip(
            (air.p_manifold_pa / inputs.p_ambient_pa - 1.0) / PULSATION_BOOST, 0.0, 1.0
        )
        slow = slow * np.where(inputs.pulsation_by_load > 0.0, loaded, 1.0)
        shape = shape_frac(self.engine, inputs.skew_shape, air.mdot_sensor_kgps)
        reading = inputs.reading * (1.0 + shape) * (1.0 + inputs.pulsation * slow)
        shown = np.minimum(reading * air.mdot_sensor_kgps, inputs.maf_ceiling_kgps)
        state.indicated_kgps = state.indicated_kgps + self._share(sensing.film_lag_s) * (
            shown - state.indicated_kgps
        )
        state.t_thermistor_k = state.t_thermistor_k + self._share(sensing.thermistor_lag_s) * (
            state.t_charge_k - state.t_thermistor_k
        )
        return reading

    def _fuel(self, speed: FloatArray, pedal: FloatArray) -> FloatArray:
        """Return the commanded fuel [kg/s]: what the controller makes of the indicated air."""
        fuelling = self.engine.fuelling
        strokes = self.engine.strokes_per_second(speed)
        by_air = self.state.indicated_kgps / fuelling.air_fuel_ratio_stoich
        wanted = self._wanted_lambda(speed, pedal)
        if self.engine.spark:
            fuel = by_air / wanted * (1.0 + self.state.trim)
            return np.where(pedal < 0.05, IDLE_FUEL_KG * strokes, fuel)
        demand = np.maximum(
            fuelling.demand_kg(speed) * pedal * self.inputs.fuel_demand, IDLE_FUEL_KG
        )
        return np.minimum(demand * strokes, by_air / wanted)

    def _wanted_lambda(self, speed: FloatArray, pedal: FloatArray) -> FloatArray:
        """Return the smoke limit, or the mixture that a spark engine asks for."""
        full_load = self.engine.fuelling.lambda_full_load(speed)
        return np.where(pedal > 0.6, full_load, 1.0) if self.engine.spark else full_load

    def _lambda(
        self, air: Air, fuel: FloatArray, speed: FloatArray, pedal: FloatArray
    ) -> FloatArray:
        """Return true lambda; move its sensor and, on a spark engine, the fuel trim."""
        state, fuelling = self.state, self.engine.fuelling
        true = air.mdot_engine_kgps * self.dry_frac / (fuel * fuelling.air_fuel_ratio_stoich)
        state.lambda_sensor = state.lambda_sensor + self._share(
            self.engine.sensing.lambda_lag_s
        ) * (np.clip(true, *LAMBDA_SPAN) - state.lambda_sensor)
        if self.engine.spark:
            self._trim(speed, pedal)
        return true

    def _trim(self, speed: FloatArray, pedal: FloatArray) -> None:
        """Move the slow correction that the lambda sensor may make, within its authority."""
        state, fuelling = self.state, self.engine.fuelling
        error = state.lambda_sensor / self._wanted_lambda(speed, pedal) - 1.0
        moved = state.trim + self.dt / fuelling.trim_time_constant_s * error
        limit = fuelling.trim_authority_frac
        state.trim = np.where(pedal < 0.05, state.trim, np.clip(moved, -limit, limit))

    def _power(
        self, air: Air, fuel: FloatArray, lambda_true: FloatArray, speed: FloatArray
    ) -> FloatArray:
        """Return brake power [W]: indicated less friction and pumping."""
        engine, combustion = self.engine, self.engine.combustion
        if engine.spark:
            burnt = np.clip(1.06 * np.minimum(lambda_true, 1.0) - 0.02, 0.0, 1.0)
        else:
            burnt = 1.0 - 0.35 * np.exp(-4.5 * (np.clip(lambda_true, 0.7, 10.0) - 0.75))
        away = (speed - combustion.best_speed_rpm) / combustion.best_speed_rpm
        efficiency = combustion.efficiency_peak_frac * burnt * (1.0 - 0.05 * away**2)
        volume_rate = engine.breathing.displacement_m3 * speed / 120.0
        friction = combustion.friction_pa + combustion.friction_pa_per_krpm * speed / 1000.0
        pumping = self.state.p_exhaust_pa - air.p_manifold_pa
        gross = fuel * engine.fuelling.heating_value_j_kg * efficiency
        return gross - (friction + pumping) * volume_rate

    def _exhaust(self, air: Air, fuel: FloatArray, lambda_true: FloatArray) -> None:
        """Move exhaust temperature and pressure, and drive the turbine."""
        state, engine, turbo = self.state, self.engine, self.engine.turbo
        gas = air.mdot_engine_kgps + fuel
        released = fuel * engine.fuelling.heating_value_j_kg * np.minimum(lambda_true, 1.0)
        hotter = engine.combustion.exhaust_heat_frac * released / (gas * CP_EXHAUST)
        state.t_exhaust_k = state.t_exhaust_k + self._share(EXHAUST_LAG_S) * (
            air.t_mixed_k + hotter - state.t_exhaust_k
        )
        relative = gas / engine.reference_flow_kgps
        p_out = self.inputs.p_ambient_pa + engine.combustion.back_pressure_pa * relative**2
        area = turbo.area_closed_m2 + (turbo.area_open_m2 - turbo.area_closed_m2) * state.opening
        # Stodola's ellipse, solved for the pressure ahead of the turbine.
        reduced = gas * np.sqrt(R_EXHAUST * state.t_exhaust_k) / (area * p_out)
        expansion = np.sqrt(1.0 + reduced**2)
        state.p_exhaust_pa = p_out * expansion
        driving = 1.0 - turbo.bypass_frac * (1.0 - turbo.area_closed_m2 / area)
        drop = CP_EXHAUST * state.t_exhaust_k * (1.0 - expansion**-K_EXHAUST)
        power = driving * gas * drop * turbo.turbine_efficiency_frac * BEARING_FRAC
        net = (power - air.power_compressor_w) / (0.5 * turbo.inertia_kg)
        state.tip_speed_sq = np.maximum(state.tip_speed_sq + self.dt * net, 60.0**2)

    def _boost(self, air: Air, speed: FloatArray, pedal: FloatArray, commanded: FloatArray) -> None:
        """Move the actuator: feed-forward in speed, proportional in pressure, so it droops.

        Where the law holds its target, an integral takes the droop away; it rests while the
        actuator is at a stop or the pedal up, or spool-up would wind it.
        """
        turbo, state, inputs = self.engine.turbo, self.state, self.inputs
        fuelled = self.engine.fuelled(commanded, speed)
        target = inputs.boost_target_pa(turbo.p_target_pa(speed), fuelled, state.p_inlet_pa)
        excess = air.p_manifold_pa / target - 1.0
        asked = turbo.opening(speed) + turbo.droop_gain * excess + state.opening_trim
        wanted = np.clip(asked, 0.0, 1.0)
        free = (asked == wanted) & (pedal > 0.9) & (np.abs(excess) < INTEGRAL_WITHIN)
        state.opening_trim = state.opening_trim + np.where(
            free, self.dt * inputs.boost_integral_per_s * excess, 0.0
        )
        state.opening = state.opening + self._share(ACTUATOR_LAG_S) * (wanted - state.opening)
