"""All routes in one table: adding one is a file of its own and a row here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from airsense.arrays import BoolArray
from airsense.estimates import (
    brake_power,
    compressor_map,
    depression,
    fuel_lambda,
    fuel_trims,
    speed_density,
)
from airsense.estimates.defaults import Defaults, defaults_for
from airsense.estimates.driven import Driven, everywhere
from airsense.estimates.estimate import Estimate
from airsense.estimates.run import Run
from airsense.setup.engine import EngineSetup, Ignition


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """A route: its name, what it lacks in a run, how it estimates, and where that holds.

    `between_configurations` is False for a route whose scale goes with the intake. `declared`
    says whether the setup has what an optional route needs; without it nothing is said of it.
    """

    method: str
    missing: Callable[[Run], str]
    estimate: Callable[[Run, EngineSetup, Defaults], Estimate]
    holds: Callable[[Driven], BoolArray] = everywhere
    between_configurations: bool = True
    declared: Callable[[EngineSetup], bool] = lambda _: True


ROUTES = (
    Route(
        method=speed_density.METHOD,
        missing=speed_density.missing_for_speed_density,
        estimate=speed_density.speed_density,
        holds=speed_density.holds,
    ),
    Route(
        method=fuel_lambda.METHOD,
        missing=fuel_lambda.missing_for_fuel_lambda,
        estimate=fuel_lambda.fuel_lambda,
        holds=fuel_lambda.holds,
    ),
    Route(
        method=fuel_trims.METHOD,
        missing=fuel_trims.missing_for_fuel_trims,
        estimate=fuel_trims.fuel_trims,
        holds=fuel_trims.holds,
        declared=lambda setup: setup.engine.ignition is Ignition.SPARK,
    ),
    Route(
        method=brake_power.METHOD,
        missing=brake_power.missing_for_brake_power,
        estimate=brake_power.brake_power,
        holds=brake_power.holds,
    ),
    Route(
        method=compressor_map.METHOD,
        missing=compressor_map.missing_for_compressor_map,
        estimate=compressor_map.compressor_map,
        declared=lambda setup: setup.compressor_map is not None,
    ),
    Route(
        method=depression.METHOD,
        missing=depression.missing_for_depression,
        estimate=depression.depression,
        between_configurations=False,
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unused:
    """A route that could not be used for these runs, and why."""

    method: str
    reason: str


def sizes_for(runs: Sequence[Run], setup: EngineSetup) -> Defaults:
    """Return the uncertainties in force: the estimated charge temperature's if any run needs it."""
    return defaults_for(
        setup.uncertainty,
        charge_temperature_estimated=any(r.charge_estimated for r in runs),
        inlet_logged=all(r.t_inlet_k is not None for r in runs if r.charge_estimated),
    )


def usable_routes(
    runs: Sequence[Run], setup: EngineSetup
) -> tuple[tuple[Route, ...], tuple[Unused, ...]]:
    """Return the routes to a change that every run supports, and the others with the reason.

    A route must be there in all runs: one that appears in one configuration only can say nothing
    about the change between them.
    """
    usable: list[Route] = []
    unused: list[Unused] = []
    for route in ROUTES:
        if not (route.between_configurations and route.declared(setup)):
            continue
        lacking = [(run.name, why) for run in runs if (why := route.missing(run))]
        if not lacking:
            usable.append(route)
        elif len(lacking) == len(runs):
            unused.append(Unused(method=route.method, reason=lacking[0][1]))
        else:
            where = ", ".join(name for name, _ in lacking)
            unused.append(Unused(method=route.method, reason=f"{lacking[0][1]} in {where}"))
    return tuple(usable), tuple(unused)
