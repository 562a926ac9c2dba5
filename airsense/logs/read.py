"""Read one log file: recognise, convert, settle, and keep each channel's own time base."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.logs.canon import CANON
from airsense.logs.csv_file import open_csv
from airsense.logs.infer import infer_unit
from airsense.logs.log import Channel, Log
from airsense.logs.pressure import settle_reference
from airsense.logs.recognise import Match, recognise
from airsense.logs.source import Table
from airsense.logs.timebase import Timing, tidy_time
from airsense.results import Finding
from airsense.units import signal_unit, to_si

FloatArray = NDArray[np.float64]
_PRESSURES = ("manifold_pressure", "boost_pressure")


def read_log(path: str | Path, *, channels: Mapping[str, str] | None = None) -> Log:
    """Read a log file into SI channels, each on its own time base.

    Parameters
    ----------
    path : str or Path
        CSV or TSV text from any logger.
    channels : mapping, optional
        Canonical name -> header, where recognition needs help; a unit may stand in brackets
        behind the header.

    Returns
    -------
    Log
        Time starts at 0 s at the first row. What was left out or assumed is in `findings`.

    Raises
    ------
    InputError
        If the file holds no log, or a needed channel is ambiguous or lacks a unit.
    """
    file = Path(path)
    where = str(path)
    source = open_csv(where, lambda: file.open("rb"))
    recognition = recognise(source.headers, channels, where=where)
    tables = source.load(recognition.matches)
    findings = list(recognition.findings)
    kept: dict[str, Channel] = {}
    origin = min((_first_time(t) for t in tables), default=0.0)
    for table in tables:
        timing = tidy_time(table)
        findings.extend((*table.findings, *timing.findings))
        kept.update(_channels(table, timing, recognition.matches, origin, findings, where))
    used = {channel.header for channel in kept.values()}
    time = recognition.matches.get("time")
    return Log(
        path=where,
        reader="csv",
        sha256=_digest(file),
        channels=kept,
        ignored=tuple(
            h.text
            for i, h in enumerate(source.headers)
            if h.text and h.text not in used and (time is None or i != time.column)
        ),
        findings=tuple(findings),
        started=next((t.clock.started for t in tables if t.clock.started), None),
    )


def _first_time(table: Table) -> float:
    finite = table.clock.time_s[np.isfinite(table.clock.time_s)]
    return float(finite[0]) if finite.size else 0.0


def _channels(
    table: Table,
    timing: Timing,
    matches: Mapping[str, Match],
    origin: float,
    findings: list[Finding],
    where: str,
) -> dict[str, Channel]:
    here = [m for m in matches.values() if m.column in table.columns]
    values: dict[str, tuple[Match, FloatArray]] = {}
    for match in here:
        converted = _convert(match, table.columns[match.column], findings, where)
        if converted is not None:
            values[match.name] = converted
    values = _settle_pressures(values, findings, where)
    return {
        name: _channel(name, match, value, timing, origin)
        for name, (match, value) in values.items()
    }


def _convert(
    match: Match, raw: FloatArray, findings: list[Finding], where: str
) -> tuple[Match, FloatArray] | None:
    unit: str | None = match.unit
    if not unit:
        if not np.isfinite(raw).any():
            return match, raw
        unit, finding = infer_unit(match, raw, where=where)
        findings.append(finding)
        if unit is None:
            return None
    canonical = CANON[match.name].unit or signal_unit(unit) or ""
    place = f"{where}, column {match.header!r}"
    return (
        Match(match.column, match.header, match.name, unit, match.recognised_by, match.rank),
        to_si(raw, unit, canonical, where=place),
    )


def _settle_pressures(
    values: dict[str, tuple[Match, FloatArray]], findings: list[Finding], where: str
) -> dict[str, tuple[Match, FloatArray]]:
    speed = values["engine_speed"][1] if "engine_speed" in values else None
    settled = {name: pair for name, pair in values.items() if name not in _PRESSURES}
    for name in _PRESSURES:
        if name not in values or not np.isfinite(values[name][1]).any():
            continue
        match, p_pa = values[name]
        target, finding = settle_reference(match, p_pa, speed, where=where)
        if finding is not None:
            findings.append(finding)
        if target in settled:
            raise InputError(
                f"two columns stand for {target}",
                where=where,
                got=f"{settled[target][0].header!r} and {match.header!r}",
                allowed="one column, or a choice in engine.toml",
                fix=f'add to engine.toml: [channels] {target} = "{match.header}"',
            )
        settled[target] = (match, p_pa)
    return settled


def _channel(name: str, match: Match, value: FloatArray, timing: Timing, origin: float) -> Channel:
    keep = timing.keep & np.isfinite(value)
    kept = value[keep]
    return Channel(
        name=name,
        header=match.header,
        unit_read=match.unit,
        time_s=timing.time_s[keep] - origin,
        value=kept,
        recognised_by=match.recognised_by,
        resolution=_resolution(kept),
    )


def _resolution(value: FloatArray) -> float:
    """Return the smallest step that the channel takes: its digit. 0.0 if it never moves."""
    levels = np.unique(value)
    if levels.size < 2:
        return 0.0
    steps = np.diff(levels)
    real = steps[steps > 1e-9 * max(abs(float(levels[0])), abs(float(levels[-1])))]
    return float(f"{real.min():.6g}") if real.size else 0.0


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
