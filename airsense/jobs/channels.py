"""What a log holds: recognised channels with unit, rate and range; what is ignored; findings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

import airsense
from airsense.logs.canon import CANON
from airsense.logs.log import Channel, Log
from airsense.logs.suggest import read_logs
from airsense.logs.vocabulary import WORDINGS
from airsense.results import Finding, Presented, Severity
from airsense.setup.load import load_engine
from airsense.units import from_si, signal_unit

# As many as a line holds.
NAMES_SHOWN = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelRow:
    """One recognised channel.

    `low`, `high` and `resolution` are in `unit`; with `_read` they are in the unit of the log.
    """

    header: str
    name: str
    recognised_by: str
    unit_read: str
    unit: str
    samples: int
    rate_hz: float
    low: float
    high: float
    resolution: float
    low_read: float
    high_read: float
    resolution_read: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownRow:
    """A channel that can be recognised: its canonical unit, and names that are understood."""

    name: str
    unit: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelsResult(Presented):
    """The answer of `airsense channels`; `log` is empty where only `known` was asked for."""

    log: str
    reader: str
    sha256: str
    started: str | None
    duration_s: float
    channels: tuple[ChannelRow, ...]
    ignored: tuple[str, ...]
    findings: tuple[Finding, ...]
    known: tuple[KnownRow, ...] = ()
    schema: str = "airsense.channels/1"
    version: str = airsense.__version__


def run(log_file: str | Path, engine_file: str | Path | None = None) -> ChannelsResult:
    """Read a log and list what was recognised.

    Raises
    ------
    InputError
        If the log or the setup cannot be used.
    """
    declared = load_engine(engine_file).channels if engine_file is not None else None
    (log,) = read_logs([log_file], declared)
    start, end = log.span_s
    return ChannelsResult(
        log=log.path,
        reader=log.reader,
        sha256=log.sha256,
        started=log.started,
        duration_s=end - start,
        channels=channel_rows(log),
        ignored=log.ignored,
        findings=(
            *log.findings,
            *_missing_barometer(log),
        ),
        known=_known(),
    )


def run_without_log() -> ChannelsResult:
    """Return what can be recognised, without a log."""
    return ChannelsResult(
        log="",
        reader="",
        sha256="",
        started=None,
        duration_s=0.0,
        channels=(),
        ignored=(),
        findings=(),
        known=_known(),
    )


def _known() -> tuple[KnownRow, ...]:
    phrases: dict[str, list[str]] = {name: [] for name in CANON}
    for wording in WORDINGS:
        phrases[wording.name].append(wording.phrase)
    return tuple(
        KnownRow(
            name=name,
            unit=CANON[name].unit,
            names=tuple(found[:NAMES_SHOWN]),
        )
        for name, found in phrases.items()
        if found
    )


def _missing_barometer(log: Log) -> tuple[Finding, ...]:
    """Say here what the other jobs say where it matters to them."""
    if "barometric_pressure" in log:
        return ()
    return (
        Finding(
            code="missing_barometer",
            severity=Severity.INFO,
            message="no barometric pressure in the log",
            fix="log it, or a few seconds with the ignition on and the engine still",
            where=log.path,
        ),
    )


def channel_rows(log: Log) -> tuple[ChannelRow, ...]:
    """Return one row for each recognised channel."""
    return tuple(_row(log.channels[n]) for n in CANON if n in log.channels)


def _row(channel: Channel) -> ChannelRow:
    unit = CANON[channel.name].unit or signal_unit(channel.unit_read) or ""
    low, high = float(channel.value.min()), float(channel.value.max())
    ends = np.array((low, high, low + channel.resolution))
    if channel.unit_read:  # a plain number was read as it is
        ends = from_si(ends, channel.unit_read, unit)
    return ChannelRow(
        header=channel.header,
        name=channel.name,
        recognised_by=channel.recognised_by,
        unit_read=channel.unit_read,
        unit=unit,
        samples=int(channel.value.size),
        rate_hz=channel.rate_hz,
        low=low,
        high=high,
        resolution=channel.resolution,
        low_read=float(ends[0]),
        high_read=float(ends[1]),
        resolution_read=float(ends[2] - ends[0]),
    )
