"""The parameters of an engine for the forward model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.setup.engine import (
    ChargeTemperature,
    Engine,
    EngineSetup,
    Fuel,
    Ignition,
    TemperaturePlace,
)

# What a user declares is never quite what is built in.
DECLARED_VOLUME_ERROR = 0.88
DECLARED_TIME_CONSTANT_ERROR = 1.25


@dataclass(frozen=True, slots=True)
class Curve:
    """A quantity against engine speed [rpm], linear between points, held outside them."""

    speed_rpm: tuple[float, ...]
    value: tuple[float, ...]

    def __call__(self, speed_rpm: FloatArray) -> FloatArray:
        """Return the value at each speed; any shape."""
        return np.interp(speed_rpm, self.speed_rpm, self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Breathing:
    """Cylinders and ports: volumetric efficiency and what moves it."""

    displacement_m3: float
    cylinders: int
    compression_ratio: float
    ve_frac: Curve
    ve_per_bar: float  # rise with manifold pressure above 2 bar
    ve_temperature_exponent: float  # hotter charge picks up less heat in the port
    egr_part_load_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargePath:
    """Filter and tube, cooler, and the volume between compressor and valves."""

    volume_m3: float
    depression_pa: float  # across filter and tube at the reference flow
    inlet_heating_k: float  # under-bonnet heating ahead of the compressor at the reference flow
    cooler_effectiveness: float  # at the reference flow
    cooler_heat_capacity_j_k: float
    cooler_to_ambient_w_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Turbo:
    """Compressor parabola, turbine ellipse, rotor inertia, and boost control with droop."""

    compressor_area_m2: float
    head_coefficient: float
    efficiency_peak_frac: float
    inertia_kg: float  # J / r^2 of the rotor at the tip of the compressor wheel
    turbine_efficiency_frac: float
    area_closed_m2: float
    area_open_m2: float
    bypass_frac: float  # 0: vanes, all gas drives the wheel; 1: added area passes it by
    opening: Curve  # feed-forward of the actuator
    droop_gain: float
    p_target_pa: Curve


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuelling:
    """How the controller sets fuel from the indicated air, and what the fuel is."""

    fuel_name: str
    air_fuel_ratio_stoich: float
    heating_value_j_kg: float
    demand_kg: Curve  # per stroke and cylinder at full pedal; compression ignition only
    lambda_full_load: Curve  # smoke limit (compression) or enrichment target (spark)
    trim_authority_frac: float
    trim_time_constant_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Combustion:
    """From fuel to crankshaft and exhaust."""

    efficiency_peak_frac: float
    best_speed_rpm: float
    friction_pa: float
    friction_pa_per_krpm: float
    exhaust_heat_frac: float
    back_pressure_pa: float  # behind the turbine at the reference flow


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensing:
    """Lags and places of the sensors."""

    film_lag_s: float
    film_delay_s: float
    thermistor_lag_s: float
    lambda_lag_s: float
    lambda_delay_s: float
    pulsation_frac: float  # over-reading at the start of the sweep with the first tube
    pulsation_decay_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The pull on the dynamometer."""

    start_rpm: float
    end_rpm: float
    lead_in_s: float
    settle_s: float
    duration_s: float
    lift_off_s: float
    cruise_pedal: float
    idle_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineModel:
    """All parameters of one invented engine.

    `reference_flow_kgps` and `reference_pressure_pa` are flow and charge pressure near rated
    power: leaks, restriction and shape effects are sized there.
    """

    name: str
    ignition: Ignition
    reference_flow_kgps: float
    reference_pressure_pa: float
    breathing: Breathing
    charge: ChargePath
    turbo: Turbo
    fuelling: Fuelling
    combustion: Combustion
    sensing: Sensing
    sweep: Sweep

    @property
    def spark(self) -> bool:
        """Whether a spark lights the charge."""
        return self.ignition is Ignition.SPARK

    def strokes_per_second(self, speed_rpm: FloatArray) -> FloatArray:
        """Return the working cycles of all cylinders a second. [1/s]"""
        return self.breathing.cylinders * speed_rpm / 120.0

    def fuelled(self, commanded_kgps: FloatArray, speed_rpm: FloatArray) -> FloatArray | float:
        """Return commanded fuel over that of the full-load map; 1 where a spark lights it."""
        if self.spark:
            return 1.0
        mapped = self.fuelling.demand_kg(speed_rpm) * self.strokes_per_second(speed_rpm)
        return np.divide(commanded_kgps, mapped, out=np.ones_like(mapped), where=mapped > 0.0)

    def setup(self, *, place: TemperaturePlace = TemperaturePlace.AFTER_COOLER) -> EngineSetup:
        """Return what a careful but fallible user would declare of this engine."""
        return EngineSetup(
            engine=Engine(
                name=self.name,
                displacement_l=round(self.breathing.displacement_m3 * 1e3, 3),
                cylinders=self.breathing.cylinders,
                ignition=self.ignition,
                charge_volume_l=round(self.charge.volume_m3 * 1e3 * DECLARED_VOLUME_ERROR, 1),
            ),
            fuel=Fuel(name=self.fuelling.fuel_name),
            charge_temperature=ChargeTemperature(
                place=place,
                time_constant_s=round(
                    self.sensing.thermistor_lag_s * DECLARED_TIME_CONSTANT_ERROR, 1
                ),
            ),
        )
