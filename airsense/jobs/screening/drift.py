"""Dated logs of each vehicle to a line, and the line to words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from airsense.arrays import FloatArray
from airsense.evidence.matched import LnChange
from airsense.evidence.screening import (
    DriftLine,
    DriftVerdict,
    Levels,
    at_one_state,
    fit_drift,
    judge_drifts,
)
from airsense.jobs.screening.result import DatedError, LineEnd, ScreenRow, VehicleRow
from airsense.logs.clock import DAY_S
from airsense.report.words import percent_interval, say

_MANY = 1e6  # degrees of freedom of a size that is taken as it is


def vehicle_rows(rows: Sequence[ScreenRow]) -> tuple[VehicleRow, ...]:
    """Return one row for each vehicle that has a dated log with an answer."""
    groups: dict[str, list[ScreenRow]] = defaultdict(list)
    # A copy of a log is no second observation.
    for row in {(r.vehicle, r.sha256 or r.log): r for r in rows}.values():
        groups[row.vehicle].append(row)
    fitted = [
        _fitted(name, own)
        for name, own in sorted(groups.items())
        if any(row.started and row.estimates for row in own)
    ]
    verdicts = judge_drifts([line for _, line in fitted])
    return tuple(
        _finished(row, line, verdict) for (row, line), verdict in zip(fitted, verdicts, strict=True)
    )


def day_of(started: str) -> float:
    """Return an ISO date-time as days since 1970; one without a zone counts as UTC. [d]"""
    at = datetime.fromisoformat(started)
    return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp() / DAY_S


def _fitted(vehicle: str, rows: Sequence[ScreenRow]) -> tuple[VehicleRow, DriftLine | None]:
    method = _best_route(rows)
    points = sorted(
        (
            (day_of(row.started), row, route)
            for row in rows
            if row.started
            for route in row.estimates
            if route.method == method
        ),
        key=lambda point: (point[0], point[1].log),
    )
    day = np.array([p[0] for p in points])
    levels = Levels(
        ln_ratio=np.log1p([p[2].sensor_error.value for p in points]),
        u=np.array([p[2].u_repeat for p in points]),
        states=tuple(p[2].state for p in points),
    )
    ln_ratio, u = at_one_state(levels)
    line = fit_drift(day, ln_ratio, u)
    return VehicleRow(
        vehicle=vehicle,
        logs=len(rows),
        dated=len(points),
        drift=DriftVerdict.UNDETERMINED,
        sentence="",
        method=method,
        points=tuple(
            _point(row, float(y), float(v))
            for (_, row, _), y, v in zip(points, ln_ratio, u, strict=True)
        ),
        line=() if line is None else _ends(line, day),
    ), line


def _best_route(rows: Sequence[ScreenRow]) -> str:
    """Return the route that most dated logs have; among equals, the one that repeats best."""
    u: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        for route in row.estimates if row.started else ():
            u[route.method].append(route.u_repeat)
    return max(sorted(u), key=lambda name: (len(u[name]), -float(np.mean(u[name]))))


def _point(row: ScreenRow, ln_ratio: float, u: float) -> DatedError:
    own = LnChange(value=ln_ratio, u=u, dof=_MANY)
    return DatedError(log=row.log, started=row.started, sensor_error=own.interval())


def _ends(line: DriftLine, day: FloatArray) -> tuple[LineEnd, ...]:
    start = datetime(1970, 1, 1, tzinfo=UTC)
    return tuple(
        LineEnd(started=(start + timedelta(days=float(at))).isoformat(), sensor_error=error)
        for at, error in ((day.min(), line.first), (day.max(), line.last))
    )


def _finished(row: VehicleRow, line: DriftLine | None, verdict: DriftVerdict) -> VehicleRow:
    if line is None:
        return replace(row, sentence=f"Too few dated logs, or all of one day: {row.dated}.")
    shown = f"{percent_interval(line.change)} over {line.days:.0f} days"
    against = say(row.method)
    sentence = {
        DriftVerdict.DRIFTS: f"The reading moves against {against} by {shown}: the sensor drifts, "
        f"or what {against} rests on does.",
        DriftVerdict.STEADY: f"Steady against {against}: {shown}.",
        DriftVerdict.UNDETERMINED: f"A drift against {against} is neither shown nor ruled out: "
        f"{shown}.",
    }[verdict]
    return replace(
        row,
        drift=verdict,
        sentence=sentence,
        change=line.change,
        days=line.days,
        scatter=line.scatter,
        degrees_of_freedom=line.degrees_of_freedom,
    )
