"""What is shown beside a pair's answer: by speed, under other priors, as a bore."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airsense.evidence.judgement import Judgement, Reading, interval, interval_of, over_speeds
from airsense.evidence.matched import LnChange, Matched
from airsense.evidence.verdict import Evidence, Question, decide
from airsense.jobs.comparison.result import EquivalentBore, PriorVariation, SpeedRow
from airsense.results import Interval
from airsense.transfer.tube import bore_sentence
from airsense.transfer.tube import equivalent_bore as bore_of


def by_speed(judged: Judgement, matched: Matched | None) -> tuple[SpeedRow, ...]:
    """Return the change in each bin of engine speed at matched full load, none without it."""
    posterior = judged.posterior
    cells = posterior.reduced.seen.cells
    if matched is None or not np.any(cells.sweep & cells.after):
        return ()
    rows = over_speeds(posterior, matched.speed_rpm, cells.sweep)
    rng = np.random.default_rng(3)
    shown = matched.indicated()
    scatter = LnChange(value=0.0, u=shown.u, dof=shown.dof).draw(posterior.draws.weight.size, rng)
    samples = matched.table.samples[:, matched.filled].sum(axis=0)
    out = []
    for b, ln in enumerate(matched.indicated_by_bin()):
        surplus = posterior.draws.spread @ rows.surplus[b]
        out.append(
            SpeedRow(
                engine_speed_rpm=float(matched.speed_rpm[b]),
                airflow_change_indicated=float(np.expm1(ln)),
                airflow_change=interval_of(ln + scatter - surplus, posterior.draws.weight),
                indicated_surplus=interval_of(surplus, posterior.draws.weight),
                sensor_skew=interval(posterior, rows.skew[b]),
                samples=int(samples[b]),
            )
        )
    return tuple(out)


def variations(
    judged: Judgement, reading: Reading, question: Question, margin: float
) -> tuple[PriorVariation, ...]:
    """Return the answers under other priors."""

    def alone(evidence: Evidence | None, k: int) -> Evidence | None:
        return None if evidence is None else Evidence(stated=evidence.varied[k], varied=())

    rows = []
    for k, v in enumerate(judged.varied):
        shown = interval(v.posterior, reading.surplus[0])
        surplus = alone(question.surplus, k)
        assert surplus is not None
        moved = replace(
            question,
            surplus=surplus,
            surplus_high=shown.high,
            intake=alone(question.intake, k),
            engine=alone(question.engine, k),
        )
        rows.append(
            PriorVariation(what=v.what, verdict=decide(moved, margin), indicated_surplus=shown)
        )
    return tuple(rows)


def equivalent_bore(bore_before_m: float | None, skew: Interval) -> EquivalentBore | None:
    """Return the bore that would make the sensor read off by the skew; None without a bore."""
    if bore_before_m is None:
        return None
    bore = bore_of(bore_before_m, skew)
    return EquivalentBore(
        before_m=bore_before_m,
        equivalent_m=bore,
        sentence=bore_sentence(bore_before_m, skew, bore),
    )
