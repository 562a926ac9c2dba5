"""Rows that repeat an old value: staggered polling and slow channels, back to true sample times.

A logger that asks for one signal at a time fills the others with their last value. A refresh
that happens to bring the same value leaves no trace, so the rhythm is read from the rows where
a value does change: if these lie a multiple of K rows apart, the channel is refreshed every K
rows, and only those rows are samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import BoolArray, FloatArray
from airsense.logs.source import Table
from airsense.results import Finding, Severity

# A channel that comes round more seldom is none that is polled (our choice).
MAX_PERIOD = 400
# A free-running signal has its changes a multiple of K rows apart with a chance of 1/K each.
_CHANCE = 1e-6
_REGULAR_SHARE = 0.97
_SAMPLED_GAPS = 4000
# One row to either side leaves short periods undecided.
_DRIFT_PERIOD = 6.0
_DRIFT_GAPS = 30
_PROBE_ROWS = 5000


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
class Drift:
    """Refreshes that come every `period` rows, give or take one: two clocks that run apart."""

    period: float
    changes: NDArray[np.intp]

    def rows(self, size: int) -> BoolArray:
        """Return which of `size` rows are refreshes, unchanged ones evenly in between."""
        keep = np.zeros(size, dtype=bool)
        keep[self.changes] = True
        last = self.changes[-1]
        ends = np.append(self.changes, last + self.period * ((size - 1 - last) // self.period))
        for start, end in pairwise(ends):
            count = round((end - start) / self.period)
            if count > 1:
                keep[np.rint(np.linspace(start, end, count + 1)).astype(np.intp)] = True
        return keep


@dataclass(frozen=True)
class Polling:
    """Refresh rows of the columns that repeat values; columns without repeats are absent.

    `held` gives the period, in rows, of the columns that have a rhythm of their own.
    """

    refreshed: Mapping[int, BoolArray]
    held: Mapping[int, float]
    findings: tuple[Finding, ...] = ()


def find_polling(table: Table) -> Polling:
    """Return the refresh rows of each column that repeats old values in a fixed rhythm."""
    changes = {c: change_rows(v) for c, v in table.columns.items() if not _runs_free(v)}
    rhythms = {
        column: rhythm
        for column, rows in changes.items()
        if (rhythm := find_rhythm(rows)) is not None
    }
    period = _round(rhythms)
    if period:
        slips = max(rhythm.starts.size - 1 for rhythm in rhythms.values())
        for column, rows in changes.items():
            if column not in rhythms and rows.size and _fits(rows, period, slips):
                rhythms[column] = _rhythm(rows, period)
    drifts = {
        column: drift
        for column, rows in changes.items()
        if column not in rhythms and (drift := find_drift(rows)) is not None
    }
    size = table.clock.time_s.size
    refreshed = {column: held.rows(size) for column, held in (rhythms | drifts).items()}
    own = {c: float(h.period) for c, h in (rhythms | drifts).items() if h.period != period}
    findings = (_staggered(table, period, rhythms),) if period else ()
    return Polling(refreshed, own, findings)


def _runs_free(values: FloatArray) -> bool:
    """Whether a long column changes in most rows, at its start as in its middle."""
    if values.size < 4 * _PROBE_ROWS:
        return False
    probes = (values[start : start + _PROBE_ROWS] for start in (0, values.size // 2))
    return all(bool((probe[1:] != probe[:-1]).mean() > 0.6) for probe in probes)


def change_rows(values: FloatArray) -> NDArray[np.intp]:
    """Return the rows at which a column takes a new value, its first filled row included.

    Empty if the column has gaps of its own: there, each filled cell is a sample already.
    """
    if values.size > 1 and np.isfinite(values).all():
        rows: NDArray[np.intp] = np.nonzero(values[1:] != values[:-1])[0] + 1
        return np.concatenate([np.zeros(1, dtype=np.intp), rows])
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


def find_drift(rows: NDArray[np.intp]) -> Drift | None:
    """Return a period that is no whole number of rows, if the gaps leave no doubt of it."""
    gaps = np.diff(rows)[1:_SAMPLED_GAPS] if rows.size > 2 else np.empty(0)
    if gaps.size < _DRIFT_GAPS:
        return None
    shortest = float(np.percentile(gaps, 5.0))
    if shortest < _DRIFT_PERIOD:
        return None
    tries = np.arange(shortest - 1.0, shortest + 1.5, 0.02)
    # Over many silent rounds an error of the period adds up: leave those gaps out.
    near = gaps[gaps < 4.5 * shortest]
    off = np.abs(near[:, None] - np.maximum(np.rint(near[:, None] / tries), 1.0) * tries)
    best = int(np.argmin(off.mean(axis=0)))
    share = float((off[:, best] <= 1.05).sum()) / gaps.size
    chance = (3.0 / float(tries[best])) ** float(gaps.size)
    if share < _REGULAR_SHARE or chance > _CHANCE:
        return None
    return Drift(float(tries[best]), rows)


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


def _fits(rows: NDArray[np.intp], period: int, slips: int) -> bool:
    """Whether a column that hardly moves keeps to the round, but for the beats all others skip."""
    off = int((np.diff(rows) % period != 0).sum())
    return off <= max(slips, (1.0 - _REGULAR_SHARE) * rows.size)


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
