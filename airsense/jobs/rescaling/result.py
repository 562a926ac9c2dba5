"""What `rescale` answers; JSON by the contract."""

from __future__ import annotations

from dataclasses import dataclass

import airsense
from airsense.evidence.causes import CauseResult
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.verdict import ReadingCause
from airsense.jobs.comparison.result import PriorRow
from airsense.jobs.log_use import LogUse
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Interval, Presented
from airsense.transfer.cautions import TABLE_CAUTIONS
from airsense.transfer.cells import Cell
from airsense.transfer.decision import Decision, Model


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteUse:
    """A route to the true flow, and whether it was used."""

    method: str
    used: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RescaleResult(Presented):
    """The new table with what supports it.

    `scale` is the mean correction over what was measured, a factor on flow; `indicated_surplus`
    and `reading_cause` are those of a comparison of the same logs, None without a baseline.
    `residual_before` and `residual_after` are root mean squares of ln(true/indicated) over the
    operating states, with the old table and with the correction that the logs ask for.
    """

    schema: str = "airsense.rescale/2"
    version: str = airsense.__version__
    engine: str = ""
    decision: Decision
    sentence: str
    model: Model
    scale: Interval
    indicated_surplus: Interval | None
    reading_cause: ReadingCause
    signal_unit: str
    cells: tuple[Cell, ...]
    residual_before: float
    residual_after: float
    causes: tuple[CauseResult, ...]
    next_measurement: NextMeasurement | None
    equivalent_bore_m: Interval | None
    bore_after_m: float | None
    findings: tuple[Finding, ...]
    runs: int = 0
    baseline_runs: int = 0
    routes: tuple[RouteUse, ...] = ()
    logs: tuple[LogUse, ...] = ()
    priors: tuple[PriorRow, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    inputs: tuple[InputFile, ...] = ()
    cautions: tuple[str, ...] = (*CAUTIONS, *TABLE_CAUTIONS)
    units_read: str = "si"
