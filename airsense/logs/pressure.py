"""Gauge or absolute: by the header, by the unit and by how the pressure behaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.recognise import BY_USER, Match
from airsense.logs.words import words
from airsense.results import Finding, Severity
from airsense.units import ABSOLUTE, GAUGE, parse_unit

_TARGET = {ABSOLUTE: "manifold_pressure", GAUGE: "boost_pressure"}
_OTHER = {ABSOLUTE: GAUGE, GAUGE: ABSOLUTE}
_SURE_WORDS = {ABSOLUTE: {"absolute", "absolut"}, GAUGE: {"gauge", "relative", "relativ"}}
# A manifold pressure is an absolute one where nothing else is said, as in SAE J1979, PID 0B.
_HINT_WORDS = {ABSOLUTE: {"map", "manifold", "saugrohrdruck"}, GAUGE: {"boost"}}

# Warm idle of road engines is 600 to 1,000 rpm (common practice, no source).
_IDLE_RPM = 1100.0
# No engine idles with its manifold below 15 kPa absolute or boosted by more than 15 kPa
# (common practice, no source).
_BETWEEN_PA = 15e3
_STANDARD_PA = 101_325.0
# How near to the barometer, logged or at sea level, the lower end of an absolute pressure lies.
_NEAR_PA = 6e3
_NEAR_STANDARD_PA = 10e3
# For a verdict by air flow: samples, span of the pressure, and ratio of the scatters (our choice).
_FLOW_SAMPLES = 30
_FLOW_SPAN = 1.4
_FLOW_FACTOR = 1.6


@dataclass(frozen=True)
class Beside:
    """What was logged beside a pressure, at its sample times; shape (n,), NaN where unknown."""

    speed_rpm: FloatArray | None = None
    flow_kgps: FloatArray | None = None
    barometer_pa: float | None = None


def behaviour(p_pa: FloatArray, beside: Beside) -> str:
    """Tell from a pressure whether it is gauge or absolute; "" where it does not show.

    In order of weight: at idle a manifold is far from 0 Pa absolute and near it over the
    barometer; a pressure that goes to zero is gauge; air flow over speed follows the absolute
    pressure; a lower end at the barometer is absolute.

    Parameters
    ----------
    p_pa : ndarray, shape (n,)
        Pressure as read. [Pa] NaN ignored.
    beside : Beside
        Speed, air flow and barometer, as far as logged.
    """
    good = np.isfinite(p_pa)
    if good.sum() < 3:
        return ""
    if beside.speed_rpm is not None:
        idle = good & (beside.speed_rpm < _IDLE_RPM)
        if idle.sum() >= 5:
            return ABSOLUTE if float(np.median(p_pa[idle])) > _BETWEEN_PA else GAUGE
    lowest, low = (float(p) for p in np.percentile(p_pa[good], (1.0, 5.0)))
    if low < 0.5 * _BETWEEN_PA:
        return GAUGE
    by_flow = _by_flow(p_pa, beside)
    if by_flow:
        return by_flow
    near = _NEAR_PA if beside.barometer_pa is not None else _NEAR_STANDARD_PA
    barometer = _STANDARD_PA if beside.barometer_pa is None else beside.barometer_pa
    return ABSOLUTE if abs(lowest - barometer) < near else ""


def _by_flow(p_pa: FloatArray, beside: Beside) -> str:
    """Tell which reading makes air flow a steadier multiple of speed times pressure."""
    if beside.speed_rpm is None or beside.flow_kgps is None:
        return ""
    barometer = _STANDARD_PA if beside.barometer_pa is None else beside.barometer_pa
    with np.errstate(invalid="ignore"):
        use = (beside.speed_rpm > _IDLE_RPM) & (beside.flow_kgps > 0.0) & (p_pa > 0.0)
    if use.sum() < _FLOW_SAMPLES:
        return ""
    p = p_pa[use]
    if np.percentile(p, 90.0) < _FLOW_SPAN * np.percentile(p, 10.0):
        return ""
    breathing = np.log(beside.flow_kgps[use] / beside.speed_rpm[use])
    scatter = {
        kind: float(np.subtract(*np.percentile(breathing - np.log(p + shift), (84.0, 16.0))))
        for kind, shift in ((ABSOLUTE, 0.0), (GAUGE, barometer))
    }
    best = min(scatter, key=lambda kind: scatter[kind])
    return best if scatter[_OTHER[best]] > _FLOW_FACTOR * scatter[best] else ""


def declared(match: Match) -> tuple[str, bool]:
    """Return what header and unit say, and whether they say it outright."""
    unit = parse_unit(match.unit) if match.unit else None
    if unit is not None and unit.reference:
        return unit.reference, True
    if match.recognised_by == BY_USER:
        return (ABSOLUTE if match.name == "manifold_pressure" else GAUGE), True
    found = set(words(match.header))
    for kind, sure in _SURE_WORDS.items():
        if found & sure:
            return kind, True
    hints = [kind for kind, hint in _HINT_WORDS.items() if found & hint]
    return (hints[0], False) if len(hints) == 1 else ("", False)


def settle_reference(
    match: Match, p_pa: FloatArray, beside: Beside, *, where: str
) -> tuple[str, Finding | None]:
    """Return the canonical channel of a pressure: manifold (absolute) or boost (gauge).

    Raises
    ------
    InputError
        If header and behaviour contradict each other outright, or neither tells.
    """
    said, outright = declared(match)
    shown = behaviour(p_pa, beside)
    stated = f'to state it: [channels] {_TARGET[shown or said or ABSOLUTE]} = "{match.header}"'
    if said and not shown and not outright:
        return _TARGET[said], Finding(
            code="pressure_reference",
            severity=Severity.INFO,
            message=f"{match.header!r} is taken as {said} pressure by its name; the values "
            f"({_span(p_pa)}) do not show it",
            fix=stated,
            where=f"column {match.header!r}",
        )
    if said and (not shown or shown == said):
        return _TARGET[said], None
    if shown and not outright:
        return _TARGET[shown], Finding(
            code="pressure_reference",
            severity=Severity.WARNING if said else Severity.INFO,
            message=f"{match.header!r} behaves as {shown} pressure ({_span(p_pa)})"
            + (f", though its header suggests {said}" if said else "; its header does not say"),
            fix=stated,
            where=f"column {match.header!r}",
        )
    raise InputError(
        "header and values of a pressure contradict each other"
        if shown
        else "pressure may be gauge or absolute",
        where=f"{where}, column {match.header!r}",
        got=_span(p_pa) + (f"; the header says {said}" if said else ""),
        allowed="absolute pressure as manifold_pressure, gauge pressure as boost_pressure",
        fix=f'say which in engine.toml: [channels] manifold_pressure = "{match.header}" '
        "(absolute), or boost_pressure (gauge)"
        if not shown
        else f"the values look {shown}: correct the header or unit, or the sensor's offset",
    )


def _span(p_pa: FloatArray) -> str:
    if not np.isfinite(p_pa).any():
        return "no values"
    return f"{np.nanmin(p_pa) / 1e3:.1f} to {np.nanmax(p_pa) / 1e3:.1f} kPa"
