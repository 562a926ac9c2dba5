"""In which system of units logs are written, so that answers come in the reader's own."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.logs.log import Log
from airsense.units import parse_unit

SI, US = "si", "us"
_TELLING = frozenset(
    {
        "mass_air_flow",
        "manifold_pressure",
        "boost_pressure",
        "charge_temperature",
        "intake_temperature",
        "ambient_temperature",
        "brake_power",
        "brake_torque",
        "vehicle_speed",
    }
)
_US_UNITS = frozenset(
    {
        "pound/minute",
        "pound/hour",
        "pound/second",
        "psi",
        "inch_Hg",
        "degF",
        "horsepower",
        "foot*pound_force",
        "mile/hour",
    }
)


def own_units(logs: Iterable[Log]) -> str:
    """Return 'us' if most channels whose unit tells are written in US units, else 'si'."""
    votes = [
        unit.expression in _US_UNITS
        for log in logs
        for name in _TELLING & log.channels.keys()
        if (unit := parse_unit(log[name].unit_read)) is not None
    ]
    return US if 2 * sum(votes) > len(votes) else SI
