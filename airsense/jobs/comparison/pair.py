"""One pair of configurations, from observations to the answer."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from airsense.evidence.causes import rank_causes
from airsense.evidence.cells import Cells
from airsense.evidence.judgement import (
    Judgement,
    Reading,
    evidence_of,
    interval,
    judge,
    over_cells,
    over_speeds,
)
from airsense.evidence.matched import Matched
from airsense.evidence.next_measurement import more_pulls
from airsense.evidence.parts import Circumstances
from airsense.evidence.priors import PRESSURE_CAUSES
from airsense.evidence.sensor_runs import sensor_runs
from airsense.evidence.verdict import (
    Question,
    ReadingCause,
    Verdict,
    decide,
    decide_tune,
    reading_cause,
)
from airsense.jobs.comparison.advice import further, next_measurement
from airsense.jobs.comparison.circumstances import circumstances
from airsense.jobs.comparison.engine_change import Change, engine_change
from airsense.jobs.comparison.free import free_evidence
from airsense.jobs.comparison.full_load import full_load
from airsense.jobs.comparison.given import TUNE, PairInput
from airsense.jobs.comparison.power import power_of
from airsense.jobs.comparison.result import LawRow, PairResult
from airsense.jobs.comparison.routes import agreement, budget_rows, estimate_rows
from airsense.jobs.comparison.sentences import sentence, tune_sentence
from airsense.jobs.comparison.shown import by_speed, equivalent_bore, variations
from airsense.jobs.declared import measured_rows
from airsense.results import Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A pair that has been judged, with what further answers (ranking) are read from."""

    result: PairResult
    matched: Matched | None
    judged: Judgement | None
    change: Change | None
    reading: Reading | None = None


def compare_pair(given: PairInput) -> Weighed:
    """Return the answer for one pair; without any state to match it says so."""
    seen = given.seen
    cells = seen.cells.of_runs(given.numbers, given.is_after)
    if not _comparable(cells):
        return Weighed(result=_without_match(given), matched=None, judged=None, change=None)
    rest = seen.rest.of_runs(given.numbers, given.is_after)
    made = measured_rows(given.measured, cells, given.configurations)
    judged = judge(cells, rest.joined(made), seen.budget, given.table)
    matched = given.matched()
    reading = reading_of(judged, matched)
    change = None
    circumstance = None
    if matched is not None:
        circumstance = _circumstances(given, matched, judged)
        runs = matched.weights_by_run(given.numbers)
        change = engine_change(
            judged,
            reading,
            matched.indicated(),
            sensor_runs(judged.posterior, seen.budget, runs),
            circumstance,
            given.drift,
        )
    result = _answer(given, judged, reading, matched, change, circumstance)
    return Weighed(result=result, matched=matched, judged=judged, change=change, reading=reading)


def _comparable(cells: Cells) -> bool:
    """Return whether both configurations have cells under load."""
    return bool(np.any(cells.laden & cells.after)) and bool(np.any(cells.laden & ~cells.after))


def reading_of(judged: Judgement, matched: Matched | None) -> Reading:
    """Return what the surplus is taken over: matched full load, else all that was laden."""
    cells = judged.posterior.reduced.seen.cells
    if matched is not None and np.any(cells.sweep & cells.after):
        return over_speeds(judged.posterior, matched.speed_rpm, cells.sweep).mean()
    return over_cells(judged.posterior, cells.laden)


def _circumstances(given: PairInput, matched: Matched, judged: Judgement) -> Circumstances:
    runs = given.seen.runs
    return circumstances(
        [runs[k] for k in given.before],
        [runs[k] for k in given.after],
        matched,
        given.setup,
        depression_pa=_depression(given, matched),
        trust_pressure=judged.posterior.probability(*PRESSURE_CAUSES) < 0.1,
        two_tunes=given.question == TUNE,
        one_session=given.one_session,
    )


def _depression(given: PairInput, matched: Matched) -> tuple[float | None, float | None]:
    """Return the intake depression of both configurations, declared or logged. [Pa]"""

    def logged(*, after: bool) -> float | None:
        value = matched.level("depression_pa", after=after)
        return abs(value) if np.isfinite(value) else None

    before, after = given.depression_pa
    return (
        before if before is not None else logged(after=False),
        after if after is not None else logged(after=True),
    )


