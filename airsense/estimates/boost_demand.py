"""The demanded boost pressure as an absolute pressure, and power measured at the wheels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.pressures import Pressures
from airsense.estimates.run import on_grid
from airsense.logs.log import Channel, Log
from airsense.logs.words import words
from airsense.results import Assumption, Finding, Severity
from airsense.setup.engine import Engine
from airsense.units import ABSOLUTE, GAUGE, parse_unit

_SAYS = {
    "absolute": ABSOLUTE, "absolut": ABSOLUTE, "gauge": GAUGE, "relative": GAUGE, "relativ": GAUGE,
}  # fmt: skip
# A demand whose middle value is below this share of the barometer is gauge, where neither header
# nor measured pressure tells; so is one that goes below zero (our choice).
GAUGE_BELOW = 0.6
# Only where the engine is boosted above this share of the barometer does the measured pressure
# tell; it tells if one reading is nearer to it by this factor (our choice).
BOOSTED = 1.15
NEARER_BY = 2.5
MIN_BOOSTED_SAMPLES = 10
# Brake mean effective pressure that no engine on a road car's dynamometer exceeds: a wheel torque
# above it is that of the axle, multiplied by the gears (common practice, no source).
MAX_BMEP_PA = 4.5e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Demanded manifold pressure on the grid [Pa absolute]; None where it was not logged."""

    p_demand_pa: FloatArray | None
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelPower:
    """Power at the wheels on the grid [W]; None where nothing was logged that gives it."""

    power_w: FloatArray | None
    findings: tuple[Finding, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def find_boost_demand(log: Log, time_s: FloatArray, pressures: Pressures) -> Demand:
    """Return the demanded boost pressure, made absolute with the barometer where it is gauge.

    In order of weight: header or unit say so; it lies by the measured manifold pressure in one
    of the two readings; its middle value is far below the barometer. NaN where not logged.
    """
    read = on_grid(log, "boost_demand", time_s)
    if read is None:
        return Demand(p_demand_pa=None)
    channel = log["boost_demand"]
    kind, reason = _reference(channel, read, pressures)
    if kind == ABSOLUTE:
        return Demand(p_demand_pa=read)
    note = Assumption(
        quantity="boost demand",
        value=f"{channel.header!r} is gauge: {pressures.p_ambient_pa / 1e3:.1f} kPa added",
        source=f"{reason}; barometer {pressures.ambient_source}",
    )
    return Demand(p_demand_pa=read + pressures.p_ambient_pa, assumptions=(note,))


def _reference(channel: Channel, read: FloatArray, pressures: Pressures) -> tuple[str, str]:
    unit = parse_unit(channel.unit_read) if channel.unit_read else None
    if unit is not None and unit.reference:
        return unit.reference, "its unit says so"
    said = next((_SAYS[w] for w in words(channel.header) if w in _SAYS), "")
    if said:
        return said, "its header says so"
    nearer = _by_measured(read, pressures)
    if nearer:
        return nearer, "so it lies by the measured manifold pressure"
    low, middle = np.nanpercentile(read, (5.0, 50.0))
    gauge = low < 0.0 or middle < GAUGE_BELOW * pressures.p_ambient_pa
    return (GAUGE if gauge else ABSOLUTE), "its values are too low for an absolute pressure"


def _by_measured(read: FloatArray, pressures: Pressures) -> str:
    """Tell which reading of a demand lies by the measured pressure of a boosted engine."""
    if pressures.p_manifold_pa is None:
        return ""
    measured = pressures.p_manifold_pa
    with np.errstate(invalid="ignore"):
        use = (measured > BOOSTED * pressures.p_ambient_pa) & np.isfinite(read)
    if np.count_nonzero(use) < MIN_BOOSTED_SAMPLES:
        return ""
    off = {
        kind: abs(float(np.median(read[use] + shift - measured[use])))
        for kind, shift in ((ABSOLUTE, 0.0), (GAUGE, pressures.p_ambient_pa))
    }
    best, other = sorted(off, key=lambda kind: off[kind])
    return best if off[other] > NEARER_BY * off[best] else ""


def find_wheel_power(
    log: Log, time_s: FloatArray, speed_rpm: FloatArray, engine: Engine
) -> WheelPower:
    """Return power at the wheels: logged, or wheel torque times engine speed. [W]

    Dynamometers print wheel torque referred to the engine, so that it is power over engine speed;
    a torque that is too large for the engine is that of the axle and is not used.
    """
    power = on_grid(log, "wheel_power", time_s)
    if power is not None:
        return WheelPower(power_w=power)
    torque = on_grid(log, "wheel_torque", time_s)
    if torque is None or not np.isfinite(torque).any():
        return WheelPower(power_w=None)
    work = 2.0 * np.pi / engine.cycles_per_rev
    if float(np.nanpercentile(torque, 99.0)) * work / engine.displacement_m3 > MAX_BMEP_PA:
        return WheelPower(power_w=None, findings=(_axle_torque(log),))
    note = Assumption(
        quantity="wheel torque",
        value="referred to engine speed",
        source="as dynamometers print it (common practice, no source)",
    )
    return WheelPower(power_w=torque * speed_rpm * (2.0 * np.pi / 60.0), assumptions=(note,))


def _axle_torque(log: Log) -> Finding:
    return Finding(
        code="wheel_torque_of_the_axle",
        severity=Severity.INFO,
        message=f"{log['wheel_torque'].header!r} is larger than the engine can turn: it is the "
        "torque at the axle, multiplied by the gears; not used",
        fix="log wheel power, or torque referred to engine speed",
        where=log.path,
    )
