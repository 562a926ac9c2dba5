"""Several intakes and tunes against one baseline: from campaign.toml to pairs and a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from airsense.errors import InputError
from airsense.estimates.weather import with_weather
from airsense.evidence.matched import LnChange
from airsense.evidence.priors import PriorTable
from airsense.evidence.ranking import (
    Contender,
    PricePerPower,
    RankRow,
    power_of_intake,
    price_per_power,
    rank,
)
from airsense.evidence.run_order import OrderDrift
from airsense.evidence.spool_up import spool_up
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.campaigning.findings import (
    bore_findings,
    family,
    order_findings,
    untold,
)
from airsense.jobs.campaigning.layout import Layout, Pairing
from airsense.jobs.compare import split_assumptions, window_of
from airsense.jobs.comparison.given import TUNE, PairInput
from airsense.jobs.comparison.logs import (
    log_uses,
    match_findings,
    odd_findings,
    prior_rows,
)
from airsense.jobs.comparison.odd import left_out, odd_logs, outvoted
from airsense.jobs.comparison.pair import Weighed, compare_pair
from airsense.jobs.comparison.proposals import BASELINE_AGAIN
from airsense.jobs.comparison.result import CompareResult, PairResult
from airsense.jobs.curves import curves_of
from airsense.jobs.declared import prior_table
from airsense.jobs.driven_window import require_driven
from airsense.jobs.observe import input_file, make_runs, observe
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.suggest import read_logs
from airsense.results import Assumption
from airsense.setup.campaign import Campaign, load_campaign
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine


def run(
    campaign_file: Path, *, rpm: tuple[float, float] | None = None, margin: float = DEFAULT_MARGIN
) -> CompareResult:
    """Compare all intakes of a campaign file.

    Raises
    ------
    InputError
        If a file, a key or the logs' content cannot be used.
    """
    campaign = load_campaign(campaign_file)
    folder = Path(campaign_file).parent
    setup = load_engine(folder / campaign.engine)
    logs = read_logs((folder / r.log for r in campaign.run), setup.channels)
    result = compare_campaign(campaign, logs, setup, rpm=rpm, margin=margin)
    own = (
        file_input(campaign_file, "campaign"),
        *setup_inputs(folder / campaign.engine, setup),
    )
    return replace(result, inputs=(*own, *result.inputs))


def compare_campaign(
    campaign: Campaign,
    logs: Sequence[Log],
    setup: EngineSetup,
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = DEFAULT_MARGIN,
) -> CompareResult:
    """Compare the logs of a campaign, one for each of its runs; see `run`."""
    _refuse_copies(logs)
    pairs = zip(logs, campaign.run, strict=True)
    runs = make_runs(
        [with_weather(log, r, campaign.weather, setup.weather) for log, r in pairs], setup
    )
    # The pairs say anew which of their runs is the second configuration.
    seen = observe(runs, setup, [False] * len(runs))
    require_driven(seen.cells, rpm)
    layout = Layout(campaign=campaign, seen=seen, setup=setup, rpm=rpm, margin=margin)
    table = prior_table(setup.priors, campaign.measured)
    roles = [c.name for c in layout.of_run]
    odd = odd_logs(seen, roles, setup.engine)
    aside = outvoted(odd, roles)
    other = replace(layout, without=() if aside else left_out(odd, roles))
    layout = replace(layout, without=aside)
    done = [_Done.of(layout, pairing, table) for pairing in layout.pairings]
    results = tuple(d.result for d in done)
    again = [_Done.of(other, p, table) for p in other.pairings if other.without != aside]
    return CompareResult(
        engine=setup.engine.name,
        window=window_of(seen, done[0].weighed),
        margin=margin,
        pairs=results,
        logs=log_uses(seen, roles, odd, aside),
        priors=prior_rows(table),
        findings=(
            *match_findings(seen, roles),
            *odd_findings(results, [d.result for d in again], odd, seen.runs, aside),
            *seen.findings,
            *order_findings(layout),
            *bore_findings(layout, results),
        ),
        assumptions=_assumptions(layout, done),
        inputs=tuple(input_file(r, name) for r, name in zip(runs, roles, strict=True)),
        ranking=tuple(row for tune in campaign.tunes() for row in _ranking(campaign, done, tune)),
        price_per_kw=tuple(_prices(campaign, done)),
        curves=curves_of(seen, layout.matched or done[0].weighed.matched, setup, roles),
        boost_control=results[0].boost_control,
        power_corrections=results[0].power_corrections,
        units_read=own_units(logs),
    )


def _assumptions(layout: Layout, done: Sequence[_Done]) -> tuple[Assumption, ...]:
    """Return what all pairs take for granted, each once."""
    split = [a for d in done for a in split_assumptions(d.weighed)]
    return tuple(dict.fromkeys((*layout.seen.assumptions, *family(layout), *split)))


def _refuse_copies(logs: Sequence[Log]) -> None:
    """A copy of a log is no repeat: it would make intervals too narrow."""
    seen: dict[str, str] = {}
    for log in logs:
        if log.sha256 and log.sha256 in seen:
            raise InputError(
                "two logs of the campaign have the same content",
                where=log.path,
                got=f"a copy of {seen[log.sha256]}",
                allowed="a log of its own for each run",
                fix="name the right log, or take the second [[run]] out; a repeat is a new run",
            )
        seen[log.sha256] = log.path


@dataclass(frozen=True, slots=True, kw_only=True)
class _Done:
    """A pair with what its answer and the ranking are made of."""

    pairing: Pairing
    drift: OrderDrift | None
    weighed: Weighed
    result: PairResult

    @classmethod
    def of(cls, layout: Layout, pairing: Pairing, table: PriorTable) -> _Done:
        drift = layout.drift(pairing)
        given = _pair_input(layout, pairing, table)
        if drift is not None:
            own = LnChange(value=drift.value, u=drift.u, dof=drift.dof)
            given = replace(given, drift=own)
        weighed = compare_pair(given)
        result = weighed.result
        if pairing.question != TUNE and weighed.change is not None and untold(layout, pairing):
            result = replace(result, next_measurement=BASELINE_AGAIN)
        return cls(pairing=pairing, drift=drift, weighed=weighed, result=result)


def _pair_input(layout: Layout, pairing: Pairing, table: PriorTable) -> PairInput:
    before, after = (layout.numbers(c) for c in (pairing.before, pairing.after))
    old, new = ([layout.traces[k] for k in own] for own in (before, after))
    tune = pairing.question == TUNE
    return PairInput(
        seen=layout.seen,
        before=before,
        after=after,
        setup=layout.setup,
        table=table,
        intake=pairing.after.intake,
        tune=pairing.after.tune,
        baseline=pairing.before.name if tune else pairing.before.intake,
        question=pairing.question,
        one_session=layout.one_session(pairing),
        margin=layout.margin,
        rpm=layout.rpm,
        depression_pa=(
            layout.depression_pa(pairing.before.intake),
            layout.depression_pa(pairing.after.intake),
        ),
        bore_before_m=layout.bore_m(pairing.before.intake),
        measured=layout.campaign.measured,
        spool_up=spool_up(old, new, layout.seen.sizes),
    )


def _ranking(campaign: Campaign, done: Sequence[_Done], tune: str) -> tuple[RankRow, ...]:
    contenders = []
    for d in _of_intakes(done):
        change, shown = d.weighed.change, d.result.airflow_change_intake
        if d.pairing.after.tune == tune and change is not None and shown is not None:
            contenders.append(
                Contender(
                    intake=d.result.intake,
                    change=change.parts.intake,
                    weight=change.weight,
                    airflow_change=shown,
                    of_baseline=_of_baseline(d.weighed),
                )
            )
    return rank(tune, campaign.baseline, contenders) if contenders else ()


def _of_intakes(done: Sequence[_Done]) -> list[_Done]:
    return [d for d in done if d.pairing.question != TUNE]


def _of_baseline(weighed: Weighed) -> float:
    """Return the share of the variance of the intake's part that the baseline's runs scatter."""
    assert weighed.change is not None
    assert weighed.matched is not None
    weight, values = weighed.change.weight, weighed.change.parts.intake
    total = float(weight @ (values - weight @ values) ** 2)
    runs = 1.0 / np.bincount(weighed.matched.after.astype(np.intp))
    scatter = weighed.matched.indicated().u ** 2
    return float(np.clip(scatter * runs[0] / runs.sum() / max(total, 1e-12), 0.0, 1.0))


def _prices(campaign: Campaign, done: Sequence[_Done]) -> list[PricePerPower]:
    rows = []
    for d in _of_intakes(done):
        price = campaign.declared(d.result.intake).price
        if price is not None:
            rows.append(_price(d, price))
    return rows


def _price(d: _Done, price: float) -> PricePerPower:
    change, matched, power = d.weighed.change, d.weighed.matched, d.result.brake_power_change
    gained, level = None, float("nan")
    if power is not None and change is not None and matched is not None:
        parts = change.parts
        gained = power_of_intake(
            power, parts.weather + parts.demand + parts.feedback, change.weight
        )
        logged = [matched.level(n, after=False) for n in ("power_w", "wheel_power_w")]
        level = next((w for w in logged if np.isfinite(w)), float("nan"))
    return price_per_power(
        tune=d.result.tune,
        intake=d.result.intake,
        price=price,
        power_change=gained,
        baseline_w=level,
        why_not=_why_no_price(d),
    )


def _why_no_price(d: _Done) -> str:
    intake = d.result.airflow_change_intake
    if intake is None or intake.low <= 0.0:
        return "it is not shown that the intake gave anything"
    if d.drift is not None and not d.drift.told:
        return "the order of the runs cannot tell drift from the intake"
    return ""
