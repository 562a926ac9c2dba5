"""What to measure next, and what else a pair's answer has to say."""

from __future__ import annotations

from airsense.arrays import FloatArray
from airsense.evidence.judgement import Judgement
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.parts import Circumstances
from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.comparison.circumstances import weather_is_known
from airsense.jobs.comparison.engine_change import Change
from airsense.jobs.comparison.given import INTAKE, TUNE, PairInput
from airsense.jobs.comparison.power import Power
from airsense.jobs.comparison.proposals import BASELINE_AGAIN, by_law, proposals, split_proposals
from airsense.jobs.comparison.result import PairResult
from airsense.jobs.comparison.sentences import power_sentences

# The interval of the intake's part is the day's rather than the intake's from here on.
DAYS_SHARE = 0.5


def next_measurement(
    given: PairInput,
    judged: Judgement,
    row: FloatArray,
    verdict: Verdict,
    cause: ReadingCause,
    change: Change | None,
    circumstance: Circumstances | None,
) -> NextMeasurement:
    """Return what to measure next: what is free first, and the day before anything else."""
    if change is not None and circumstance is not None and given.question == INTAKE:
        if _days_doubt(given, change):
            return BASELINE_AGAIN
        if verdict is Verdict.UNDETERMINED and _split_is_open(change):
            found = split_proposals(change.parts, change.weight, circumstance)
            if found:
                return found[0]
    open_cause = cause is ReadingCause.OPEN and verdict is not Verdict.UNDETERMINED
    wanted = judged.posterior.draws.spread @ row
    found = proposals(judged.posterior, wanted, leak_open=open_cause, name=given.intake)
    return found[0]


def _days_doubt(given: PairInput, change: Change) -> bool:
    """Return whether weather, drift or the law of control dominates what is open of the intake."""
    parts = change.parts
    by_control = by_law(parts, change.weight)
    most = max(_variance(change, parts.weather), _variance(change, by_control))
    runs = [given.seen.runs[k] for k in given.numbers]
    moved = abs(float(change.weight @ parts.weather)) >= given.margin
    total = _variance(change, parts.intake)
    return most >= DAYS_SHARE * total or moved or not weather_is_known(runs)


def _split_is_open(change: Change) -> bool:
    """Return whether the engine's change is known better than what of it the intake gave."""
    parts = change.parts
    engine = parts.weather + parts.intake + parts.demand + parts.feedback
    return _variance(change, engine) < DAYS_SHARE * _variance(change, parts.intake)


def _variance(change: Change, values: FloatArray) -> float:
    return float(change.weight @ (values - change.weight @ values) ** 2)


def further(
    given: PairInput,
    change: Change | None,
    circumstance: Circumstances | None,
    pair: PairResult,
    power: Power,
) -> tuple[str, ...]:
    """Return the sentences beside the answer: power, fuel, what was taken for granted."""
    out = list(
        power_sentences(pair.airflow_change, pair.fuel_change, power.change, pair.indicated_surplus)
    )
    if change is None or circumstance is None or given.question == TUNE:
        return tuple(out)
    if circumstance.demand_ln is None:
        out.append(
            "Boost demand was not logged: that the same tune asks for the same boost is taken for "
            "granted."
        )
    runs = [given.seen.runs[k] for k in given.numbers]
    if not weather_is_known(runs):
        out.append(
            "The weather of the two configurations is not known in full: log or declare it, or go "
            "back to the first intake on the same day."
        )
    return tuple(out)