def _answer(
    given: PairInput,
    judged: Judgement,
    reading: Reading,
    matched: Matched | None,
    change: Change | None,
    circumstance: Circumstances | None,
) -> PairResult:
    row = reading.surplus[0]
    surplus, over_all = evidence_of(judged, row), interval(judged.posterior, row)
    question = Question(
        surplus=surplus,
        surplus_high=over_all.high,
        intake=None if change is None else change.intake,
        engine=None if change is None else change.engine,
        elsewhere=1.0 if change is None else change.elsewhere,
    )
    if given.question == TUNE and change is not None:
        verdict = decide_tune(change.engine, given.margin)
    else:
        verdict = decide(question, given.margin)
    found = _with_parts(_read(given, judged, reading, matched), change)
    found = replace(
        found,
        verdict=verdict,
        indicated_surplus=over_all,
        reading_cause=reading_cause(surplus, judged.families(reading), given.margin),
        probability_of_over_reading=float(
            surplus.stated.weight @ (judged.posterior.draws.sizes @ reading.skew[0] > 0.0)
        ),
    )
    power = power_of(given, matched)
    return replace(
        found,
        sentence=(tune_sentence if given.question == TUNE else sentence)(found),
        sentences=further(given, change, circumstance, found, power),
        brake_power_change=power.change,
        power_place=power.place,
        power_corrections=power.corrections,
        next_measurement=next_measurement(
            given, judged, row, verdict, found.reading_cause, change, circumstance
        ),
        prior_sensitivity=variations(judged, reading, question, given.margin),
    )


def _read(
    given: PairInput, judged: Judgement, reading: Reading, matched: Matched | None
) -> PairResult:
    """Return what the judgement and the full load say by themselves, still without a verdict."""
    rows, agreed = by_speed(judged, matched), agreement(given.seen, matched)
    skew = interval(judged.posterior, reading.skew[0])
    return replace(
        _bare(given),
        airflow_change_indicated=None if matched is None else matched.indicated().interval(),
        sensor_skew=skew,
        fuel_change=_state(matched, "mdot_fuel_kgps", "fuel"),
        manifold_pressure_change=_state(matched, "p_manifold_pa", "manifold_pressure"),
        estimates=estimate_rows(given.seen, matched, agreed),
        causes=rank_causes(judged.posterior),
        by_speed=rows,
        full_load=full_load(matched, rows, given.setup.engine),
        budget=budget_rows(given.seen, given.numbers, given.is_after),
        free_evidence=free_evidence(judged),
        routes_agree_probability=None if agreed is None else agreed.probability,
        spool_up=given.spool_up,
        equivalent_bore=equivalent_bore(given.bore_before_m, skew),
    )


def _with_parts(found: PairResult, change: Change | None) -> PairResult:
    """Return the answer with the engine's change and its parts, if full load was matched."""
    if change is None:
        return found
    parts = change.parts
    of_tune = change.part(parts.intake + parts.demand + parts.feedback)
    return replace(
        found,
        airflow_change_tune=of_tune if found.question == TUNE else None,
        airflow_change=change.engine_interval,
        airflow_change_weather=change.part(parts.weather),
        airflow_change_intake=change.part(parts.intake),
        airflow_change_demand=change.part(parts.demand),
        airflow_change_feedback=change.part(parts.feedback),
        demand_feedback_joint=change.part(parts.demand + parts.feedback) if parts.joint else None,
        intake_ceiling=change.part(parts.ceiling),
        probability_of_gain=change.engine.stated.above(),
        probability_of_intake_gain=change.intake.stated.above(),
        boost_control=tuple(
            LawRow(law=b.law.value, probability=b.probability, source=b.source) for b in parts.laws
        ),
    )


def _state(matched: Matched | None, name: str, size: str) -> Interval | None:
    if matched is None:
        return None
    own = getattr(matched.sizes, size)
    change = matched.state(name, run=own.run, between=own.run * float(np.sqrt(own.between)))
    return None if change is None else change.interval()


def _bare(given: PairInput) -> PairResult:
    """Return an answer that says nothing yet."""
    return PairResult(
        intake=given.intake,
        tune=given.tune,
        baseline=given.baseline,
        question=given.question,
        verdict=Verdict.UNDETERMINED,
        reading_cause=ReadingCause.OPEN,
        sentence="",
        next_measurement=more_pulls("the two configurations share nothing that can be compared"),
    )


def _without_match(given: PairInput) -> PairResult:
    """Return the answer where the configurations share no state."""
    bare = _bare(given)
    return replace(bare, sentence=sentence(bare), estimates=estimate_rows(given.seen, None))
