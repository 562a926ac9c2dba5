"""From the raw times of the rows to times that rise strictly; what does not fit is named."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import BoolArray, FloatArray
from airsense.errors import InputError
from airsense.logs.canon import CANON
from airsense.logs.source import Table
from airsense.results import Finding, Severity

# Between two logs in one file; longer than anything that is filtered or interpolated (our choice).
MERGE_GAP_S = 60.0
_JUMP_FACTOR = 20.0
_JUMP_MIN_S = 5.0
_RESTART_S = 1.0
# No logger pauses for so long and goes on in the same file; setting a clock does (our choice).
_CLOCK_SET_S = 86_400.0
_COARSE_SHARE = 0.3


@dataclass(frozen=True)
class Timing:
    """Time of each row and which rows have a usable one; both of shape (n,)."""

    time_s: FloatArray
    keep: BoolArray
    findings: tuple[Finding, ...]


def tidy_time(table: Table, *, where: str) -> Timing:
    """Return rising times for the rows of a table.

    A clock that only counts whole steps while several rows pass is spread evenly; a second log
    that starts again inside the file is moved behind the first; rows whose time is missing,
    repeated or behind are left out. Each of these is a finding.

    Raises
    ------
    InputError
        If no row has a readable time.
    """
    time = table.clock.time_s.copy()
    keep = readable(time)
    if not keep.any():
        raise _no_time(time.size, where)
    findings: list[Finding] = []
    if not keep.all():
        findings.append(_unreadable(table, ~keep))
    index = np.nonzero(keep)[0]
    if index.size > 1:
        seen = _unmerge(table, index, time[index], findings)
        seen = _spread(table, index, seen, findings)
        time[index] = seen
        rising = seen > np.concatenate([[-np.inf], np.maximum.accumulate(seen)[:-1]])
        keep[index[~rising]] = False
        if not rising.all():
            findings.append(_backwards(table, index[~rising]))
        findings.extend(_jumps(table, index[rising], seen[rising]))
    return Timing(time, keep, tuple(findings))


def readable(time_s: FloatArray) -> BoolArray:
    """Return which times can be: 1e200 s is a damaged cell, and would swallow all the others."""
    return np.isfinite(time_s) & (np.abs(time_s) <= CANON["time"].high)


def _no_time(rows: int, where: str) -> InputError:
    return InputError(
        "log has no readable time",
        where=where,
        got=f"{rows} rows without a time",
        allowed="rows with a time each",
        fix='name the time column: [channels] time = "…"',
    )


def _unreadable(table: Table, rows: BoolArray) -> Finding:
    return _finding(
        table,
        rows,
        "time_missing",
        Severity.INFO,
        "rows without readable time; left out",
        "none needed for blank lines or repeated headers",
    )


def _backwards(table: Table, index: NDArray[np.intp]) -> Finding:
    return _finding(
        table,
        _rows_at(table, index),
        "time_backwards",
        Severity.WARNING,
        "rows whose time stands still or runs back; left out",
        "check the logger's clock",
    )


def _unmerge(
    table: Table, index: NDArray[np.intp], time: FloatArray, findings: list[Finding]
) -> FloatArray:
    """Move a log that starts again behind the one before it."""
    steps = np.diff(time)
    falls = np.nonzero(steps < -_RESTART_S)[0] + 1
    moved = time.copy()
    starts: list[int] = []
    for fall in falls:
        after = time[fall : fall + 20]
        if after.size >= 3 and (after < time[fall - 1]).all():
            moved[fall:] += moved[fall - 1] + MERGE_GAP_S - moved[fall]
            starts.append(int(fall))
    if starts:
        findings.append(
            _finding(
                table,
                _rows_at(table, index[starts]),
                "merged_log",
                Severity.WARNING,
                f"places where time starts again: several logs in one file; each is put "
                f"{MERGE_GAP_S:.0f} s behind the one before",
                "give each log its own file, above all if the configuration changed",
            )
        )
    return moved


def _spread(
    table: Table, index: NDArray[np.intp], time: FloatArray, findings: list[Finding]
) -> FloatArray:
    """Spread the rows that share one tick of a coarse clock evenly over the tick."""
    steps = np.diff(time)
    if (steps == 0.0).mean() < _COARSE_SHARE:
        return time
    edges = np.concatenate([[0], np.nonzero(steps > 0.0)[0] + 1])
    if edges.size < 3:
        return time
    tick = float(np.median(np.diff(time[edges])))
    per_tick = float(np.median(np.diff(edges)))
    rows = np.arange(time.size, dtype=np.float64)
    # The first tick may have begun before the log: count it from its end.
    first = time[edges[1]] - (edges[1] - rows[: edges[1]]) * tick / per_tick
    spread: FloatArray = np.interp(rows, edges.astype(np.float64), time[edges])
    spread[: edges[1]] = first
    tail = rows > edges[-1]
    spread[tail] = time[edges[-1]] + (rows[tail] - edges[-1]) * tick / per_tick
    findings.append(
        Finding(
            code="coarse_clock",
            severity=Severity.INFO,
            message=f"the clock ticks every {tick:g} s with about {per_tick:g} rows a tick; "
            "rows are spread evenly",
            fix="log with a finer clock if the logger can",
            where=f"{table.place} {int(table.line[index[0]])}",
        )
    )
    return spread


def _jumps(table: Table, index: NDArray[np.intp], time: FloatArray) -> list[Finding]:
    steps = np.diff(time)
    if steps.size < 3:
        return []
    limit = max(_JUMP_FACTOR * float(np.median(steps)), _JUMP_MIN_S)
    leaps = steps > _CLOCK_SET_S
    gaps = (steps > limit) & ~leaps & (np.abs(steps - MERGE_GAP_S) > 1e-6)
    found = []
    if gaps.any():
        longest = float(steps[gaps].max())
        found.append(
            _finding(
                table,
                _rows_at(table, index[1:][gaps]),
                "time_jump",
                Severity.WARNING,
                f"gaps in time, the longest {longest:.1f} s; nothing is filled in",
                "look for a logger that lost its connection",
            )
        )
    if leaps.any():
        longest = float(steps[leaps].max())
        found.append(
            _finding(
                table,
                _rows_at(table, index[1:][leaps]),
                "clock_jump",
                Severity.WARNING,
                f"leaps of the clock, the longest {longest / _CLOCK_SET_S:.1f} days, as when it "
                "is set while logging; nothing is carried over them",
                "let the logger set its clock before the log starts",
            )
        )
    return found


def _rows_at(table: Table, index: NDArray[np.intp]) -> BoolArray:
    rows = np.zeros(table.line.size, dtype=bool)
    rows[index] = True
    return rows


def _finding(
    table: Table, rows: BoolArray, code: str, severity: Severity, message: str, fix: str
) -> Finding:
    first = int(np.argmax(rows))
    return Finding(
        code=code,
        severity=severity,
        message=f"{int(rows.sum())} {message}",
        fix=fix,
        where=f"{table.place} {int(table.line[first])}",
    )
