"""Plan a test: how many runs, in which order, and which sensor, to settle a change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import airsense
from airsense.errors import InputError
from airsense.evidence.planning import (
    MAX_RUNS,
    Component,
    PlannedQuantity,
    Rows,
    RunOrder,
    Wish,
    forecast,
    run_orders,
    runs_needed,
)
from airsense.evidence.planning_channels import (
    BORE,
    USUAL_CHANNELS,
    WEIGHED_FUEL,
    NextMeasurement,
    Pilot,
    rank_additions,
    rows_for,
)
from airsense.evidence.verdict import percent
from airsense.jobs.pairing import make_runs
from airsense.jobs.pilot import channels_of, pilot_of
from airsense.jobs.provenance import file_input, setup_inputs
from airsense.logs.canon import CANON
from airsense.logs.read import read_log
from airsense.results import CAUTIONS, Assumption, InputFile, Presented
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_engine

SCHEMA = "airsense.plan/1"
# Runs at which a plan is shown when no number of runs meets the wish.
RUNS_IF_OUT_OF_REACH = 6
_NAMES = {
    PlannedQuantity.AIRFLOW_CHANGE: "the engine's air",
    PlannedQuantity.SENSOR_SKEW: "the sensor's reading",
    PlannedQuantity.BRAKE_POWER_CHANGE: "brake power",
}
SHOWN_RUNS = (1, 2, 3, 4, 6, 8, 12, 20, 30)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsRow:
    """What a number of runs of each configuration gives.

    `half_width` and `detectable_change` are for configurations that alternate; the others for
    all runs of one configuration first.
    """

    runs_per_configuration: int
    half_width: float
    detectable_change: float
    half_width_one_after_the_other: float
    detectable_change_one_after_the_other: float


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRow:
    """The same wish for another quantity; None where no number of runs meets it."""

    quantity: PlannedQuantity
    runs_per_configuration: int | None
    detectable_change: float
    half_width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult(Presented):
    """The plan; JSON by the contract.

    `runs_per_configuration` is None where no number up to `MAX_RUNS` meets the wish;
    `detectable_change`, `half_width` and `budget` then hold for `planned_runs`.
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
    next_measurement: tuple[NextMeasurement, ...]
    channels: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = CAUTIONS
    inputs: tuple[InputFile, ...] = ()


def run(
    engine_file: Path,
    logs: Sequence[Path] = (),
    *,
    sensors: Sequence[str] = (),
    quantity: PlannedQuantity = PlannedQuantity.AIRFLOW_CHANGE,
    wish: Wish | None = None,
) -> PlanResult:
    """Plan a test from the engine, and from pilot logs where there are any.

    Parameters
    ----------
    engine_file : Path
        engine.toml.
    logs : sequence of Path
        Pilot logs of one configuration: their channels are those of the test, and the scatter
        of two or more of them replaces the default.
    sensors : sequence of str
        Canonical channels that the test will have besides; alone, they replace the usual ones.
    quantity : PlannedQuantity
        What the test is for.
    wish : Wish, optional
        Change, power and confidence.

    Raises
    ------
    InputError
        If a file or a name cannot be used, or the channels say nothing about the quantity.
    """
    setup = load_engine(engine_file)
    asked = wish or Wish()
    named = frozenset(_known(name) for name in sensors)
    if logs:
        runs = make_runs([read_log(p, channels=setup.channels) for p in logs], setup)
        channels, pilot = named | channels_of(runs), pilot_of(runs, setup)
    else:
        channels, pilot = named or frozenset({*USUAL_CHANNELS, *setup.channels}), Pilot()
    result = plan(
        channels, setup, pilot, quantity=quantity, wish=asked, declared=bool(named or logs)
    )
    pilots = tuple(file_input(path, "pilot log") for path in logs)
    return replace(result, inputs=(*setup_inputs(engine_file, setup), *pilots))


