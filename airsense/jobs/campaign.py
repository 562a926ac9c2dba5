"""Several intakes and tunes against one baseline: from campaign.toml to pairs and a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from airsense.errors import InputError
from airsense.evidence.comparison import PairInput, PairResult, Weighed, answer, weigh
from airsense.evidence.ranking import Contender, PricePerPower, RankRow, price_per_power, rank
from airsense.evidence.run_order import OrderedDesign
from airsense.evidence.spool_up import spool_up
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.campaign_findings import bore_findings, family, order_findings
from airsense.jobs.campaign_layout import Cell, Layout, Pairing
from airsense.jobs.compare import CompareResult
from airsense.jobs.curves import curves_of
from airsense.jobs.pairing import input_file, make_ready, make_runs
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.logs.log import Channel, Log
from airsense.logs.own_units import own_units
from airsense.logs.read import read_log
from airsense.setup.campaign import Campaign, CampaignRun, load_campaign
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine

CELSIUS_K = 273.15


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
    logs = [read_log(folder / r.log, channels=setup.channels) for r in campaign.run]
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
    weathered = [with_weather(log, r) for log, r in zip(logs, campaign.run, strict=True)]
    runs = make_runs(weathered, setup)
    ready = make_ready(runs, setup, rpm)
    layout = Layout(campaign=campaign, ready=ready, setup=setup, margin=margin)
    done = [_Done.of(layout, pairing) for pairing in layout.pairings]
    pairs = tuple(d.result for d in done)
    names = [_role(declared) for declared in campaign.run]
    return CompareResult(
        engine=setup.engine.name,
        window=ready.window,
        margin=margin,
        pairs=pairs,
        findings=(*ready.findings, *order_findings(layout), *bore_findings(layout, pairs)),
        assumptions=(*ready.assumptions, *family(layout)),
        inputs=tuple(input_file(r, name) for r, name in zip(runs, names, strict=True)),
        ranking=tuple(row for tune in campaign.tunes() for row in _ranking(layout, done, tune)),
        price_per_kw=tuple(row for tune in campaign.tunes() for row in _prices(layout, done, tune)),
        curves=curves_of(ready, setup, names),
        units_read=own_units(logs),
    )


def with_weather(log: Log, declared: CampaignRun) -> Log:
    """Return the log with the declared weather as channels, where it has none of its own."""
    celsius, kpa = declared.ambient_temperature_c, declared.barometric_pressure_kpa
    known = {
        "ambient_temperature": None if celsius is None else celsius + CELSIUS_K,
        "barometric_pressure": None if kpa is None else kpa * 1e3,
        "relative_humidity": declared.relative_humidity,
    }
    added = {
        name: Channel(
            name=name,
            header="campaign file",
            unit_read="",
            time_s=np.array(log.span_s),
            value=np.full(2, value),
            recognised_by="campaign file",
        )
        for name, value in known.items()
        if value is not None and name not in log
    }
    return replace(log, channels={**log.channels, **added}) if added else log


def _role(declared: CampaignRun) -> str:
    return f"{declared.intake}, {declared.tune}" if declared.tune else declared.intake


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
    ordered: OrderedDesign
    weighed: Weighed
    result: PairResult

    @classmethod
    def of(cls, layout: Layout, pairing: Pairing) -> _Done:
        ordered = layout.design(pairing)
        given = _pair_input(layout, pairing, ordered)
        weighed = weigh(given)
        return cls(pairing=pairing, ordered=ordered, weighed=weighed, result=answer(given, weighed))


def _pair_input(layout: Layout, pairing: Pairing, ordered: OrderedDesign) -> PairInput:
    ready = layout.ready
    old, new = ([layout.traces[k] for k in layout.runs(c)] for c in (pairing.before, pairing.after))
    return PairInput(
        table=ready.table,
        budgets=ready.budgets,
        power_budget=ready.power_budget,
        fuel_budget=ready.fuel_budget,
        design=ordered.design,
        controlled=ready.controlled,
        unused=ready.unused,
        intake=pairing.after.intake,
        tune=pairing.after.tune,
        baseline=pairing.before.intake,
        margin=layout.margin,
        coverage=layout.coverage,
        depression_pa=layout.depression_pa(pairing.before),
        p_ambient_pa=ready.p_ambient_pa(),
        rows=layout.repeats(pairing.before) | layout.repeats(pairing.after),
        spool_up=spool_up(old, new, ready.sizes, coverage=layout.coverage),
    )


def _against_baseline(layout: Layout, done: Sequence[_Done], tune: str) -> list[_Done]:
    baseline = Cell(layout.campaign.baseline, tune)
    return [d for d in done if d.pairing.before == baseline]


def _ranking(layout: Layout, done: Sequence[_Done], tune: str) -> tuple[RankRow, ...]:
    contenders = [
        Contender(
            intake=d.result.intake,
            change=d.weighed.posterior.mixture("true"),
            airflow_change=d.result.airflow_change,
            weights=d.ordered.design.weights,
        )
        for d in _against_baseline(layout, done, tune)
    ]
    return rank(tune, layout.campaign.baseline, contenders) if contenders else ()


def _prices(layout: Layout, done: Sequence[_Done], tune: str) -> list[PricePerPower]:
    rows = layout.repeats(Cell(layout.campaign.baseline, tune))
    power = layout.ready.table.state["power_w"][rows]
    mean_w = float(np.nanmean(power)) if np.isfinite(power).any() else float("nan")
    priced = [
        (d.result, layout.campaign.declared(d.result.intake).price)
        for d in _against_baseline(layout, done, tune)
    ]
    return [
        price_per_power(
            tune=tune,
            intake=result.intake,
            price=price,
            power_change=result.brake_power_change,
            baseline_w=mean_w,
        )
        for result, price in priced
        if price is not None
    ]
