"""What `rescale` answers; JSON by the contract."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import airsense
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Interval, Presented
from airsense.transfer.cautions import TABLE_CAUTIONS
from airsense.transfer.cells import Cell
from airsense.transfer.cure import CauseTest, CovariateTest, RouteGap
from airsense.transfer.fit import Model


class Decision(Enum):
    """What to do with the table."""

    LEAVE_IT = "leave_it"
    CHANGE = "change"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteUse:
    """A route to the true flow, and whether it was used."""

    method: str
    used: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RescaleResult(Presented):
    """The new table with what supports it.

    `scale` is the mean correction over the range that was measured, a factor on flow.
    `residual_before`, `residual_after` and `residual_left_out` are root mean squares of
    ln(true/indicated) over blocks of half a second: with the old table, with the new one, and
    with a new one that the run in question took no part in.
    """

    schema: str = "airsense.rescale/1"
    version: str = airsense.__version__
    engine: str = ""
    decision: Decision
    sentence: str
    model: Model
    scale: Interval
    signal_unit: str
    cells: tuple[Cell, ...]
    residual_before: float
    residual_after: float
    residual_left_out: float
    degrees_of_freedom: float
    runs: int
    baseline_runs: int
    routes: tuple[RouteUse, ...]
    route_gaps: tuple[RouteGap, ...]
    causes: tuple[CauseTest, ...]
    covariates: tuple[CovariateTest, ...]
    equivalent_bore_m: Interval | None
    bore_after_m: float | None
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...] = ()
    inputs: tuple[InputFile, ...] = ()
    cautions: tuple[str, ...] = (*CAUTIONS, *TABLE_CAUTIONS)
    units_read: str = "si"