def plan(
    channels: frozenset[str],
    setup: EngineSetup,
    pilot: Pilot,
    *,
    quantity: PlannedQuantity,
    wish: Wish,
    declared: bool,
) -> PlanResult:
    """Return the plan for a set of channels; see `run`."""
    rows = rows_for(channels, setup, pilot)
    if not rows.can(quantity):
        raise _says_nothing(quantity, channels)
    needed = runs_needed(rows, quantity, wish)
    shown = RUNS_IF_OUT_OF_REACH if needed is None else needed
    found = forecast(rows, quantity, shown)
    additions = rank_additions(channels, setup, pilot, quantity=quantity, wish=wish, runs=shown)
    return PlanResult(
        quantity=quantity,
        wish=wish,
        runs_per_configuration=needed,
        planned_runs=shown,
        detectable_change=found.detectable(wish),
        half_width=found.half_width(wish.confidence),
        sentence=_sentence(quantity, wish, needed, found.detectable(wish)),
        budget=found.components,
        by_runs=tuple(_row(rows, quantity, wish, n) for n in sorted({*SHOWN_RUNS, shown})),
        by_quantity=tuple(
            _quantity_row(rows, other, wish, shown) for other in PlannedQuantity if rows.can(other)
        ),
        run_orders=run_orders(shown),
        next_measurement=additions,
        channels=tuple(sorted(channels)),
        assumptions=_assumptions(channels, pilot, declared=declared),
    )


def _known(name: str) -> str:
    if name in CANON or name in (WEIGHED_FUEL, BORE):
        return name
    raise InputError(
        "unknown sensor",
        where="--sensor",
        got=name,
        allowed=", ".join((*CANON, WEIGHED_FUEL, BORE)),
        fix="name a canonical channel; `airsense channels LOG` shows those of a log",
    )


def _says_nothing(quantity: PlannedQuantity, channels: frozenset[str]) -> InputError:
    power = quantity is PlannedQuantity.BRAKE_POWER_CHANGE
    return InputError(
        f"these channels say nothing about {quantity.value.replace('_', ' ')}",
        where="--sensor, or the pilot logs",
        got=", ".join(sorted(channels)),
        allowed="brake power or torque"
        if power
        else "manifold or boost pressure, or fuel quantity with a wide-band lambda",
        fix="add such a channel with --sensor, or plan for another --quantity",
    )


def _row(rows: Rows, quantity: PlannedQuantity, wish: Wish, runs: int) -> RunsRow:
    mixed = forecast(rows, quantity, runs)
    blocks = forecast(rows, quantity, runs, alternating=False)
    return RunsRow(
        runs_per_configuration=runs,
        half_width=mixed.half_width(wish.confidence),
        detectable_change=mixed.detectable(wish),
        half_width_one_after_the_other=blocks.half_width(wish.confidence),
        detectable_change_one_after_the_other=blocks.detectable(wish),
    )


def _quantity_row(rows: Rows, quantity: PlannedQuantity, wish: Wish, runs: int) -> QuantityRow:
    found = forecast(rows, quantity, runs)
    return QuantityRow(
        quantity=quantity,
        runs_per_configuration=runs_needed(rows, quantity, wish),
        detectable_change=found.detectable(wish),
        half_width=found.half_width(wish.confidence),
    )


def _sentence(quantity: PlannedQuantity, wish: Wish, needed: int | None, smallest: float) -> str:
    what = f"a change of {_NAMES[quantity]} by {percent(wish.change).lstrip('+')}"
    sure = f"with {100 * wish.power:g} % power at {100 * wish.confidence:g} % confidence"
    if needed is None:
        return (
            f"No number of runs up to {MAX_RUNS} of each configuration shows {what} {sure}; "
            f"{RUNS_IF_OUT_OF_REACH} runs of each show one of {percent(smallest).lstrip('+')}. "
            "Another measurement is needed."
        )
    return (
        f"{needed} runs of each configuration, in alternation, show {what} {sure}; "
        f"the smallest that they show is {percent(smallest).lstrip('+')}."
    )


def _assumptions(
    channels: frozenset[str], pilot: Pilot, *, declared: bool
) -> tuple[Assumption, ...]:
    learned = pilot.effects is not None
    return (
        Assumption(
            quantity="channels of the test",
            value=", ".join(sorted(channels)),
            source="declared or logged" if declared else "assumed: what is usual; see --sensor",
        ),
        Assumption(
            quantity="run-to-run scatter",
            value="updated by the pilot logs" if learned else "default standard uncertainties",
            source="repeats in the pilot logs"
            if learned
            else "our choice; [uncertainty] overrides",
        ),
        Assumption(
            quantity="alternating runs",
            value="each swap of the intake draws drift, heat soak and weather anew",
            source="so alternate run by run, and let the engine reach one temperature before each",
        ),
    )
