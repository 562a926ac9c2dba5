"""The unit of a channel that names none: only if its values admit exactly one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.canon import BLOCKING
from airsense.logs.recognise import Match
from airsense.results import Finding, Severity
from airsense.units import unit_examples


@dataclass(frozen=True, slots=True)
class Credible:
    """Bounds of the middle and of the top of a log in one unit (common practice, no source)."""

    unit: str
    middle: tuple[float, float]
    top: tuple[float, float]


_FRACTION = (Credible("1", (-0.05, 1.05), (0.02, 1.2)), Credible("%", (-5.0, 105.0), (2.0, 120.0)))
_TEMPERATURE = (
    Credible("degC", (-40.0, 130.0), (-40.0, 200.0)),
    Credible("degF", (-40.0, 270.0), (-40.0, 400.0)),
    Credible("K", (233.0, 403.0), (233.0, 473.0)),
)
_CREDIBLE: dict[str, tuple[Credible, ...]] = {
    "engine_speed": (
        Credible("rpm", (300.0, 12_000.0), (500.0, 20_000.0)),
        Credible("Hz", (5.0, 150.0), (10.0, 200.0)),
    ),
    "manifold_pressure": (
        Credible("kPa", (20.0, 400.0), (60.0, 600.0)),
        Credible("psi", (3.0, 58.0), (9.0, 87.0)),
        Credible("bar", (0.2, 4.0), (0.6, 6.0)),
        Credible("mbar", (200.0, 4000.0), (600.0, 6000.0)),
    ),
    "boost_demand": (
        Credible("kPa", (60.0, 450.0), (80.0, 600.0)),
        Credible("psi", (8.7, 58.0), (11.6, 87.0)),
        Credible("bar", (0.6, 4.5), (0.8, 6.0)),
        Credible("mbar", (600.0, 4500.0), (800.0, 6000.0)),
    ),
    # Only steps of whole per cents tell a trim from a fraction.
    "fuel_trim_short": (Credible("%", (-40.0, 40.0), (1.0, 60.0)),),
    "fuel_trim_long": (Credible("%", (-40.0, 40.0), (1.0, 60.0)),),
    "injector_time": (Credible("ms", (0.3, 60.0), (0.5, 90.0)),),
    "barometric_pressure": (
        Credible("kPa", (60.0, 110.0), (60.0, 110.0)),
        Credible("psi", (8.7, 16.0), (8.7, 16.0)),
        Credible("bar", (0.6, 1.1), (0.6, 1.1)),
        Credible("mbar", (600.0, 1100.0), (600.0, 1100.0)),
        Credible("inHg", (17.7, 32.5), (17.7, 32.5)),
    ),
    "mass_air_flow": (
        Credible("g/s", (1.0, 900.0), (5.0, 2000.0)),
        Credible("kg/h", (3.6, 3240.0), (18.0, 7200.0)),
        Credible("lb/min", (0.13, 119.0), (0.66, 265.0)),
    ),
    "lambda": (
        Credible("1", (0.6, 8.0), (0.7, 40.0)),
        Credible("AFR", (9.0, 60.0), (10.0, 600.0)),
    ),
    "charge_temperature": _TEMPERATURE,
    "intake_temperature": _TEMPERATURE,
    "ambient_temperature": _TEMPERATURE,
    "coolant_temperature": _TEMPERATURE,
    "throttle": _FRACTION,
    "pedal": _FRACTION,
    "wastegate": _FRACTION,
    "relative_humidity": _FRACTION,
    "egr_rate": _FRACTION,
}


def infer_unit(match: Match, values: FloatArray, *, where: str) -> tuple[str | None, Finding]:
    """Return the one credible unit of a channel, or None where a job can do without it.

    Raises
    ------
    InputError
        If none or more than one unit is credible for a channel that a job needs.
    """
    finite = values[:: values.size // 20_000 + 1]
    finite = finite[np.isfinite(finite)]
    credible = [c.unit for c in _CREDIBLE.get(match.name, ()) if _admits(c, finite)]
    place = f"column {match.header!r}"
    if len(credible) == 1:
        return credible[0], Finding(
            code="unit_assumed",
            severity=Severity.INFO,
            message=f"{match.header!r} names no unit; only {credible[0]} makes its values credible",
            fix=f'to state it: [channels] {match.name} = "{match.header} [{credible[0]}]"',
            where=place,
        )
    choice = credible[0] if credible else unit_examples("").split(",")[0]
    if match.name in BLOCKING:
        raise InputError(
            f"unit of {match.name} is missing",
            where=f"{where}, {place}",
            got=_range(finite) + (f"; credible: {', '.join(credible)}" if credible else ""),
            allowed="a unit in brackets behind the header, in a second row, or in engine.toml",
            fix=f'add to engine.toml: [channels] {match.name} = "{match.header} [{choice}]"',
        )
    return None, Finding(
        code="unit_missing",
        severity=Severity.WARNING,
        message=f"{match.header!r} names no unit and its values ({_range(finite)}) do not tell; "
        "not used",
        fix=f'[channels] {match.name} = "{match.header} [unit]"',
        where=place,
    )


def _admits(candidate: Credible, values: FloatArray) -> bool:
    moving = values[values != 0.0] if np.any(values != 0.0) else values
    if not moving.size:
        return False
    middle, top = np.percentile(moving, (50.0, 99.0))
    return bool(
        candidate.middle[0] <= middle <= candidate.middle[1]
        and candidate.top[0] <= top <= candidate.top[1]
    )


def _range(values: FloatArray) -> str:
    if not values.size:
        return "no values"
    return f"values from {values.min():g} to {values.max():g}"
