"""Rows that repeat an old value: staggered polling and slow channels, back to true sample times.

A logger that asks for one signal at a time fills the others with their last value. A refresh
that happens to bring the same value leaves no trace, so the rhythm is read from the rows where
a value does change: if these lie a multiple of K rows apart, the channel is refreshed every K
rows, and only those rows are samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.logs.source import Table
from airsense.results import Finding, Severity

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MAX_PERIOD = 400
# A free-running signal has its changes a multiple of K rows apart with a chance of 1/K each.
_CHANCE = 1e-6
_REGULAR_SHARE = 0.97
_SAMPLED_GAPS = 4000


@dataclass(frozen=True)
class Rhythm:
    """Rows at which a channel is refreshed: every `period` rows, from each start on."""

    period: int
    starts: NDArray[np.intp]

    def rows(self, size: int) -> BoolArray:
        """Return which of `size` rows are refreshes."""
        keep = np.zeros(size, dtype=bool)
        # Just before a skipped beat it is open whether a repeat was a refresh: leave it out.
        ends = np.append(self.starts[1:] - self.period, size)
        for start, end in zip(self.starts, ends, strict=True):
            keep[start : max(end, start + 1) : self.period] = True
        return keep


@dataclass(frozen=True)
class Polling:
    """Refresh rows of the columns that repeat values; columns without repeats are absent."""

    refreshed: Mapping[int, BoolArray]
    findings: tuple[Finding, ...] = ()


def find_polling(table: Table) -> Polling:
    """Return the refresh rows of each column that repeats old values in a fixed rhythm."""
    changes = {column: change_rows(values) for column, values in table.columns.items()}
    rhythms = {
        column: rhythm
        for column, rows in changes.items()
        if (rhythm := find_rhythm(rows)) is not None
    }
    period = _round(rhythms)
    if period:
        for column, rows in changes.items():
            if column not in rhythms and rows.size and _fits(rows, period):
                rhythms[column] = _rhythm(rows, period)
    size = table.clock.time_s.size
    refreshed = {column: rhythm.rows(size) for column, rhythm in rhythms.items()}
    findings = []
    if period:
        findings.append(_staggered(table, period, rhythms))
    return Polling(refreshed, tuple(findings))


def change_rows(values: FloatArray) -> NDArray[np.intp]:
    """Return the rows at which a column takes a new value, its first filled row included.

    Empty if the column has gaps of its own: there, each filled cell is a sample already.
    """
    filled = np.nonzero(np.isfinite(values))[0]
    if filled.size < 2 or filled.size < 0.9 * (values.size - filled[0]):
        return np.empty(0, dtype=np.intp)
    seen = values[filled]
    return np.concatenate([filled[:1], filled[1:][seen[1:] != seen[:-1]]])


def find_rhythm(rows: NDArray[np.intp]) -> Rhythm | None:
    """Return the longest period that the gaps between changes share, if chance is ruled out."""
    gaps = np.diff(rows)[1:] if rows.size > 2 else np.diff(rows)
    if gaps.size < 4:
        return None
    gaps = gaps[:_SAMPLED_GAPS]
    if (gaps == 1).mean() > 1.0 - _REGULAR_SHARE:
        return None
    longest = min(MAX_PERIOD, int(np.percentile(gaps, 50.0)))
    for period in range(longest, 1, -1):
        share = float((gaps % period == 0).mean())
        if share >= _REGULAR_SHARE and period ** -float(gaps.size) < _CHANCE:
            return _rhythm(rows, period)
    return None


def _rhythm(rows: NDArray[np.intp], period: int) -> Rhythm:
    """Start anew wherever the logger skipped a beat."""
    gaps = np.diff(rows)
    return Rhythm(period, np.concatenate([rows[:1], rows[1:][gaps % period != 0]]))


def _round(rhythms: Mapping[int, Rhythm]) -> int:
    """Return the period that several columns share at different phases, else 0."""
    periods = [rhythm.period for rhythm in rhythms.values()]
    for period in sorted(set(periods), key=periods.count, reverse=True):
        phases = {int(r.starts[-1]) % period for r in rhythms.values() if r.period == period}
        if len(phases) >= 2:
            return period
    return 0


def _fits(rows: NDArray[np.intp], period: int) -> bool:
    return bool((np.diff(rows) % period == 0).mean() >= _REGULAR_SHARE) if rows.size > 1 else True


def _staggered(table: Table, period: int, rhythms: Mapping[int, Rhythm]) -> Finding:
    time = table.clock.time_s
    steps = np.diff(time[np.isfinite(time)])
    round_s = float(np.median(steps)) * period if steps.size else 0.0
    count = sum(rhythm.period == period for rhythm in rhythms.values())
    return Finding(
        code="staggered_polling",
        severity=Severity.INFO,
        message=f"signals are polled in turn: {count} channels come round every {period} rows "
        f"({round_s:.2f} s) and repeat their last value in between; only the {count} refreshed "
        "samples of each round are kept, at their own times",
        fix="log fewer channels for a quicker round",
        where=f"{table.place} {int(table.line[0])}",
    )
