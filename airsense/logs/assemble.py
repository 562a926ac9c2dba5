"""Tables of raw columns -> channels: units, true sample times, reference, faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.logs.banks import ADDED, are_banks, says_bank
from airsense.logs.canon import CANON, PRESSURES
from airsense.logs.infer import infer_unit
from airsense.logs.log import Channel
from airsense.logs.polling import find_polling
from airsense.logs.pressure import Beside, settle_reference
from airsense.logs.quality import Samples, inspect
from airsense.logs.recognise import BY_USER, Match, Recognition, ambiguous
from airsense.logs.source import Table
from airsense.logs.timebase import readable, tidy_time
from airsense.results import Finding, Severity
from airsense.units import AFR_SCALE, parse_unit, signal_unit, to_si

# Two columns of one quantity are the same to rounding; units stand in one of the first rows.
_SAME_SHARE = 5e-3
_MAX_START_ROWS = 200
# Every n-th value of a long log shows its digits as well as all of them.
MAX_LEVEL_SAMPLES = 50_000
# Far beyond anything credible, and its square is still a number.
LARGEST = 1e150


@dataclass(frozen=True)
class Assembly:
    """The channels of a log, the columns they came from, and what was found on the way."""

    channels: Mapping[str, Channel]
    columns: frozenset[int]
    findings: tuple[Finding, ...]


def assemble(tables: Sequence[Table], recognition: Recognition, *, where: str) -> Assembly:
    """Turn the tables of one log into channels.

    Raises
    ------
    InputError
        If a needed unit is missing or wrong, a pressure's reference cannot be told, or two
        different columns stand equally for one channel.
    """
    findings: list[Finding] = list(recognition.findings)
    origin = min((_first_time(t) for t in tables), default=0.0)
    gathered: dict[str, tuple[Match, Samples]] = {}
    for table in tables:
        for match, samples in _gather(table, recognition, origin, findings, where):
            if match.name in gathered:
                raise ambiguous(match.name, (gathered[match.name][0], match), where)
            gathered[match.name] = (match, samples)
    speed = gathered["engine_speed"][1] if "engine_speed" in gathered else None
    settled = _settle_pressures(gathered, findings, where)
    channels: dict[str, Channel] = {}
    columns: set[int] = set()
    for match, samples in settled:
        channel = _finish(match, samples, speed, findings, where)
        if channel is not None:
            channels[channel.name] = channel
            columns.add(match.column)
    return Assembly(channels, frozenset(columns), tuple(findings))


def _first_time(table: Table) -> float:
    times = table.clock.time_s[readable(table.clock.time_s)]
    return float(times[0]) if times.size else np.inf


def _gather(
    table: Table, recognition: Recognition, origin: float, findings: list[Finding], where: str
) -> list[tuple[Match, Samples]]:
    """Convert the columns of one table and keep the rows that are samples."""
    timing = tidy_time(table, where=where)
    polling = find_polling(table)
    findings.extend((*table.findings, *timing.findings, *polling.findings))
    findings.extend(_empty_start(table))
    if table.clock.assumed:
        findings.append(_time_unit_assumed(table))
    time_s = timing.time_s - origin
    out = []
    for match in recognition.matches.values():
        if match.column not in table.columns:
            continue
        converted = _convert(match, table.columns[match.column], findings, where)
        if converted is None:
            continue
        match_read, value = converted
        value = _with_rivals(match_read, value, table, recognition, findings, where)
        keep = timing.keep & np.isfinite(value)
        if match.column in polling.refreshed:
            keep &= polling.refreshed[match.column]
        if match.column in polling.held:
            findings.append(_held(match, polling.held[match.column], int(keep.sum())))
        kept, time_kept, line = _take(keep, value, time_s, table.line)
        samples = Samples(
            name=match.name,
            header=match.header,
            unit=match_read.unit,
            time_s=time_kept,
            value=kept,
            line=line,
            resolution=resolution(_credible(kept, match.name)),
        )
        out.append((match_read, samples))
    return out


def _take(keep: NDArray[np.bool_], *arrays: NDArray[Any]) -> tuple[NDArray[Any], ...]:
    """Return the kept part of each array; the array itself, uncopied, where all is kept."""
    return arrays if keep.all() else tuple(array[keep] for array in arrays)


def _credible(value: FloatArray, name: str) -> FloatArray:
    """Return the values that can be: the digits of the rest say nothing of the channel."""
    limits = CANON[name]
    outside = (value < limits.low) | (value > limits.high)
    return value[~outside] if outside.any() else value


def _convert(
    match: Match, raw: FloatArray, findings: list[Finding], where: str
) -> tuple[Match, FloatArray] | None:
    unit: str | None = match.unit
    if not np.isfinite(raw).any():
        findings.append(_empty_column(match))
        return None
    if not unit:
        unit, finding = infer_unit(match, raw, where=where)
        if (match.name, unit) != ("lambda", "1"):  # which has no unit to be written
            findings.append(finding)
        if unit is None:
            return None
    read = parse_unit(unit)
    if match.name == "lambda" and read is not None and read.expression == "afr_point":
        findings.append(_afr(match))
    canonical = CANON[match.name].unit or signal_unit(unit) or ""
    place = f"{where}, column {match.header!r}"
    with np.errstate(over="ignore"):
        value = to_si(raw, unit, canonical, where=place)
    if np.isinf(value).any():
        # A number too large for its unit stays one, so that it is counted as impossible.
        beyond = np.isinf(value) & np.isfinite(raw)
        value = np.where(beyond, np.copysign(LARGEST, value), value)
    return replace(match, unit=unit), value


def _with_rivals(
    match: Match,
    value: FloatArray,
    table: Table,
    recognition: Recognition,
    findings: list[Finding],
    where: str,
) -> FloatArray:
    """Add the other banks of an air flow; a second column of anything else must be the same."""
    for rival in recognition.rivals.get(match.name, ()):
        other = (
            _convert(rival, table.columns[rival.column], [], where)
            if (rival.column in table.columns)
            else None
        )
        same = other is not None and np.allclose(
            other[1], value, rtol=_SAME_SHARE, atol=0.0, equal_nan=True
        )
        if other is not None and _adds(match, rival):
            value = value + other[1]
            findings.append(_banks_added(match, rival))
        elif same:
            findings.append(_used_once(match, rival))
        else:
            raise ambiguous(match.name, (match, rival), where)
    return value


def _adds(match: Match, rival: Match) -> bool:
    """Return whether two columns are the shares of two banks, and not one written twice."""
    if match.name != ADDED:
        return False
    by_name = are_banks(match.header, rival.header) and says_bank(match.header)
    return match.recognised_by == BY_USER or by_name


def _banks_added(match: Match, rival: Match) -> Finding:
    return Finding(
        code="banks_added",
        severity=Severity.INFO,
        message=f"{match.name} is the sum of {match.header!r} and {rival.header!r}, one a bank",
        fix=f'if one of them holds all of the air: [channels] {match.name} = "{match.header}"',
        where=f"column {match.header!r}",
    )


def _used_once(match: Match, rival: Match) -> Finding:
    return Finding(
        code="duplicate_column",
        severity=Severity.INFO,
        message=f"{rival.header!r} (column {rival.column + 1}) repeats {match.header!r}; used once",
        fix="none needed",
        where=f"column {match.header!r}",
    )


def _settle_pressures(
    gathered: Mapping[str, tuple[Match, Samples]], findings: list[Finding], where: str
) -> list[tuple[Match, Samples]]:
    settled = {name: pair for name, pair in gathered.items() if name not in PRESSURES}
    barometer = gathered.get("barometric_pressure")
    for name in PRESSURES:
        if name not in gathered:
            continue
        match, samples = gathered[name]
        beside = Beside(
            _at(gathered.get("engine_speed"), samples.time_s),
            _at(gathered.get("mass_air_flow"), samples.time_s),
            float(np.median(barometer[1].value)) if barometer else None,
        )
        target, finding = settle_reference(match, samples.value, beside, where=where)
        if finding is not None:
            findings.append(finding)
        if target in settled:
            raise ambiguous(target, (settled[target][0], match), where)
        settled[target] = (match, replace(samples, name=target))
    return list(settled.values())


def _at(pair: tuple[Match, Samples] | None, time_s: FloatArray) -> FloatArray | None:
    if pair is None or pair[1].time_s.size < 2:
        return None
    return np.interp(time_s, pair[1].time_s, pair[1].value, left=np.nan, right=np.nan)


def _finish(
    match: Match, samples: Samples, speed: Samples | None, findings: list[Finding], where: str
) -> Channel | None:
    keep, faults = inspect(samples, speed, where=where)
    findings.extend(faults)
    if not keep.any():
        return None
    time_s, value = _take(keep, samples.time_s, samples.value)
    return Channel(
        name=samples.name,
        header=samples.header,
        unit_read=samples.unit,
        time_s=time_s,
        value=value,
        recognised_by=match.recognised_by,
        resolution=samples.resolution,
    )


def resolution(value: FloatArray) -> float:
    """Return the smallest step that a channel takes: its last digit. 0.0 if it never moves."""
    levels = np.unique(value[:: value.size // MAX_LEVEL_SAMPLES + 1])
    if levels.size < 2:
        return 0.0
    steps = np.diff(levels)
    real = steps[steps > 1e-9 * max(abs(float(levels[0])), abs(float(levels[-1])))]
    return float(f"{real.min():.6g}") if real.size else 0.0


def _empty_start(table: Table) -> list[Finding]:
    filled = [np.isfinite(values) for values in table.columns.values()]
    firsts = [int(np.argmax(f)) for f in filled if f.any()]
    last = max(firsts, default=0)
    if not 0 < last <= _MAX_START_ROWS:
        return []
    return [
        Finding(
            code="start_rows_partly_empty",
            severity=Severity.INFO,
            message=f"the first {last} rows are partly empty; each channel starts with its first "
            "value",
            fix="none needed",
            where=f"{table.place} {int(table.line[0])}",
        )
    ]


def _held(match: Match, period: float, kept: int) -> Finding:
    return Finding(
        code="held_values",
        severity=Severity.INFO,
        message=f"{match.header!r} is refreshed about every {period:.3g} rows and held in between; "
        f"its {kept} refreshed samples are kept",
        fix="none needed",
        where=f"column {match.header!r}",
    )


def _time_unit_assumed(table: Table) -> Finding:
    return Finding(
        code="time_unit_assumed",
        severity=Severity.INFO,
        message=f"the time column names no unit; its steps are credible only in {table.clock.unit}",
        fix="write the unit behind the header: time [s]",
        where=f"{table.place} {int(table.line[0])}" if table.line.size else "",
    )


def _empty_column(match: Match) -> Finding:
    return Finding(
        code="empty_channel",
        severity=Severity.WARNING,
        message=f"{match.header!r} ({match.name}) holds no numbers; not used",
        fix="check whether the logger supports this signal",
        where=f"column {match.header!r}",
    )


def _afr(match: Match) -> Finding:
    return Finding(
        code="afr_scale_assumed",
        severity=Severity.WARNING,
        message=f"{match.header!r} is an air-fuel ratio; taken as lambda x {AFR_SCALE}, the scale "
        "that displays ship with whatever the fuel",
        fix="log lambda itself, or check the scale of the display",
        where=f"column {match.header!r}",
    )
