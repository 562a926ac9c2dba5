"""The judgement that a new table rests on: that of a comparison of the same logs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from airsense.evidence.judgement import (
    Judgement,
    evidence_of,
    judge,
)
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.priors import PriorTable
from airsense.evidence.verdict import DEFAULT_MARGIN, ReadingCause, matters, reading_cause
from airsense.jobs.compare import declared_depression
from airsense.jobs.comparison.given import PairInput
from airsense.jobs.comparison.pair import compare_pair, reading_of
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
    row = reading_of(weighed.judged, weighed.matched).surplus[0]
    return Judged(
        judged=weighed.judged,
        change=matters(evidence_of(weighed.judged, row), DEFAULT_MARGIN),
        cause=weighed.result.reading_cause,
        surplus=weighed.result.indicated_surplus,
        next_measurement=weighed.result.next_measurement,
    )


def _level(seen: Observations, table: PriorTable) -> Judged | None:
    """Return the judgement of one configuration against what its routes are worth at all."""
    if not seen.cells.laden.any():
        return None
    judged = judge(seen.cells, seen.rest, seen.budget, table)
    reading = reading_of(judged, None)
    surplus = evidence_of(judged, reading.surplus[0])
    return Judged(
        judged=judged,
        change=matters(surplus, DEFAULT_MARGIN),
        cause=reading_cause(surplus, judged.families(reading), DEFAULT_MARGIN),
        surplus=None,
        next_measurement=None,
    )
