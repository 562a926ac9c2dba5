"""The canonical channels: name, SI unit inside airsense, and plausible range."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.reference import reference_rows


@dataclass(frozen=True, slots=True)
class Quantity:
    """A canonical channel: its unit inside airsense (pint spelling) and its credible range."""

    name: str
    unit: str
    low: float
    high: float


CANON = {
    row["name"]: Quantity(row["name"], row["unit"], float(row["low"]), float(row["high"]))
    for row in reference_rows("channels.csv")
}

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
# Of the charge, absolute or gauge.
PRESSURES = ("manifold_pressure", "boost_pressure")
