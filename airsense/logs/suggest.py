"""Columns that nobody recognised but that look like a useful channel, by unit and range."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.assemble import assemble
from airsense.logs.canon import CANON
from airsense.logs.container import open_container
from airsense.logs.headers import Header, readings
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.logs.recognise import recognise
from airsense.logs.registry import open_source
from airsense.results import Finding, Severity
from airsense.units import converts, parse_unit

# A column is read once more for a look: not from a log of this size.
MOST_BYTES = 20_000_000
ENOUGH = 20
CODE = "looks_like"


@dataclass(frozen=True, slots=True)
class Look:
    """What a channel looks like in SI: ends of its middle 90 %, and least share that it moves."""

    low: float
    high: float
    moves: tuple[float, float] = (0.0, np.inf)

    def fits(self, value: FloatArray) -> bool:
        """Return whether the values of a column could be it."""
        low, middle, high = np.percentile(value, (5.0, 50.0, 95.0))
        moved = (high - low) / max(abs(middle), 1e-12)
        return bool(
            self.low <= low and high <= self.high and self.moves[0] <= moved <= self.moves[1]
        )


# Ranges of road engines that are driven for a test (common practice, no source). Where a column
# could be two of them, nothing is suggested.
LOOKS: Mapping[str, Look] = {
    "engine_speed": Look(500.0, 9_000.0, (0.02, np.inf)),
    "mass_air_flow": Look(1.5e-3, 1.5, (0.02, np.inf)),
    "fuel_mass_flow": Look(5e-5, 0.03),
    "manifold_pressure": Look(20e3, 500e3, (0.03, np.inf)),
    "barometric_pressure": Look(75e3, 107e3, (0.0, 0.02)),
    "charge_temperature": Look(275.0, 400.0, (0.03, np.inf)),
    "intake_temperature": Look(245.0, 330.0, (0.0, 0.025)),
    "fuel_per_stroke": Look(2e-6, 2e-4),
    "brake_power": Look(-30e3, 1.5e6, (0.1, np.inf)),
}
# A flow above this is air, one that stays below it fuel. [kg/s]
AIR_FROM = 0.03


def read_logs(
    paths: Iterable[str | Path], channels: Mapping[str, str | Sequence[str]] | None
) -> list[Log]:
    """Read logs as `read_log` does, and suggest what their ignored columns could be.

    Parameters
    ----------
    paths : iterable of str or Path
    channels : mapping, optional
        [channels] that are in force.

    Returns
    -------
    list of Log
        Logs with the same columns are looked at once: the first of them has the finding.

    Raises
    ------
    InputError
        As `read_log`.
    """
    seen: set[tuple[str, ...]] = set()
    logs = []
    for path in paths:
        log = read_log(path, channels=channels)
        if log.ignored not in seen:
            seen.add(log.ignored)
            found = _suggested(path, log, channels)
            told = (_finding(found, log.path, channels),) if found else ()
            log = replace(log, findings=(*log.findings, *told))
        logs.append(log)
    return logs


def or_suggested(findings: Iterable[Finding], fix: str) -> str:
    """Return the lines to paste that findings suggest, else the remedy of a missing channel."""
    return next((f.fix for f in findings if f.code == CODE), fix)


def _suggested(
    path: str | Path, log: Log, declared: Mapping[str, str | Sequence[str]] | None
) -> dict[str, str]:
    """Return channel -> header for each ignored column that looks like one the log lacks."""
    if Path(path).is_file() and Path(path).stat().st_size > MOST_BYTES:
        return {}
    lacking = [name for name in LOOKS if name not in log and not _served(name, log)]
    pairs = [(h, name) for h in log.ignored for name in lacking if _unit_fits(h, name)]
    fitting: dict[str, list[tuple[str, FloatArray]]] = {}
    for header, name, value in _read_as(path, pairs, declared) if pairs else ():
        if value.size >= ENOUGH and LOOKS[name].fits(value):
            fitting.setdefault(header, []).append((name, value))
    found: dict[str, list[str]] = {}
    for header, names in fitting.items():
        for name, _ in _settled(names):
            found.setdefault(name, []).append(header)
    return {name: headers[0] for name, headers in found.items() if len(headers) == 1}


def _read_as(
    path: str | Path,
    pairs: Sequence[tuple[str, str]],
    declared: Mapping[str, str | Sequence[str]] | None,
) -> Iterator[tuple[str, str, FloatArray]]:
    """Yield header, channel and SI values of columns, each read as a channel, in one look."""
    where = str(path)
    _, source = open_source(open_container(path))
    with closing(source):
        plain = recognise(source.headers, declared, where=where)
        named = []
        for header, name in pairs:
            with suppress(InputError):
                chosen = {**(declared or {}), name: header}
                named.append((header, name, recognise(source.headers, chosen, where=where)))
        asked = tuple(known.matches[name] for _, name, known in named)
        # Rivals are columns that are loaded beside those recognised.
        tables = source.load(replace(plain, rivals={**plain.rivals, "": asked}))
    for header, name, known in named:
        with suppress(InputError):
            channels = assemble(tables, known, where=where).channels
            if name in channels:
                yield header, name, channels[name].value


def _served(name: str, log: Log) -> bool:
    """Return whether another channel tells the same."""
    others: Mapping[str, Sequence[str]] = {
        "mass_air_flow": ("air_per_stroke",),
        "fuel_mass_flow": ("fuel_per_stroke", "fuel_volume_flow"),
        "fuel_per_stroke": ("fuel_mass_flow", "fuel_volume_flow"),
        "manifold_pressure": ("boost_pressure",),
        "brake_power": ("wheel_power", "brake_torque", "power_corrected"),
    }
    return any(other in log for other in others.get(name, ()))


def _unit_fits(header: str, name: str) -> bool:
    for reading in readings(Header(header)):
        unit = parse_unit(reading.unit) if reading.unit else None
        if unit is not None and converts(unit, CANON[name].unit):
            return True
    return False


def _settled(fitting: Sequence[tuple[str, FloatArray]]) -> list[tuple[str, FloatArray]]:
    """Return the one channel that a column can be; two flows are told by their size."""
    names = {name for name, _ in fitting}
    if names == {"mass_air_flow", "fuel_mass_flow"}:
        air = float(np.percentile(fitting[0][1], 95.0)) > AIR_FROM
        return [f for f in fitting if f[0] == ("mass_air_flow" if air else "fuel_mass_flow")]
    return list(fitting) if len(fitting) == 1 else []


def _finding(
    found: Mapping[str, str], where: str, declared: Mapping[str, object] | None
) -> Finding:
    looks = ", ".join(f"{header!r} like {name}" for name, header in found.items())
    place = "below [channels] in engine.toml:" if declared else "to engine.toml:\n[channels]"
    # A string of JSON is one of TOML.
    lines = "\n".join(
        f"{name} = {json.dumps(header, ensure_ascii=False)}" for name, header in found.items()
    )
    return Finding(
        code=CODE,
        severity=Severity.INFO,
        message=f"not recognised, but by unit and range of use: {looks}",
        fix=f"where columns are what they look like by unit and range, add {place}\n{lines}",
        where=where,
    )
