"""Is the reading credible? One or more logs of one configuration against the routes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import airsense
from airsense.evidence.causes import CauseResult
from airsense.evidence.curves import Curves
from airsense.evidence.inference import Part
from airsense.evidence.level import CheckVerdict, LevelEstimate, LevelRow, judge_level
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.sensor_shape import SensorShape, sensor_shape, shape_findings
from airsense.jobs.channels import ChannelRow, channel_rows
from airsense.jobs.curves import curves_of
from airsense.jobs.pairing import Window, input_file, make_ready, make_runs
from airsense.jobs.provenance import setup_inputs
from airsense.logs.log import Log
from airsense.logs.own_units import own_units
from airsense.logs.read import read_log
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Interval, Presented
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckResult(Presented):
    """The answer of `check`; JSON by the contract. `sensor_error`: indicated over true, less 1."""

    schema: str = "airsense.check/1"
    version: str = airsense.__version__
    engine: str
    verdict: CheckVerdict
    sentence: str
    sensor_error: Interval
    window: Window
    estimates: tuple[LevelEstimate, ...]
    causes: tuple[CauseResult, ...]
    by_speed: tuple[LevelRow, ...]
    next_measurement: NextMeasurement
    budget: tuple[Part, ...]
    degrees_of_freedom: float
    findings: tuple[Finding, ...]
    channels: tuple[ChannelRow, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = ()
    curves: Curves | None = None
    units_read: str = "si"
    sensor_shape: SensorShape | None = None


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
    read = [read_log(path, channels=setup.channels) for path in logs]
    result = check_logs(read, setup, rpm=rpm)
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *result.inputs))


def check_logs(
    logs: Sequence[Log], setup: EngineSetup, *, rpm: tuple[float, float] | None = None
) -> CheckResult:
    """Check logs of one configuration; see `run`."""
    runs = make_runs(logs, setup)
    ready = make_ready(runs, setup, rpm)
    level = judge_level(ready.table, ready.budgets, ready.unused, controlled=ready.controlled)
    shape = sensor_shape(ready.segments, setup, ready.sizes, ready.window_rpm)
    return CheckResult(
        engine=setup.engine.name,
        verdict=level.verdict,
        sentence=level.sentence,
        sensor_error=level.sensor_error,
        window=ready.window,
        estimates=level.estimates,
        causes=level.causes,
        by_speed=level.by_speed,
        next_measurement=level.next_measurement,
        budget=level.budget,
        degrees_of_freedom=level.degrees_of_freedom,
        findings=(*ready.findings, *shape_findings(shape)),
        channels=tuple(row for r in runs for row in channel_rows(r.log)),
        assumptions=ready.assumptions,
        inputs=tuple(input_file(r, "log") for r in runs),
        curves=curves_of(ready, setup, ["log"] * len(runs)),
        units_read=own_units(logs),
        sensor_shape=shape,
    )
