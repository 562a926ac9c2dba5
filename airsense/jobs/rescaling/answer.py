"""From the judgement to the new table, or to the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.cause import Cause
from airsense.evidence.causes import rank_causes
from airsense.evidence.verdict import ReadingCause
from airsense.jobs.observe import Observations
from airsense.jobs.rescaling.judged import Judged
from airsense.jobs.rescaling.result import RescaleResult, RouteUse
from airsense.results import Finding, Interval
from airsense.setup.engine import EngineSetup
from airsense.transfer.cells import (
    Cell,
    Step,
    coverage_of,
    left_as_it_is,
    make_cells,
    refused,
    untouched,
)
from airsense.transfer.correction import Correction
from airsense.transfer.decision import Decision, Model, doubts, model_of
from airsense.transfer.disagreement import disagreement
from airsense.transfer.findings import (
    baseline_finding,
    bend_finding,
    doubt_finding,
    nothing_usable_finding,
    region_finding,
    rounding_finding,
    single_route_finding,
    table_findings,
)
from airsense.transfer.model import TransferTable
from airsense.transfer.sentence import bore_of, sentence

# From this probability on a bend is told where the mean is not shown to have changed.
BENT = 0.95
LEAST_TOLD_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What an answer is made from beside the judgement."""

    seen: Observations
    table: TransferTable
    setup: EngineSetup
    step: Step
    forced: bool
    level: bool


def answer(given: Given, judged: Judged, sworn: Judged) -> RescaleResult:
    """Return the new table; `sworn` is the judgement that it is made from.

    It is `judged`, unless the user swears that nothing but the table is at work.
    """
    posterior = sworn.judged.posterior
    cells = posterior.reduced.seen.cells
    correction = Correction(posterior=posterior)
    step_s = np.array([r.step_s for r in given.seen.runs])
    cover = coverage_of(given.table, cells, step_s)
    at = cover.axis[cover.measured] if cover.measured.any() else cover.axis
    stated = Correction(posterior=judged.judged.posterior)
    found = doubts(stated.posterior, stated.rows(at))
    lost = judged.cause is ReadingCause.AIR_LOST_BEHIND_SENSOR
    refuse = (lost or any(d.refuses for d in found)) and not given.forced
    change = sworn.change and bool(cover.measured.any())
    decision = Decision.CHANGE if change else Decision.LEAVE_IT
    decision = Decision.REFUSED if refuse else decision
    asked = make_cells(given.table, correction, cover, given.step)
    scale = correction.factor(*cover.ends).interval()
    model = model_of(posterior)
    bent = posterior.probability(Cause.SENSOR_SHAPE) >= BENT
    before, after = disagreement(cells, correction.mean(cells.ln_maf))
    bore = bore_of(scale, given.setup.intake.bore_before_m)
    findings = [doubt_finding(d, forced=given.forced) for d in found]
    if decision is Decision.CHANGE:
        findings += table_findings(asked, given.step)
        rounded = rounding_finding(given.table, np.array([c.flow_new for c in asked]))
        findings += [rounded] if rounded is not None else []
    elif bent and decision is Decision.LEAVE_IT:
        findings.append(bend_finding(asked))
    if given.level:
        findings.append(baseline_finding(scale))
    if len(cells.routes) == 1:
        findings.append(single_route_finding(cells.routes[0]))
    written = tuple(_WRITTEN[decision](c) for c in asked)
    return RescaleResult(
        decision=decision,
        sentence=sentence(decision, model, scale, written, bore, found, given.setup.intake),
        model=model,
        scale=scale,
        indicated_surplus=judged.surplus,
        reading_cause=judged.cause,
        signal_unit=given.table.kind.value,
        cells=written,
        residual_before=before,
        residual_after=before if decision is not Decision.CHANGE else after,
        causes=rank_causes(posterior),
        next_measurement=judged.next_measurement,
        equivalent_bore_m=bore,
        bore_after_m=given.setup.intake.bore_after_m,
        findings=tuple(findings),
    )


def _as_asked(cell: Cell) -> Cell:
    return cell


_WRITTEN = {
    Decision.CHANGE: _as_asked,
    Decision.LEAVE_IT: left_as_it_is,
    Decision.REFUSED: refused,
}


def no_answer(given: Given) -> RescaleResult:
    """Return the answer where no state can be compared: no table can be made."""
    nan = float("nan")
    nothing = nothing_usable_finding()
    return RescaleResult(
        decision=Decision.REFUSED,
        sentence=f"Refused: {nothing.message}. The table stays as it is.",
        model=Model.SCALE,
        scale=Interval(1.0, nan, nan),
        indicated_surplus=None,
        reading_cause=ReadingCause.OPEN,
        signal_unit=given.table.kind.value,
        cells=untouched(given.table),
        residual_before=nan,
        residual_after=nan,
        causes=(),
        next_measurement=None,
        equivalent_bore_m=None,
        bore_after_m=given.setup.intake.bore_after_m,
        findings=(nothing,),
    )


def routes_of(seen: Observations) -> tuple[RouteUse, ...]:
    used = [RouteUse(method=m, used=True, reason="used") for m in seen.cells.routes]
    return (*used, *(RouteUse(method=u.method, used=False, reason=u.reason) for u in seen.unused))


def regions_not_used(seen: Observations) -> list[Finding]:
    """Return what was driven and not used, by kind and reason."""
    seconds: dict[tuple[str, str], list[tuple[int, float]]] = {}
    for k, cut in enumerate(seen.cuts):
        for s in cut.segments:
            if not s.used:
                own = seconds.setdefault((s.kind.word, s.reason), [])
                own.append((k, s.stop_s - s.start_s))
    found = [
        (sum(t for _, t in rows), kind, reason, len({k for k, _ in rows}))
        for (kind, reason), rows in seconds.items()
    ]
    return [
        region_finding(kind, reason, total, logs)
        for total, kind, reason, logs in sorted(found, reverse=True)
        if total >= LEAST_TOLD_S
    ]
