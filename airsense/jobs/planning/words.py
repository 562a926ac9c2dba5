"""What a plan says in words, and what it refuses."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airsense.errors import InputError
from airsense.evidence.planning.resolution import LARGEST_CHANGE, MAX_RUNS, Forecast, Wish
from airsense.evidence.planning.states import PlannedQuantity
from airsense.jobs.comparison.sentences import percent
from airsense.jobs.planning.result import PlannedMeasurement
from airsense.logs.canon import CANON
from airsense.results import Assumption

# Below this a change drowns in what no workshop controls; and who asks for 0.01 means a fraction.
LEAST_CHANGE = 0.001
_NAMES = {
    PlannedQuantity.AIRFLOW_CHANGE: "the engine's air",
    PlannedQuantity.INDICATED_SURPLUS: "the reading over the engine's air",
    PlannedQuantity.SENSOR_SKEW: "the sensor's reading",
    PlannedQuantity.BRAKE_POWER_CHANGE: "brake power",
}


def refuse_tiny(wish: Wish) -> None:
    """Refuse a change that cannot be planned for.

    Raises
    ------
    InputError
        With the reason.
    """
    if wish.change < LEAST_CHANGE:
        raise InputError(
            "the change that is asked for is too small to plan for",
            where="--change",
            got=f"{100.0 * wish.change:g} %",
            allowed=f"{100.0 * LEAST_CHANGE:g} % or more; --change is in percent",
            fix="give the change in percent: 1 means 1 %, not 0.01; below 0.1 % the weather and "
            "the temper of an engine from pull to pull decide",
        )


def known(name: str) -> str:
    """Return the name of a channel.

    Raises
    ------
    InputError
        If it is none.
    """
    if name in CANON:
        return name
    raise InputError(
        "unknown sensor",
        where="--sensor",
        got=name,
        allowed=", ".join(CANON),
        fix="name a canonical channel; `airsense channels LOG` shows those of a log",
    )


def says_nothing(quantity: PlannedQuantity, channels: frozenset[str]) -> InputError:
    """Return the error of channels that say nothing about a quantity."""
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


def sentence(
    quantity: PlannedQuantity,
    wish: Wish,
    needed: int | None,
    found: Forecast,
    measurements: Sequence[PlannedMeasurement],
) -> str:
    """Return the answer in words."""
    what = f"a change of {_NAMES[quantity]} by {percent(wish.change).lstrip('+')}"
    sure = f"{100 * wish.power:g} times of 100"
    if needed is not None:
        return (
            f"{needed} runs of each configuration, in alternation, show {what} {sure}; "
            f"the smallest that they show is {percent(found.detectable_change).lstrip('+')}, the "
            f"interval is +- {percent(found.half_width).lstrip('+')}."
        )
    return (
        f"No number of pulls (up to {MAX_RUNS} of each configuration) settles {what}"
        f"{_without(measurements)}. {found.runs} runs of each {_smallest(found)}; their interval "
        f"is +- {percent(found.half_width).lstrip('+')}."
    )


def _without(measurements: Sequence[PlannedMeasurement]) -> str:
    """Return the measurement without which pulls do not settle it."""
    for m in measurements:
        if m.runs_per_configuration is not None:
            return f" without this: {m.measurement.rstrip('.')}"
    best = max(measurements, key=lambda m: m.reduction, default=None)
    if best is None:
        return ""
    left = percent(best.half_width).lstrip("+")
    return f"; what helps most, and leaves +- {left}: {best.measurement.rstrip('.')}"


def _smallest(found: Forecast) -> str:
    if np.isfinite(found.detectable_change):
        return f"show one of {percent(found.detectable_change).lstrip('+')}"
    return f"show none up to {100 * LARGEST_CHANGE:g} %"


def assumptions(
    channels: frozenset[str], pilot_runs: int, *, declared: bool
) -> tuple[Assumption, ...]:
    """Return what the plan takes for granted."""
    learned = pilot_runs > 1
    return (
        Assumption(
            quantity="channels of the test",
            value=", ".join(sorted(channels)),
            source="declared or logged" if declared else "assumed: what is usual; see --sensor",
        ),
        Assumption(
            quantity="states of a run",
            value="those of the pilot log" if pilot_runs else "a usual full-load pull",
            source="logged" if pilot_runs else "assumed: give a pilot log with --log",
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
            value="weather and heat soak are the same for both configurations",
            source="so alternate run by run, and let the engine reach one temperature before each",
        ),
    )
