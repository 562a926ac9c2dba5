"""One log of a screen: runs in a process of its own or on another machine, and always answers."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from airsense.errors import InputError
from airsense.jobs.screening.files import local_copy
from airsense.jobs.screening.result import FindingCount, Outcome, Problem, RouteError, ScreenRow
from airsense.results import Finding, Interval

if TYPE_CHECKING:
    from airsense.jobs.check import CheckResult
    from airsense.logs.log import Log
    from airsense.setup.engine import EngineSetup

_DATE_IN_NAME = re.compile(
    r"(?<!\d)((?:19|20)\d\d)([-_.]?)(0[1-9]|1[0-2])\2(0[1-9]|[12]\d|3[01])(?!\d)"
    r"(?:[T _-]([01]\d|2[0-3])[-:_.]?([0-5]\d)(?!\d{3}))?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a worker needs to check one log; `done_sha256` is that of its finished state, or ""."""

    name: str
    place: str
    filesystem: Any
    setup: EngineSetup
    rpm: tuple[float, float] | None
    done_sha256: str = ""


def screen_log(task: Task) -> ScreenRow | None:
    """Check one log; None if it is still the one that was finished before.

    Never raises for what a log may hold: a log that cannot be used gives a row that says why.
    """
    try:
        with local_copy(task.place, task.filesystem) as path:
            return _checked_or_refused(path, task)
    except InputError as error:
        return _refused(task.name, error, task.place)
    except Exception as error:  # a fault of ours in one log must not stop the other thousand
        return failed_row(task.name, f"{type(error).__name__}: {error}"[:200])


def _checked_or_refused(path: Path, task: Task) -> ScreenRow | None:
    sha256 = _digest(path)
    if sha256 and sha256 == task.done_sha256:
        return None
    try:
        return _checked(path, task)
    except InputError as error:
        return replace(_refused(task.name, error, str(path)), sha256=sha256)


def _refused(name: str, error: InputError, place: str) -> ScreenRow:
    parts = (error.what, error.where, error.got, error.allowed, error.fix)
    what, where, got, allowed, fix = (part.replace(place, name) for part in parts)
    problem = Problem(what=what, where=where, got=got, allowed=allowed, fix=fix)
    return replace(_dated(name, None), outcome=Outcome.REFUSED, problem=problem)


def failed_row(name: str, got: str) -> ScreenRow:
    """Return the row of a log that the program could not finish."""
    return ScreenRow(
        log=name,
        outcome=Outcome.FAILED,
        problem=Problem(
            what="the log could not be finished",
            where=name,
            got=got,
            allowed="any log gives an answer or a refusal",
            fix="run `airsense check` on it alone with more memory free; if that fails too, it is "
            "a fault of airsense: report it with the log",
        ),
    )


def _digest(path: Path) -> str:
    from airsense.logs.container import digest

    try:
        return digest(path)
    except OSError:
        return ""  # reading it gives the better message


def _checked(path: Path, task: Task) -> ScreenRow:
    from airsense.jobs.check import check_logs
    from airsense.logs.read import read_log

    log = read_log(path, channels=task.setup.channels)
    result = check_logs([log], task.setup, rpm=task.rpm)
    return row_of(task.name, log, result)


def row_of(name: str, log: Log, result: CheckResult) -> ScreenRow:
    """Return what a screen keeps of one log's check."""
    error = _finite(result.sensor_error)
    leading = result.causes[0] if result.causes else None
    return replace(
        _dated(name, log.started),
        outcome=Outcome(result.verdict.value),
        sensor_error=error,
        leading_cause="" if leading is None else leading.cause.value,
        cause_probability=None if leading is None else leading.probability,
        estimates=tuple(
            RouteError(
                method=e.method, sensor_error=e.sensor_error, u_repeat=e.u_repeat, state=e.state
            )
            for e in result.estimates
            if e.used and e.u_repeat and e.sensor_error is not None and _finite(e.sensor_error)
        ),
        engine_speed_rpm=None if error is None else result.window.engine_speed_rpm,
        reader=log.reader,
        sha256=log.sha256,
        findings=_counted(result.findings),
    )


def _finite(interval: Interval | None) -> Interval | None:
    if interval is None:
        return None
    total = interval.value + interval.low + interval.high
    return interval if abs(total) < float("inf") else None


def _counted(findings: tuple[Finding, ...]) -> tuple[FindingCount, ...]:
    counts = Counter((f.code, f.severity) for f in findings)
    return tuple(
        FindingCount(code=code, severity=severity, count=n)
        for (code, severity), n in sorted(counts.items(), key=lambda item: item[0][0])
    )


def _dated(name: str, started: str | None) -> ScreenRow:
    """Return a bare row with the date of the log: its own, else one in its name."""
    bare = ScreenRow(log=name, outcome=Outcome.FAILED)
    try:
        own = datetime.fromisoformat(started or "")
        return replace(bare, started=own.isoformat(), dated_by="log")
    except ValueError:
        pass  # a clock without a date
    found = _date_in(name.rpartition("/")[2]) or _date_in(name)
    return bare if found is None else replace(bare, started=found, dated_by="name")


def _date_in(name: str) -> str | None:
    match = _DATE_IN_NAME.search(name)
    if match is None:
        return None
    year, _, month, day, hour, minute = match.groups()
    try:
        if hour is None:
            return datetime(int(year), int(month), int(day)).date().isoformat()
        return datetime(int(year), int(month), int(day), int(hour), int(minute)).isoformat()
    except ValueError:  # the 31st of a shorter month
        return None
