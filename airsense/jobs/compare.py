"""Is the gain real? Before and after, from logs to a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

import airsense
from airsense.evidence.change import pair_design
from airsense.evidence.comparison import PairInput, PairResult, compare_pair
from airsense.evidence.curves import Curves
from airsense.evidence.ranking import PricePerPower, RankRow
from airsense.evidence.spool_up import spool_up, traces
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs.curves import curves_of
from airsense.jobs.pairing import Ready, Window, input_file, make_ready, make_runs
from airsense.jobs.provenance import setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.read import read_log
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Presented
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareResult(Presented):
    """The answer of `compare`; JSON by the contract."""

    schema: str = "airsense.compare/1"
    version: str = airsense.__version__
    engine: str = ""
    window: Window
    margin: float
    pairs: tuple[PairResult, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = field(default_factory=tuple)
    ranking: tuple[RankRow, ...] = ()
    price_per_kw: tuple[PricePerPower, ...] = ()
    curves: Curves | None = None
    units_read: str = "si"


def run(
    engine_file: Path,
    before: Sequence[Path],
    after: Sequence[Path],
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = DEFAULT_MARGIN,
) -> CompareResult:
    """Compare log files of two configurations.

    Raises
    ------
    InputError
        If a file, a setup key or the logs' content cannot be used.
    """
    setup = load_engine(engine_file)
    logs = [read_log(path, channels=setup.channels) for path in (*before, *after)]
    result = compare_logs(logs[: len(before)], logs[len(before) :], setup, rpm=rpm, margin=margin)
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *result.inputs))


def compare_logs(
    before: Sequence[Log],
    after: Sequence[Log],
    setup: EngineSetup,
    *,
    rpm: tuple[float, float] | None = None,
    margin: float = DEFAULT_MARGIN,
) -> CompareResult:
    """Compare logs of two configurations; see `run`."""
    runs = make_runs([*before, *after], setup)
    ready = make_ready(runs, setup, rpm)
    is_after = [k >= len(before) for k in ready.run_of_segment]
    shown = traces(runs, setup, ready.sizes)
    pair = compare_pair(
        PairInput(
            table=ready.table,
            budgets=ready.budgets,
            power_budget=ready.power_budget,
            fuel_budget=ready.fuel_budget,
            design=pair_design(is_after),
            controlled=ready.controlled,
            unused=ready.unused,
            intake="after",
            tune="",
            baseline="before",
            margin=margin,
            depression_pa=depression(ready, setup, is_after),
            p_ambient_pa=ready.p_ambient_pa(),
            bore_before_m=setup.intake.bore_before_m,
            spool_up=spool_up(shown[: len(before)], shown[len(before) :], ready.sizes),
        )
    )
    names = ["after" if k >= len(before) else "before" for k in range(len(runs))]
    return CompareResult(
        engine=setup.engine.name,
        window=ready.window,
        margin=margin,
        pairs=(pair,),
        findings=ready.findings,
        assumptions=ready.assumptions,
        inputs=tuple(input_file(r, name) for r, name in zip(runs, names, strict=True)),
        curves=curves_of(ready, setup, names),
        units_read=own_units([*before, *after]),
    )


def depression(ready: Ready, setup: EngineSetup, is_after: Sequence[bool]) -> float | None:
    """Return the baseline's largest intake depression, declared or logged. [Pa]"""
    declared = setup.intake.depression_before_kpa
    if declared is not None:
        return declared * 1e3
    logged = ready.table.state["depression_pa"][~np.asarray(is_after)]
    return float(np.nanmax(np.abs(logged))) if np.isfinite(logged).any() else None
