"""What a log file becomes: channels in SI units, each with its own sample times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from airsense.arrays import FloatArray
from airsense.results import Finding

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One measured quantity.

    `time_s` and `value` have shape (n,); times rise strictly; no NaN: samples that were empty
    or masked are left out, and a finding says so. Values are in the canonical unit of
    `airsense.logs.canon` (Pa absolute unless the name says boost, K, kg/s, rpm, fractions ...).
    """

    name: str
    header: str
    unit_read: str
    time_s: FloatArray
    value: FloatArray
    recognised_by: str = ""
    resolution: float = 0.0

    @property
    def rate_hz(self) -> float:
        """Median sample rate. [Hz] NaN with fewer than two samples."""
        if self.time_s.size < 2:
            return float("nan")
        return float(1.0 / np.median(np.diff(self.time_s)))


@dataclass(frozen=True)
class Log:
    """One log file, read once, never changed afterwards."""

    path: str
    reader: str
    sha256: str
    channels: Mapping[str, Channel]
    ignored: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    started: str | None = None

    @classmethod
    def from_dataframe(
        cls,
        frame: pd.DataFrame,
        units: Mapping[str, str] | None = None,
        *,
        channels: Mapping[str, str | Sequence[str]] | None = None,
        name: str = "",
    ) -> Log:
        """Return the log that a DataFrame holds, one row a sample.

        Parameters
        ----------
        frame : DataFrame
            Columns are recognised as the headers of a file are. The time is a column (numbers, a
            clock, date-times, durations), or else the index.
        units : mapping, optional
            Column -> unit, where the header does not carry it.
        channels : mapping, optional
            Canonical name -> column, where recognition needs help.
        name : str
            What the log is called in results; by default made of its content.

        Raises
        ------
        InputError
            If the frame holds no log, or a needed channel is ambiguous or lacks a unit.
        """
        from airsense.logs.frame import log_of_frame

        return log_of_frame(frame, units, channels=channels, name=name)

    def __repr__(self) -> str:
        """Return what a log is in one line: its channels alone would fill pages."""
        start, stop = self.span_s
        return f"<airsense log: {self.path}, {len(self.channels)} channels, {stop - start:.1f} s>"

    def __contains__(self, name: str) -> bool:
        return name in self.channels

    def __getitem__(self, name: str) -> Channel:
        return self.channels[name]

    @cached_property
    def span_s(self) -> tuple[float, float]:
        """First and last sample time over all channels. [s]"""
        starts = [c.time_s[0] for c in self.channels.values() if c.time_s.size]
        ends = [c.time_s[-1] for c in self.channels.values() if c.time_s.size]
        return (float(min(starts)), float(max(ends))) if starts else (0.0, 0.0)

    def at(self, name: str, time_s: FloatArray) -> FloatArray:
        """Return a channel interpolated at `time_s`, NaN outside its own span."""
        channel = self.channels[name]
        if channel.time_s.size == 0:
            return np.full(np.shape(time_s), np.nan)
        return np.interp(time_s, channel.time_s, channel.value, left=np.nan, right=np.nan)
