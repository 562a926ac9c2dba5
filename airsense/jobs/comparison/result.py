"""What a comparison answers; JSON by the contract."""

from __future__ import annotations

from dataclasses import dataclass, field

import airsense
from airsense.evidence.causes import CauseResult
from airsense.evidence.curves import Curves
from airsense.evidence.next_measurement import NextMeasurement
from airsense.evidence.ranking import PricePerPower, RankRow
from airsense.evidence.spool_up import SpoolUp
from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.log_use import LogUse
from airsense.results import CAUTIONS, Assumption, Finding, InputFile, Interval, Presented


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The window of engine speed that was used, and what kind of samples."""

    engine_speed_rpm: tuple[float, float]
    bins: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateRow:
    """What one route says about the change of air, and whether it was evidence.

    `change` is that of the engine's air at matched full load, None without it; `surplus` the
    reading over this route alone, after against before.
    """

    method: str
    change: Interval | None
    surplus: Interval | None
    used: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRow:
    """The change in one bin of engine speed at matched full load."""

    engine_speed_rpm: float
    airflow_change_indicated: float
    airflow_change: Interval
    indicated_surplus: Interval
    sensor_skew: Interval
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FullLoadRow:
    """One quantity of both configurations in one bin of engine speed at matched full load.

    The mean of the repeats in `unit`, between the lowest and the highest of them; for the engine's
    air after the change its 95 % interval, from the reading before.
    """

    quantity: str
    unit: str
    engine_speed_rpm: float
    before: Interval
    after: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """A labelled share of the uncertainty of the surplus, as a standard uncertainty (k = 1)."""

    label: str
    u: float
    averages_over_runs: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeEvidence:
    """Moments in which a sensor's right reading is known: how many, and what they showed."""

    kind: str
    found: int
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorVariation:
    """The answer under other priors: `what` says which."""

    what: str
    verdict: Verdict
    indicated_surplus: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class EquivalentBore:
    """The bore that would make the sensor read off by the skew. [m]"""

    before_m: float
    equivalent_m: Interval
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LawRow:
    """How probable a law of boost control is, and on whose word."""

    law: str
    probability: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerRow:
    """Power as measured, and as a named text would correct it: factors by configuration."""

    text: str
    factor_before: float
    factor_after: float
    change: Interval | None
    in_range: bool
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairResult:
    """The answer for one intake against its baseline at one tune, or one tune against another.

    Without matched full load all `airflow_change*` and `brake_power_change` are None; without any
    match `indicated_surplus` and `sensor_skew` too. `probability_of_*` are the model's own.
    """

    intake: str
    tune: str
    baseline: str
    question: str
    verdict: Verdict
    reading_cause: ReadingCause
    sentence: str
    sentences: tuple[str, ...] = ()
    airflow_change_indicated: Interval | None = None
    airflow_change: Interval | None = None
    airflow_change_weather: Interval | None = None
    airflow_change_intake: Interval | None = None
    airflow_change_demand: Interval | None = None
    airflow_change_feedback: Interval | None = None
    airflow_change_tune: Interval | None = None
    demand_feedback_joint: Interval | None = None
    intake_ceiling: Interval | None = None
    indicated_surplus: Interval | None = None
    sensor_skew: Interval | None = None
    brake_power_change: Interval | None = None
    power_place: str = ""
    fuel_change: Interval | None = None
    manifold_pressure_change: Interval | None = None
    estimates: tuple[EstimateRow, ...] = ()
    causes: tuple[CauseResult, ...] = ()
    by_speed: tuple[SpeedRow, ...] = ()
    full_load: tuple[FullLoadRow, ...] = ()
    next_measurement: NextMeasurement
    budget: tuple[BudgetRow, ...] = ()
    free_evidence: tuple[FreeEvidence, ...] = ()
    prior_sensitivity: tuple[PriorVariation, ...] = ()
    probability_of_gain: float | None = None
    probability_of_intake_gain: float | None = None
    probability_of_over_reading: float | None = None
    routes_agree_probability: float | None = None
    boost_control: tuple[LawRow, ...] = ()
    power_corrections: tuple[PowerRow, ...] = ()
    spool_up: SpoolUp | None = None
    equivalent_bore: EquivalentBore | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorRow:
    """One row of the prior table that was used; `size` in `unit` (k = 1)."""

    cause: str
    probability: float
    size: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareResult(Presented):
    """The answer of `compare`; JSON by the contract."""

    schema: str = "airsense.compare/2"
    version: str = airsense.__version__
    engine: str = ""
    window: Window
    margin: float
    pairs: tuple[PairResult, ...]
    logs: tuple[LogUse, ...]
    priors: tuple[PriorRow, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = field(default_factory=tuple)
    ranking: tuple[RankRow, ...] = ()
    price_per_kw: tuple[PricePerPower, ...] = ()
    boost_control: tuple[LawRow, ...] = ()
    power_corrections: tuple[PowerRow, ...] = ()
    curves: Curves | None = None
    units_read: str = "si"
