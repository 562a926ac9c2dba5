"""Time columns: clock, date and time, or a number of seconds, milliseconds, microseconds."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.units import parse_unit, to_si

DAY_S = 86_400.0
# A log steps by 2.5 ms to 2.4 s; so a bare number of time has one credible unit (our choice).
_MS_FROM = 2.45
_US_FROM = 2450.0

CLOCK = re.compile(r"\s*(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2})(?:[.,:](\d{1,9}))?\s*([AaPp][Mm])?\s*")
ISO = re.compile(
    r"\s*\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}([.,]\d{1,9})?)?\s*(Z|[+-]\d\d:?\d\d)?\s*"
)
DATED = re.compile(r"\s*\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ,]+\d{1,2}:\d{2}.*")


@dataclass(frozen=True)
class Clock:
    """Seconds of each row (NaN where unreadable), the unit read, and the start if dated."""

    time_s: FloatArray
    unit: str
    assumed: bool = False
    started: str | None = None


def looks_like_time(cell: str) -> bool:
    """Whether a cell is a clock or a date with a time."""
    return any(pattern.fullmatch(cell[:60]) for pattern in (CLOCK, ISO, DATED))


def numeric_clock(values: FloatArray, unit_text: str) -> Clock:
    """Return seconds from a column of numbers, the unit from its steps where none is written."""
    unit = parse_unit(unit_text) if unit_text else None
    if unit is not None:
        return Clock(to_si(values, unit_text, "s"), unit_text)
    steps = np.diff(values[np.isfinite(values)])
    steps = steps[steps > 0.0]
    step = float(np.median(steps)) if steps.size else 0.0
    name = "s" if step < _MS_FROM else "ms" if step < _US_FROM else "us"
    return Clock(to_si(values, name, "s"), name, assumed=True)


def text_clock(cells: NDArray[np.object_], unit_text: str, *, where: str) -> Clock:
    """Return seconds from a column of text, or of numbers with some text in between.

    Raises
    ------
    InputError
        If fewer than half of the cells can be read as a time.
    """
    sample = [str(c) for c in cells[:200] if isinstance(c, str) and c.strip()]
    kinds = {
        "clock": sum(CLOCK.fullmatch(c[:60]) is not None for c in sample),
        "date": sum(bool(ISO.fullmatch(c[:60]) or DATED.fullmatch(c[:60])) for c in sample),
    }
    best = max(kinds, key=lambda kind: kinds[kind])
    if sample and kinds[best] < 0.5 * len(sample):
        import pandas as pd

        numbers = pd.to_numeric(pd.Series(cells, dtype="object"), errors="coerce")
        if numbers.notna().sum() > 0.5 * len(cells):
            return numeric_clock(numbers.to_numpy(np.float64), unit_text)
    if not sample or kinds[best] < 0.5 * len(sample):
        raise InputError(
            "time column cannot be read",
            where=where,
            got=repr(sample[0][:60]) if sample else "no text at all",
            allowed="HH:MM:SS.mmm, an ISO date-time, seconds, milliseconds or microseconds",
            fix='write the time in one of these, or name another column: [channels] time = "…"',
        )
    return _clock(cells, sample[0].strip()) if best == "clock" else _dated(cells)


def _clock(cells: NDArray[np.object_], started: str) -> Clock:
    import pandas as pd

    parts = pd.Series(cells, dtype="object").astype("string").str.extract(CLOCK.pattern)
    hours, minutes, seconds = (
        pd.to_numeric(parts[i], errors="coerce").to_numpy(np.float64, na_value=np.nan)
        for i in range(3)
    )
    digits = parts[3].fillna("0")
    fraction = digits.astype(float).to_numpy() / 10.0 ** digits.str.len().to_numpy(np.float64)
    half = parts[4].str.lower()
    hours = np.where(np.isnan(hours), 0.0, hours)
    noon = (half == "pm").fillna(False).to_numpy(bool)
    twelve_hours = half.notna().to_numpy(bool)
    hours = np.where(twelve_hours, hours % 12.0 + 12.0 * noon, hours)
    time_s = np.asarray(3600.0 * hours + 60.0 * minutes + seconds + fraction, dtype=np.float64)
    return Clock(unroll_midnight(time_s), "clock", started=started)


def unroll_midnight(time_s: FloatArray) -> FloatArray:
    """Add a day wherever the clock falls back by more than half a day."""
    good = np.isfinite(time_s)
    clock = time_s[good]
    if clock.size < 2:
        return time_s
    days = np.concatenate([[0.0], np.cumsum(np.diff(clock) < -0.5 * DAY_S)])
    unrolled = time_s.copy()
    unrolled[good] = clock + DAY_S * days
    return unrolled


def _dated(cells: NDArray[np.object_]) -> Clock:
    import pandas as pd

    text = pd.Series(cells, dtype="object").astype("string").str.replace(",", ".", regex=False)
    stamps = pd.to_datetime(text, errors="coerce", utc=True, format="ISO8601")
    if stamps.isna().mean() > 0.5:
        stamps = pd.to_datetime(text, errors="coerce", utc=True, format="mixed", dayfirst=True)
    start = stamps.dropna().min()
    if pd.isna(start):
        return Clock(np.full(len(cells), np.nan), "date and time")
    seconds: FloatArray = np.asarray((stamps - start).dt.total_seconds(), dtype=np.float64)
    return Clock(seconds, "date and time", started=start.isoformat())
