"""Each log of a screen against the others: by vehicle where it has enough, else by folder."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from airsense.evidence.screening import MIN_OTHERS, Levels, against_others, suspicion
from airsense.jobs.screening.result import Outcome, RouteError, ScreenRow
from airsense.results import Interval

# Sensors of one type differ by this from vehicle to vehicle (k = 1): generic data sheets, our
# choice.
U_SENSOR = 0.03


def with_suspicion(rows: Sequence[ScreenRow]) -> list[ScreenRow]:
    """Return the rows with how far each log lies off the others, and how suspicious that is."""
    found: dict[str, Interval] = {}
    left = [row for row in rows if row.estimates]
    for own in _by_vehicle(left).values():
        if _logs(own) > MIN_OTHERS:
            found |= _relative(own, 0.0)
    left = [row for row in left if row.log not in found]
    if left:
        found |= {
            name: interval
            for name, interval in _relative([r for r in rows if r.estimates], U_SENSOR).items()
            if name in {row.log for row in left}
        }
    return [_suspected(row, found.get(row.log)) for row in rows]


def _by_vehicle(rows: Sequence[ScreenRow]) -> dict[str, list[ScreenRow]]:
    groups: dict[str, list[ScreenRow]] = defaultdict(list)
    for row in rows:
        groups[row.vehicle].append(row)
    return groups


def _logs(rows: Sequence[ScreenRow]) -> int:
    """Return how many different logs there are: a copy says nothing of its original."""
    return len({row.sha256 or row.log for row in rows})


def _relative(rows: Sequence[ScreenRow], u_vehicle: float) -> dict[str, Interval]:
    """Return the interval of each log against the others, by the route that most of them have."""
    counts = Counter(route.method for row in rows for route in row.estimates)
    found: dict[str, Interval] = {}
    for method in sorted(counts, key=lambda name: (-counts[name], name)):
        pairs = [(row, route) for row in rows for route in row.estimates if route.method == method]
        if len(pairs) <= MIN_OTHERS:
            continue
        levels = _levels([route for _, route in pairs], u_vehicle)
        for (row, _), change in zip(pairs, against_others(levels), strict=True):
            if change is not None:
                found.setdefault(row.log, change.interval())
    return found


def _levels(routes: Sequence[RouteError], u_vehicle: float) -> Levels:
    u = np.array([route.u_repeat for route in routes])
    return Levels(
        ln_ratio=np.log1p([route.sensor_error.value for route in routes]),
        u=np.hypot(u, u_vehicle),
        states=tuple(route.state for route in routes),
    )


def _suspected(row: ScreenRow, against: Interval | None) -> ScreenRow:
    """Return the row with its suspicion: off the others, or off the routes by itself.

    A level that `check` does not call implausible is not told from zero by itself.
    """
    scores = []
    if row.sensor_error is not None:
        own = suspicion(row.sensor_error)
        scores.append(own if row.outcome is Outcome.IMPLAUSIBLE else min(own, 1.0))
    if against is not None:
        scores.append(suspicion(against))
    return replace(row, against_others=against, suspicion=max(scores) if scores else None)
