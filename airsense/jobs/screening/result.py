"""The answer of `screen`: one row a log, one row a vehicle."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import airsense
from airsense.evidence.level_routes import State
from airsense.evidence.screening import DriftVerdict
from airsense.results import CAUTIONS, Finding, InputFile, Interval, Presented, Severity


class Outcome(Enum):
    """What became of a log: the verdict of `check`, or why there is none."""

    PLAUSIBLE = "plausible"
    IMPLAUSIBLE = "implausible"
    UNDETERMINED = "undetermined"
    REFUSED = "refused"  # the log cannot be used; the five parts say why
    FAILED = "failed"  # the program could not finish it; it is tried again next time


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """The five parts of what is wrong with a log."""

    what: str
    where: str
    got: str
    allowed: str
    fix: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingCount:
    """How many findings of one kind a log has."""

    code: str
    severity: Severity
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteError:
    """What one route says of a log; `u_repeat` and `state` as in `check`."""

    method: str
    sensor_error: Interval
    u_repeat: float
    state: State | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenRow:
    """One log. `log` is its path below the folder; None or "" where there is no answer.

    `against_others` is the reading against that of the other logs, at the same state; `suspicion`
    the farther of both from zero: above 1 a 95 % interval excludes zero. `dated_by` says whether
    `started` stands in the "log" or in its "name".
    """

    log: str
    outcome: Outcome
    vehicle: str = ""
    sensor_error: Interval | None = None
    against_others: Interval | None = None
    suspicion: float | None = None
    leading_cause: str = ""
    cause_probability: float | None = None
    estimates: tuple[RouteError, ...] = ()
    engine_speed_rpm: tuple[float, float] | None = None
    started: str = ""
    dated_by: str = ""
    reader: str = ""
    sha256: str = ""
    findings: tuple[FindingCount, ...] = ()
    problem: Problem | None = None

    @property
    def finished(self) -> bool:
        """Whether a later run need not do it again."""
        return bool(self.sha256) and self.outcome is not Outcome.FAILED


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedError:
    """A log in the line of a vehicle; the interval holds only what logs do not share."""

    log: str
    started: str
    sensor_error: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class LineEnd:
    """One end of the line through a vehicle's logs."""

    started: str
    sensor_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleRow:
    """One vehicle: does its reading drift against `method`? `change` is over `days`."""

    vehicle: str
    logs: int
    dated: int
    drift: DriftVerdict
    sentence: str
    method: str = ""
    change: Interval | None = None
    days: float | None = None
    scatter: float | None = None
    degrees_of_freedom: float | None = None
    points: tuple[DatedError, ...] = ()
    line: tuple[LineEnd, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeCount:
    """How many logs came out how."""

    outcome: Outcome
    logs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenResult(Presented):
    """The answer of `screen`. `logs` is sorted: the most suspicious first, the refused last."""

    schema: str = "airsense.screen/1"
    version: str = airsense.__version__
    engine: str
    source: str
    sentence: str
    counts: tuple[OutcomeCount, ...]
    logs: tuple[ScreenRow, ...]
    vehicles: tuple[VehicleRow, ...]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = ()

    def holds(self, outcomes: tuple[str, ...]) -> bool:
        """Whether any log came out in one of these ways, or any vehicle drifts."""
        names = {count.outcome.value for count in self.counts if count.logs}
        names |= {row.drift.value for row in self.vehicles}
        return not names.isdisjoint(outcomes)
