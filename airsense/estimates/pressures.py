"""Absolute manifold pressure and the barometer, from whatever was logged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.run import ENGINE_OFF_RPM, on_grid
from airsense.logs.canon import CANON
from airsense.logs.log import Log
from airsense.physics.atmosphere import SEA_LEVEL_PA
from airsense.results import Assumption, Finding, Severity

# After key-off the manifold fills within this time; still pressure scatters by no more than this
# (our choice).
RUN_DOWN_S = 2.0
MIN_STILL_SAMPLES = 2
MAX_STILL_SPREAD_PA = 1_500.0
# Weather and altitude of an unknown place below 500 m: our choice.
U_ASSUMED_BAROMETER_PA = 3_000.0
# Weather between runs of one day or week where nobody logged it: our choice.
U_ASSUMED_BAROMETER_RUN_PA = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressures:
    """Manifold and ambient pressure. [Pa absolute]

    `ambient_source`: logged, engine off or assumed.
    """

    p_manifold_pa: FloatArray | None
    p_ambient_pa: float
    ambient_source: str
    from_gauge: bool
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]


def find_pressures(log: Log, time_s: FloatArray) -> Pressures:
    """Return absolute manifold pressure on the grid, with the ambient pressure in force.

    The barometer is, in this order: the logged one; the manifold pressure while the engine
    stands still; the standard atmosphere, as an assumption that the result carries.
    """
    ambient, source = _ambient(log)
    assumed = source == "assumed"
    findings: list[Finding] = []
    assumptions: list[Assumption] = []
    manifold = on_grid(log, "manifold_pressure", time_s)
    gauge = on_grid(log, "boost_pressure", time_s)
    from_gauge = manifold is None and gauge is not None
    if from_gauge and gauge is not None:
        manifold = gauge + ambient
    if assumed and manifold is not None:
        findings.append(_missing_barometer(log, from_gauge))
    if source != "logged":
        assumptions.append(
            Assumption(
                quantity=f"barometric pressure of {log.path}",
                value=f"{ambient / 1000:.1f} kPa",
                source="standard atmosphere at sea level, assumed"
                if assumed
                else "manifold pressure while the engine stood still",
            )
        )
    return Pressures(
        p_manifold_pa=manifold,
        p_ambient_pa=ambient,
        ambient_source=source,
        from_gauge=from_gauge,
        findings=tuple(findings),
        assumptions=tuple(assumptions),
    )


def _ambient(log: Log) -> tuple[float, str]:
    if "barometric_pressure" in log and log["barometric_pressure"].value.size:
        return float(np.median(log["barometric_pressure"].value)), "logged"
    still = _engine_off_pressure(log)
    if still is not None:
        return still, "engine off"
    return SEA_LEVEL_PA, "assumed"


def _engine_off_pressure(log: Log) -> float | None:
    """Return the manifold pressure of a standing engine, if it is steady and credible.

    While an engine runs down its throttle may shut and pull the pressure low, so only samples
    count that have a standing engine for a while before them.
    """
    if "manifold_pressure" not in log or "engine_speed" not in log:
        return None
    channel = log["manifold_pressure"]
    still = np.ones(channel.time_s.size, dtype=bool)
    for back_s in (0.0, 0.5 * RUN_DOWN_S, RUN_DOWN_S):
        at = np.maximum(channel.time_s - back_s, log["engine_speed"].time_s[0])
        still &= log.at("engine_speed", at) < ENGINE_OFF_RPM
    value = channel.value[still]
    if value.size < MIN_STILL_SAMPLES:
        return None
    low, middle, high = np.quantile(value, (0.1, 0.5, 0.9))
    quantity = CANON["barometric_pressure"]
    steady = high - low <= MAX_STILL_SPREAD_PA
    return float(middle) if steady and quantity.low <= middle <= quantity.high else None


def _missing_barometer(log: Log, from_gauge: bool) -> Finding:
    what = (
        "the absolute manifold pressure rests on it"
        if from_gauge
        else "only the pressure ratio of the compressor rests on it"
    )
    return Finding(
        code="missing_barometer",
        severity=Severity.WARNING if from_gauge else Severity.INFO,
        message=f"no barometric pressure was logged; the standard atmosphere is assumed; {what}",
        fix="log barometric pressure, or a few seconds with the ignition on and the engine still",
        where=log.path,
    )
