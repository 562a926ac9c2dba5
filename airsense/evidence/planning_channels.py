"""From the channels that a test will have to the rows of a plan, and what one more would bring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.estimates import brake_power, fuel_lambda, maf, speed_density
from airsense.estimates.defaults import Defaults, Size, defaults_for
from airsense.estimates.estimate import Influence, influence_of
from airsense.estimates.pressures import U_ASSUMED_BAROMETER_RUN_PA
from airsense.evidence.change import ENGINE_BETWEEN, ENGINE_DOF, ENGINE_RUN
from airsense.evidence.effects import Effect, collect_effects, engine_effect, with_run
from airsense.evidence.planning import (
    USUAL_SPEEDS_RPM,
    Forecast,
    PlannedQuantity,
    Rows,
    Wish,
    forecast,
    runs_needed,
)
from airsense.setup.engine import EngineSetup, Induction

FUEL_CHANNELS = ("fuel_mass_flow", "fuel_per_stroke", "fuel_volume_flow")
PRESSURE_CHANNELS = ("manifold_pressure", "boost_pressure")
POWER_CHANNELS = ("brake_power", "brake_torque")
# What a controller and a dynamometer give without any sensor being added.
USUAL_CHANNELS = (
    "engine_speed",
    "mass_air_flow",
    "boost_pressure",
    "fuel_per_stroke",
    "brake_power",
)
GEOMETRY = "geometry"
POWER = "power"
# Pseudo-channels: not logged, but measured once for the test.
WEIGHED_FUEL = "weighed fuel"
BORE = "bore at the sensor"
# Fuel by weight or meter; a bore to 0.1 mm leaves the profile of the flow open (k = 1).
WEIGHED_FUEL_RUN_U = 0.003
BORE_U = 0.02
# State at which kelvins and pascals become fractions where no pilot log tells it.
NOMINAL_T_K = 325.0
NOMINAL_P_PA = 2.5e5


@dataclass(frozen=True, slots=True, kw_only=True)
class Pilot:
    """What pilot logs teach: the operating state, and effects updated by their scatter."""

    t_charge_k: float = NOMINAL_T_K
    p_manifold_pa: float = NOMINAL_P_PA
    speed_rpm: tuple[float, ...] = USUAL_SPEEDS_RPM
    effects: Mapping[str, Effect] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """A measurement that could be added: what it is, why, and the channel it makes."""

    channel: str
    measurement: str
    reason: str


ADDITIONS = (
    Addition(
        channel="barometric_pressure",
        measurement="barometer at each run",
        reason="boost is a gauge pressure; without a barometer the weather moves the absolute one",
    ),
    Addition(
        channel="boost_pressure",
        measurement="manifold or boost pressure",
        reason="it opens the speed-density route, which no intake part can touch",
    ),
    Addition(
        channel="charge_temperature",
        measurement="charge temperature behind the cooler",
        reason="an estimated temperature is three times as loose as a measured one",
    ),
    Addition(
        channel="fuel_per_stroke",
        measurement="fuel quantity from the controller",
        reason="with lambda it opens a route that no intake part can touch",
    ),
    Addition(
        channel="lambda",
        measurement="wide-band lambda in the exhaust",
        reason="with fuel or power it opens a second route that no intake part can touch",
    ),
    Addition(
        channel=WEIGHED_FUEL,
        measurement="independent fuel scale or meter",
        reason="the controller's fuel is commanded, not measured",
    ),
    Addition(
        channel=BORE,
        measurement="bore of both tubes at the sensor, to 0.1 mm",
        reason="the area ratio predicts the skew but for the profile of the flow",
    ),
    Addition(
        channel="inlet_depression",
        measurement="intake depression",
        reason="it bounds what lower restriction can explain, but says nothing of the skew "
        "between two intakes",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMeasurement:
    """A measurement with the worth that the plan gives it.

    `half_width` and `detectable_change` hold at the planned number of runs, `reduction` is the
    part of the interval that the measurement takes away, `runs_per_configuration` what the wish
    then needs (None beyond the most that is planned).
    """

    measurement: str
    reason: str
    half_width: float
    reduction: float
    detectable_change: float
    runs_per_configuration: int | None


def rows_for(channels: frozenset[str], setup: EngineSetup, pilot: Pilot) -> Rows:
    """Return sensor, routes and brake power with their effects for the channels of a test."""
    sizes = defaults_for(
        setup.uncertainty, charge_temperature_estimated="charge_temperature" not in channels
    )
    budgets: dict[str, list[Influence]] = {
        maf.METHOD: [influence_of(sizes.mass_air_flow, key="mass_air_flow")]
    }
    budgets |= _route_budgets(channels, setup, sizes, pilot)
    routes = tuple(range(1, len(budgets)))
    power = None
    if _any(channels, POWER_CHANNELS):
        power = len(budgets)
        budgets[POWER] = [influence_of(sizes.brake_power, key="brake_power")]
    effects = (
        *collect_effects(budgets),
        engine_effect(len(budgets), ENGINE_RUN, ENGINE_BETWEEN, ENGINE_DOF),
    )
    return Rows(
        names=tuple(budgets),
        effects=tuple(_learned(e, pilot) for e in effects),
        routes=routes,
        sensor=0,
        power=power,
        speed_rpm=pilot.speed_rpm,
    )


def _route_budgets(
    channels: frozenset[str], setup: EngineSetup, sizes: Defaults, pilot: Pilot
) -> dict[str, list[Influence]]:
    budgets: dict[str, list[Influence]] = {}
    natural = setup.engine.induction is Induction.NATURALLY_ASPIRATED
    if _any(channels, PRESSURE_CHANNELS):
        budgets[speed_density.METHOD] = _speed_density(channels, sizes, pilot, natural=natural)
    if "lambda" in channels and _any(channels, (*FUEL_CHANNELS, WEIGHED_FUEL)):
        budgets[fuel_lambda.METHOD] = _fuel_lambda(channels, sizes)
    if "lambda" in channels and _any(channels, POWER_CHANNELS):
        budgets[brake_power.METHOD] = [
            influence_of(sizes.brake_power, key="brake_power"),
            _tied(sizes.brake_efficiency, "brake_efficiency"),
            influence_of(sizes.lambda_, key="lambda"),
        ]
    if BORE in channels:
        budgets[GEOMETRY] = [
            influence_of(sizes.mass_air_flow, key="mass_air_flow"),
            Influence(key="bore", label="bore and profile", absolute=0.0, run=0.0, between=BORE_U),
        ]
    return budgets


def _speed_density(
    channels: frozenset[str], sizes: Defaults, pilot: Pilot, *, natural: bool
) -> list[Influence]:
    # A naturally aspirated charge is nearly at ambient temperature: the estimate is a measurement.
    scale = pilot.t_charge_k * (3.0 if natural and "charge_temperature" not in channels else 1.0)
    budget = [
        influence_of(sizes.manifold_pressure, key="manifold_pressure"),
        influence_of(
            sizes.charge_temperature, key="charge_temperature", sensitivity=-1.0, scale=scale
        ),
        influence_of(sizes.engine_speed, key="engine_speed"),
        _tied(sizes.volumetric_efficiency, "volumetric_efficiency"),
    ]
    if "manifold_pressure" not in channels and "barometric_pressure" not in channels:
        u = U_ASSUMED_BAROMETER_RUN_PA / pilot.p_manifold_pa
        budget.append(
            Influence(key="barometer", label="barometer, assumed", absolute=0.0, run=u, between=u)
        )
    return budget


def _fuel_lambda(channels: frozenset[str], sizes: Defaults) -> list[Influence]:
    fuel = sizes.fuel
    if WEIGHED_FUEL in channels:
        fuel = replace(fuel, label="fuel by weight", run=min(fuel.run, WEIGHED_FUEL_RUN_U))
    budget = [influence_of(fuel, key="fuel"), influence_of(sizes.lambda_, key="lambda")]
    if "fuel_per_stroke" in channels and WEIGHED_FUEL not in channels:
        budget.append(influence_of(sizes.engine_speed, key="engine_speed"))
    return budget


def _tied(size: Size, key: str) -> Influence:
    return Influence(key=key, label=size.label, absolute=size.absolute, run=0.0, between=size.run)


def _learned(effect: Effect, pilot: Pilot) -> Effect:
    """Replace the scatter of an effect by what the pilot logs show, if they have it."""
    seen = None if pilot.effects is None else pilot.effects.get(effect.key)
    if seen is None or seen.label != effect.label:
        return effect
    return with_run(effect, run=seen.run, between=seen.between, run_dof=seen.dof_of_run)


def _any(channels: frozenset[str], names: Sequence[str]) -> bool:
    return any(name in channels for name in names)


def rank_additions(
    channels: frozenset[str],
    setup: EngineSetup,
    pilot: Pilot,
    *,
    quantity: PlannedQuantity,
    wish: Wish,
    runs: int,
) -> tuple[NextMeasurement, ...]:
    """Return the measurements that a test lacks, the most telling first.

    The worth of information is the part of the interval that a measurement takes away at the
    planned number of runs; where no route exists yet, a route is worth all of it.
    """
    now = rows_for(channels, setup, pilot)
    base = forecast(now, quantity, runs) if now.can(quantity) else None
    found = [
        _with_addition(
            addition, channels | {addition.channel}, setup, pilot, base, quantity, wish, runs
        )
        for addition in ADDITIONS
        if addition.channel not in channels and not _superfluous(addition.channel, channels)
    ]
    kept = [item for item in found if item is not None]
    return tuple(sorted(kept, key=lambda item: -item.reduction))


def _superfluous(channel: str, channels: frozenset[str]) -> bool:
    if channel == "fuel_per_stroke":
        return _any(channels, (*FUEL_CHANNELS, WEIGHED_FUEL))
    if channel == "boost_pressure":
        return _any(channels, PRESSURE_CHANNELS)
    return channel == "barometric_pressure" and "manifold_pressure" in channels


def _with_addition(
    addition: Addition,
    channels: frozenset[str],
    setup: EngineSetup,
    pilot: Pilot,
    base: Forecast | None,
    quantity: PlannedQuantity,
    wish: Wish,
    runs: int,
) -> NextMeasurement | None:
    rows = rows_for(channels, setup, pilot)
    if not rows.can(quantity):
        return None
    then = forecast(rows, quantity, runs)
    reduction = 1.0 if base is None else max(0.0, 1.0 - then.u / base.u)
    return NextMeasurement(
        measurement=addition.measurement,
        reason=addition.reason,
        half_width=then.half_width(wish.confidence),
        reduction=float(np.round(reduction, 6)),
        detectable_change=then.detectable(wish),
        runs_per_configuration=runs_needed(rows, quantity, wish),
    )
