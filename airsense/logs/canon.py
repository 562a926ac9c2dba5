"""The canonical channels: name, SI unit inside airsense, and plausible range."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """A canonical channel: its unit inside airsense (pint spelling) and its credible range."""

    name: str
    unit: str
    low: float
    high: float


_ROWS = (
    Quantity("time", "s", -1e12, 1e12),
    Quantity("engine_speed", "rpm", 0.0, 25_000.0),
    Quantity("manifold_pressure", "Pa", 5e3, 1.2e6),
    Quantity("boost_pressure", "Pa", -1.1e5, 1.1e6),
    Quantity("barometric_pressure", "Pa", 4.5e4, 1.15e5),
    Quantity("charge_temperature", "K", 220.0, 520.0),
    Quantity("intake_temperature", "K", 220.0, 420.0),
    Quantity("ambient_temperature", "K", 210.0, 340.0),
    Quantity("relative_humidity", "1", 0.0, 1.0),
    Quantity("mass_air_flow", "kg/s", 0.0, 5.0),
    Quantity("maf_signal", "", -1e9, 1e9),  # in V, Hz, us or count: see units.signal_unit
    Quantity("air_per_stroke", "kg", 0.0, 0.05),
    Quantity("fuel_mass_flow", "kg/s", 0.0, 0.5),
    Quantity("fuel_volume_flow", "m3/s", 0.0, 1e-3),
    Quantity("fuel_per_stroke", "kg", 0.0, 5e-3),
    Quantity("fuel_volume_per_stroke", "m3", 0.0, 5e-6),  # mm3/stroke: needs a fuel density
    Quantity("lambda", "1", 0.3, 40.0),
    Quantity("exhaust_oxygen", "1", 0.0, 0.22),
    Quantity("exhaust_carbon_dioxide", "1", 0.0, 0.25),
    Quantity("egr_rate", "1", 0.0, 0.9),
    Quantity("brake_power", "W", -5e5, 3e6),
    Quantity("brake_torque", "N*m", -3e3, 2e4),
    Quantity("inlet_depression", "Pa", -3e4, 3e4),
    Quantity("turbo_speed", "rpm", 0.0, 4e5),
    Quantity("throttle", "1", -0.05, 1.2),
    Quantity("pedal", "1", -0.05, 1.2),
    Quantity("vehicle_speed", "m/s", 0.0, 140.0),
    Quantity("coolant_temperature", "K", 220.0, 430.0),
    # Absolute; one that reads as gauge is made absolute where the barometer is known.
    Quantity("boost_demand", "Pa", -1.1e5, 1.2e6),
    Quantity("wastegate", "1", -0.05, 1.2),
    Quantity("wheel_power", "W", -5e5, 3e6),
    Quantity("wheel_torque", "N*m", -3e3, 5e4),
    Quantity("power_corrected", "W", -5e5, 3e6),  # shown only: to which weather is not known
    Quantity("fuel_trim_short", "1", -0.6, 0.6),  # 0.05: 5 % more fuel than by the air
    Quantity("fuel_trim_long", "1", -0.6, 0.6),
    Quantity("injector_time", "s", 0.0, 0.1),
)

CANON = {row.name: row for row in _ROWS}

# One phrase can stand for several quantities; the unit tells which.
BY_UNIT = {
    "mass_air_flow": ("air_per_stroke", "maf_signal"),
    "air_per_stroke": ("mass_air_flow",),
    "fuel_mass_flow": ("fuel_volume_flow", "fuel_per_stroke", "fuel_volume_per_stroke"),
    "fuel_volume_flow": ("fuel_mass_flow",),
    "fuel_per_stroke": ("fuel_volume_per_stroke", "fuel_mass_flow", "fuel_volume_flow"),
    "fuel_volume_per_stroke": ("fuel_per_stroke",),
    "vehicle_speed": ("engine_speed",),
}

# Without these a job cannot go on, so two equal headers are refused; of the others the first is
# taken and a finding says so.
BLOCKING = frozenset((
    "time", "engine_speed", "manifold_pressure", "boost_pressure", "barometric_pressure",
    "charge_temperature", "intake_temperature", "mass_air_flow", "maf_signal",
    "air_per_stroke", "fuel_mass_flow", "fuel_volume_flow", "fuel_per_stroke",
    "fuel_volume_per_stroke", "lambda",
))  # fmt: skip
