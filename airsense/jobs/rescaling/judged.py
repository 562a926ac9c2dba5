"""The judgement that a new table rests on: that of a comparison of the same logs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, IntArray
from airsense.estimates.segments import Kind
from airsense.evidence.judgement import (
    Judgement,
    Reading,
    evidence_of,
    judge,
    over_cells,
    over_speeds,
)
from airsense.evidence.matched import Matched
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.priors import PriorTable
from airsense.evidence.verdict import DEFAULT_MARGIN, ReadingCause, matters, reading_cause
from airsense.jobs.compare import declared_depression
from airsense.jobs.comparison.given import PairInput
from airsense.jobs.comparison.pair import compare_pair
from airsense.jobs.observe import Observations
from airsense.results import Interval
from airsense.setup.engine import EngineSetup


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The judgement of a comparison on the same logs; a level without a baseline.

    `change` says whether a change of the reading is shown that matters.
    """

    judged: Judgement
    change: bool
    cause: ReadingCause
    surplus: Interval | None
    next_measurement: NextMeasurement | None


def judge_logs(
    seen: Observations, is_after: Sequence[bool], setup: EngineSetup, table: PriorTable
) -> Judged | None:
    """Return the judgement that a comparison gives; None where nothing can be compared."""
    if all(is_after):
        return _level(seen, table)
    weighed = compare_pair(
        PairInput(
            seen=seen,
            before=tuple(k for k, a in enumerate(is_after) if not a),
            after=tuple(k for k, a in enumerate(is_after) if a),
            setup=setup,
            table=table,
            depression_pa=declared_depression(setup),
        )
    )
    if weighed.judged is None:
        return None
    row = _reading(weighed.judged, weighed.matched).surplus[0]
    return Judged(
        judged=weighed.judged,
        change=matters(evidence_of(weighed.judged, row), DEFAULT_MARGIN),
        cause=weighed.result.reading_cause,
        surplus=weighed.result.indicated_surplus,
        next_measurement=weighed.result.next_measurement,
    )


def _reading(judged: Judgement, matched: Matched | None) -> Reading:
    """Return what the surplus of the reading is taken over: matched full load, else all load."""
    cells = judged.posterior.reduced.seen.cells
    if matched is not None and np.any(cells.sweep & cells.after):
        return over_speeds(judged.posterior, matched.speed_rpm, cells.sweep).mean()
    return over_cells(judged.posterior, _laden(cells.kind))


def _laden(kind: IntArray) -> BoolArray:
    return np.asarray((kind != Kind.IDLE) & (kind != Kind.OVERRUN))


def _level(seen: Observations, table: PriorTable) -> Judged | None:
    """Return the judgement of one configuration against what its routes are worth at all."""
    if not _laden(seen.cells.kind).any():
        return None
    judged = judge(seen.cells, seen.rest, seen.budget, table)
    reading = _reading(judged, None)
    surplus = evidence_of(judged, reading.surplus[0])
    return Judged(
        judged=judged,
        change=matters(surplus, DEFAULT_MARGIN),
        cause=reading_cause(surplus, judged.families(reading), DEFAULT_MARGIN),
        surplus=None,
        next_measurement=None,
    )
