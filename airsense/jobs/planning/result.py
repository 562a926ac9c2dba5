"""What a plan answers; JSON by the contract."""

from __future__ import annotations

from dataclasses import dataclass

import airsense
from airsense.evidence.planning.resolution import Component, RunOrder, Wish
from airsense.evidence.planning.states import PlannedQuantity
from airsense.results import CAUTIONS, Assumption, InputFile, Presented

SCHEMA = "airsense.plan/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsRow:
    """What a number of runs of each configuration gives."""

    runs_per_configuration: int
    half_width: float
    detectable_change: float


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRow:
    """The interval of another quantity with the same runs."""

    quantity: PlannedQuantity
    half_width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedMeasurement:
    """A measurement with the worth that the plan gives it; `toml` are lines to fill in, if any.

    `half_width` and `detectable_change` hold at the planned number of runs, `reduction` is the
    part of the interval that the measurement takes away, `runs_per_configuration` about what the
    wish then needs (None beyond the most that is planned).
    """

    key: str
    cost: str
    measurement: str
    reason: str
    toml: str
    half_width: float
    reduction: float
    detectable_change: float
    runs_per_configuration: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult(Presented):
    """The plan; JSON by the contract.

    `runs_per_configuration` is None where no number up to `MAX_RUNS` meets the wish;
    `detectable_change`, `half_width` and `budget` then hold for `planned_runs`. A detectable
    change is infinite where no change up to 15 % is shown by the rules of a verdict.
    """

    schema: str = SCHEMA
    version: str = airsense.__version__
    quantity: PlannedQuantity
    wish: Wish
    runs_per_configuration: int | None
    planned_runs: int
    detectable_change: float
    half_width: float
    sentence: str
    budget: tuple[Component, ...]
    by_runs: tuple[RunsRow, ...]
    by_quantity: tuple[QuantityRow, ...]
    run_orders: tuple[RunOrder, ...]
    next_measurement: tuple[PlannedMeasurement, ...]
    channels: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = ()
