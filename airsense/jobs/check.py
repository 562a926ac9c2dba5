"""Is the reading credible? One or more logs of one configuration against the routes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

import airsense
from airsense.arrays import FloatArray
from airsense.estimates import maf
from airsense.estimates.defaults import DEFAULT_DOF
from airsense.estimates.segments import Kind
from airsense.evidence.bins import BinTable, Repeat, bin_runs, common_window
from airsense.evidence.causes import CauseResult
from airsense.evidence.curves import Curves, apparent_points, draw_curves
from airsense.evidence.level import (
    CheckVerdict,
    Level,
    LevelRow,
    judge_level,
)
from airsense.evidence.level_routes import LevelEstimate, LevelInput, Recirculation
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.sensor_shape import SensorShape, ln_reading, sensor_shape, shape_findings
from airsense.jobs.channels import ChannelRow, channel_rows
from airsense.jobs.checking.free import level_free_evidence
from airsense.jobs.checking.next_step import level_budget, propose_for_level
from airsense.jobs.comparison.logs import log_uses, match_findings, prior_rows
from airsense.jobs.comparison.result import BudgetRow, FreeEvidence, PriorRow, Window
from airsense.jobs.driven_window import require_driven
from airsense.jobs.log_use import LogUse
from airsense.jobs.observe import Observations, input_file, make_runs, observe
from airsense.jobs.provenance import setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.suggest import read_logs
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Interval, Presented
from airsense.setup.engine import EngineSetup, Ignition
from airsense.setup.load import load_engine

ROLE = "log"
_VALVE_SHUT = Assumption(
    quantity="exhaust gas recirculation",
    value="shut in the states that are used: full-load pulls, or the group of high apparent "
    "breathing at high load",
    source="the logs do not hold its rate",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult(Presented):
    """The answer of `check`; JSON by the contract. `sensor_error`: indicated over true, less 1.

    It is None where nothing under load could be held against a route.
    """

    schema: str = "airsense.check/1"
    version: str = airsense.__version__
    engine: str
    verdict: CheckVerdict
    sentence: str
    sensor_error: Interval | None
    window: Window
    estimates: tuple[LevelEstimate, ...]
    causes: tuple[CauseResult, ...]
    by_speed: tuple[LevelRow, ...]
    next_measurement: NextMeasurement
    budget: tuple[BudgetRow, ...]
    degrees_of_freedom: float
    findings: tuple[Finding, ...]
    channels: tuple[ChannelRow, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = ()
    curves: Curves | None = None
    units_read: str = "si"
    sensor_shape: SensorShape | None = None
    logs: tuple[LogUse, ...] = ()
    priors: tuple[PriorRow, ...] = ()
    free_evidence: tuple[FreeEvidence, ...] = ()


def run(
    logs: Sequence[Path], engine_file: Path, *, rpm: tuple[float, float] | None = None
) -> CheckResult:
    """Check log files of one configuration.

    Raises
    ------
    InputError
        If a file, a setup key or the logs' content cannot be used.
    """
    setup = load_engine(engine_file)
    result = check_logs(read_logs(logs, setup.channels), setup, rpm=rpm)
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *result.inputs))


def check_logs(
    logs: Sequence[Log], setup: EngineSetup, *, rpm: tuple[float, float] | None = None
) -> CheckResult:
    """Check logs of one configuration; see `run`."""
    runs = make_runs(logs, setup)
    seen = observe(runs, setup, [True] * len(runs))
    require_driven(seen.cells, rpm)
    given = _given(seen, setup, rpm)
    level = judge_level(given)
    repeats, table = binned(seen, rpm)
    shape = sensor_shape(repeats, setup, seen.sizes, rpm)
    free, found = level_free_evidence(seen)
    taken = () if given.recirculation is Recirculation.EXCLUDED else (_VALVE_SHUT,)
    count, roles = len(runs) - len(seen.no_match), [ROLE] * len(runs)
    return CheckResult(
        engine=setup.engine.name,
        verdict=level.verdict,
        sentence=_with_reasons(level, seen),
        sensor_error=level.sensor_error,
        window=_window(given),
        estimates=level.estimates,
        causes=level.causes,
        by_speed=level.by_speed,
        next_measurement=propose_for_level(
            level, seen.budget, seen.rest, recirculation=given.recirculation, runs=count
        ),
        budget=level_budget(seen.budget, count),
        degrees_of_freedom=DEFAULT_DOF,
        findings=(
            *match_findings(seen, roles),
            *found,
            *seen.findings,
            *shape_findings(shape),
        ),
        channels=tuple(row for r in runs for row in channel_rows(r.log)),
        assumptions=(*seen.assumptions, *taken),
        inputs=tuple(input_file(r, ROLE) for r in runs),
        curves=_curves(seen, setup, table),
        units_read=own_units(logs),
        sensor_shape=shape,
        logs=log_uses(seen, roles),
        priors=prior_rows(level.table),
        free_evidence=free,
    )


def _given(seen: Observations, setup: EngineSetup, rpm: tuple[float, float] | None) -> LevelInput:
    return LevelInput(
        cells=seen.cells,
        rest=seen.rest,
        budget=seen.budget,
        unused=seen.unused,
        recirculation=recirculation_of(seen, setup),
        rpm=rpm,
    )


def recirculation_of(seen: Observations, setup: EngineSetup) -> Recirculation:
    """Return whether unlogged exhaust gas can lie in the states that are used.

    A valve is shut at full load (common practice, no source): full-load sweeps exclude it.
    """
    used = [k for k in range(len(seen.runs)) if k not in seen.no_match]
    unlogged = [k for k in used if seen.runs[k].egr_rate is None and not seen.sweeps[k]]
    if any(valve is not None and valve.found for valve in (seen.shut[k] for k in unlogged)):
        return Recirculation.SUSPECTED
    if not unlogged or setup.engine.ignition is Ignition.SPARK:
        return Recirculation.EXCLUDED
    return Recirculation.POSSIBLE


def _with_reasons(level: Level, seen: Observations) -> str:
    """Return the level's sentence; where nothing was used, with what each log lacks."""
    if level.sensor_error is not None or not seen.no_match:
        return level.sentence
    reasons = "; ".join(dict.fromkeys(seen.no_match.values()))
    return f"Undetermined: nothing under load can be held against a route: {reasons}."


