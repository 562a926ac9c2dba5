"""The sensor's raw signal in a log, in the unit of the table, and what the table makes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray, spans
from airsense.errors import InputError
from airsense.logs.log import Channel, Log
from airsense.results import Finding, Severity
from airsense.transfer.model import SignalKind, TransferTable
from airsense.units import Unit, convert, converts, parse_unit

# The log's own flow and the table's may differ by rounding and by the delay of one sample.
MISMATCH = 0.02
# A sensor at its limit repeats one value; so many in a row do not happen by chance.
FLAT_RUN = 5
MIN_SHARE_INSIDE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalLog:
    """A log whose air flow is what the table makes of the signal, with findings on it."""

    log: Log
    findings: tuple[Finding, ...]


def through_table(log: Log, table: TransferTable) -> SignalLog:
    """Return the log with its air flow read through the table in force.

    The raw signal is used where it was logged. Otherwise the logged flow stands for it, since
    the table turns each into the other. Samples at the table's end or at a flat top of the
    sensor are left out.

    Raises
    ------
    InputError
        If neither was logged, or the signal does not fit the table.
    """
    if "maf_signal" in log:
        channel = log["maf_signal"]
        flow = table.flow_at(in_table_unit(channel, table, log.path))
        flow, findings = _inside(flow, channel, table, log.path)
        findings += _mismatch(log, channel.time_s, flow)
    elif "mass_air_flow" in log:
        channel = log["mass_air_flow"]
        top = float(np.max(table.flow_kgps))
        flow = np.where(channel.value <= top * (1.0 + 1e-3), channel.value, np.nan)
        _require_inside(np.isfinite(flow), channel, table, log.path)
        flow = np.minimum(flow, top)
        flow, findings = _inside(flow, channel, table, log.path)
    else:
        raise InputError(
            "the log has neither the sensor's signal nor its air flow",
            where=log.path,
            got=", ".join(sorted(log.channels)),
            allowed="maf_signal (V, Hz, us or counts) or mass_air_flow",
            fix="log one of them, or name its column in [channels] of engine.toml",
        )
    keep = np.isfinite(flow)
    through = Channel(
        name="mass_air_flow",
        header=channel.header,
        unit_read=channel.unit_read,
        time_s=channel.time_s[keep],
        value=flow[keep],
        recognised_by=channel.recognised_by,
        resolution=_flow_resolution(channel, table),
    )
    channels = {**log.channels, "mass_air_flow": through}
    return SignalLog(log=replace(log, channels=channels), findings=tuple(findings))


def in_table_unit(channel: Channel, table: TransferTable, where: str) -> FloatArray:
    """Return the signal in the unit of the table; a period is the inverse of a frequency.

    Raises
    ------
    InputError
        If the logged unit measures something else, or most of the signal lies outside the table.
    """
    unit = parse_unit(channel.unit_read) if channel.unit_read else None
    values = channel.value
    if unit is not None:
        values = _converted(values, unit, table.kind, f"{where}, column {channel.header}")
    low, high = np.min(table.signal), np.max(table.signal)
    _require_inside((values >= low) & (values <= high), channel, table, where)
    return values


def _require_inside(
    inside: NDArray[np.bool_], channel: Channel, table: TransferTable, where: str
) -> None:
    share = float(np.mean(inside)) if inside.size else 0.0
    if share >= MIN_SHARE_INSIDE:
        return
    low, high = np.min(table.signal), np.max(table.signal)
    top = float(np.max(table.flow_kgps)) / table.flow_factor
    raise InputError(
        "the logged signal does not fit the transfer table",
        where=f"{where}, column {channel.header}",
        got=f"{100.0 * share:.0f} % of the samples inside the table",
        allowed=f"a signal between {low:g} and {high:g} {table.kind.value}, a flow up to {top:g} "
        f"{table.flow_unit}",
        fix="check that table and log are of the same sensor, and the unit in both headers",
    )


def _converted(values: FloatArray, unit: Unit, kind: SignalKind, where: str) -> FloatArray:
    if kind is SignalKind.COUNTS and unit.expression == "count":
        return values
    if kind is not SignalKind.COUNTS and converts(unit, kind.value):
        return convert(values, unit, kind.value)
    with np.errstate(divide="ignore"):
        if kind is SignalKind.PERIOD and unit.expression in {"hertz", "kilohertz"}:
            return np.asarray(1e6 / convert(values, unit, "Hz"))
        if kind is SignalKind.FREQUENCY and converts(unit, "s"):
            return np.asarray(1.0 / convert(values, unit, "s"))
    raise InputError(
        "the unit of the logged signal is not that of the transfer table",
        where=where,
        got=unit.text,
        allowed=f"a unit that converts to {kind.value}",
        fix="log the raw signal that the table is over, or give the table over that signal",
    )


def _inside(
    flow: FloatArray, channel: Channel, table: TransferTable, where: str
) -> tuple[FloatArray, list[Finding]]:
    """Mask what lies beyond the table or on a flat top, and say so."""
    findings = []
    beyond = ~np.isfinite(flow)
    with np.errstate(invalid="ignore"):
        at_end = flow >= np.max(table.flow_kgps) * (1.0 - 1e-9)
    out = int(np.count_nonzero(beyond | at_end))
    if out:
        findings.append(
            Finding(
                code="table_end",
                severity=Severity.WARNING,
                message=f"{out} of {flow.size} samples lie at or beyond the end of the table; "
                "they are no measurement and are left out",
                fix="extend the table beyond the highest signal, or use a wider tube",
                where=where,
            )
        )
    flat = _flat_top(channel.value)
    if np.any(flat):
        findings.append(
            Finding(
                code="sensor_ceiling",
                severity=Severity.WARNING,
                message=f"{int(np.count_nonzero(flat))} samples sit on a flat top at "
                f"{float(np.max(channel.value)):g}; the sensor or its input is at its limit",
                fix="leave the range above to another sensor or a wider tube",
                where=where,
            )
        )
    return np.where(beyond | at_end | flat, np.nan, flow), findings


def _flat_top(values: FloatArray) -> NDArray[np.bool_]:
    """Mark runs of at least `FLAT_RUN` samples that equal the largest value."""
    flat = np.zeros(values.size, dtype=bool)
    for start, stop in spans(values == np.max(values, initial=-np.inf)):
        if stop - start >= FLAT_RUN:
            flat[start:stop] = True
    return flat


def _mismatch(log: Log, time_s: FloatArray, flow: FloatArray) -> list[Finding]:
    """Compare the table's flow with the logged one: were the logs made with this table?"""
    if "mass_air_flow" not in log:
        return []
    with np.errstate(invalid="ignore", divide="ignore"):
        difference = np.log(log.at("mass_air_flow", time_s) / flow)
    difference = difference[np.isfinite(difference)]
    middle = float(np.median(difference)) if difference.size else 0.0
    if abs(middle) < MISMATCH:
        return []
    return [
        Finding(
            code="other_table_in_force",
            severity=Severity.WARNING,
            message=f"the logged air flow is {100.0 * np.expm1(middle):+.1f} % off what this table "
            "makes of the signal: the logs were taken with another table, or the controller "
            "corrects the flow afterwards; the signal and this table are used",
            fix="give the table that was in force, if the new one is to be made from it",
            where=log.path,
        )
    ]


def _flow_resolution(channel: Channel, table: TransferTable) -> float:
    """Return the step of the flow that one step of the signal makes, in mid table."""
    if channel.name == "mass_air_flow":
        return channel.resolution
    order = np.argsort(table.signal)
    step = np.diff(table.signal[order])
    slope = np.abs(np.diff(table.flow_kgps[order])[step > 0.0] / step[step > 0.0])
    return float(np.median(slope) * channel.resolution)