def _window(given: LevelInput) -> Window:
    laden = given.laden
    speed = given.cells.speed_rpm[laden]
    low, high = (float(speed.min()), float(speed.max())) if speed.size else (0.0, 0.0)
    length = given.cells.length_s[laden]
    swept = float(np.sum(length * given.cells.sweep[laden])) > 0.5 * float(np.sum(length))
    return Window(
        engine_speed_rpm=(low, high),
        bins=int(np.count_nonzero(laden)),
        kind="full-load pulls" if swept else "states driven",
    )


def binned(
    seen: Observations, rpm: tuple[float, float] | None
) -> tuple[list[Repeat], BinTable | None]:
    """Return what each run shows under load as a repeat, and their flows binned by speed."""
    repeats, numbers = [], []
    for k, (r, found) in enumerate(zip(seen.runs, seen.cuts, strict=True)):
        kinds = [Kind.PULL] if seen.sweeps[k] else [Kind.PULL, Kind.HOLD, Kind.DRIVE]
        use = found.use & np.isin(found.kind, kinds)
        if use.any():
            repeats.append(Repeat(run=r, use=use, label=r.name))
            numbers.append(k)
    window = common_window(repeats, rpm)
    if window is None:
        return repeats, None
    flows: dict[str, list[FloatArray]] = {
        maf.METHOD: [ln_reading(s.run.mdot_maf_kgps) for s in repeats]
    }
    flows |= {name: [rows[k].ln_flow for k in numbers] for name, rows in seen.estimates.items()}
    return repeats, bin_runs(repeats, flows, {}, window)


def _curves(seen: Observations, setup: EngineSetup, table: BinTable | None) -> Curves:
    points = apparent_points(seen.runs, seen.shut, setup, [ROLE] * len(seen.runs))
    if table is None:
        return Curves(flows=(), repeats=(), apparent_ve=points)
    budgets = {name: rows[0].budget for name, rows in seen.estimates.items()}
    return draw_curves(table, budgets, [ROLE] * len(table.labels), points)
