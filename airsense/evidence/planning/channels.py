"""From the channels that a test will have to the states and routes that a plan is judged by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates import brake_power, fuel_lambda, speed_density
from airsense.estimates.defaults import Defaults, Size, defaults_for
from airsense.estimates.estimate import Estimate, Influence, influence_of
from airsense.estimates.pressures import U_ASSUMED_BAROMETER_RUN_PA
from airsense.estimates.segments import Kind
from airsense.evidence.budget import RouteBudget, route_budget
from airsense.evidence.cells import SPEED_STEP, USUAL_NOISE, Cells
from airsense.evidence.next_measurement import CHEAP, DEAR, FREE
from airsense.evidence.planning.states import Template
from airsense.evidence.rest import Rest, RestKind, no_rest
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.setup.engine import EngineSetup, Ignition, Induction

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
# A pull of an unknown engine, where no pilot log tells it: speeds, charge, and how long each
# state lasts. Our choice.
USUAL_SPEEDS_RPM = (1700.0, 3700.0)
NOMINAL_T_K, NOMINAL_P_PA, NATURAL_P_PA, AMBIENT_PA = 325.0, 2.5e5, 0.96e5, 1.0e5
USUAL_VE, USUAL_LAMBDA = 0.92, 1.25
STATE_S, LOOK_S = 0.8, 0.5
STILL_NOISE = 0.0005
STILL = "ignition on with the engine still"
# Channels that open no route but make one tighter.
_TIGHTER = ("charge_temperature", "barometric_pressure")


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """A measurement that could be added: what it is, why, what it costs, the channel it makes."""

    key: str
    channel: str
    cost: str
    measurement: str
    reason: str


ADDITIONS = (
    Addition(
        key="still_seconds",
        channel=STILL,
        cost=FREE,
        measurement="five seconds with the ignition on before each pull, with a barometer reading",
        reason="the pressure sensor then has to show the barometer",
    ),
    Addition(
        key="barometer",
        channel="barometric_pressure",
        cost=CHEAP,
        measurement="barometer at each run",
        reason="boost is a gauge pressure; without a barometer the weather moves the absolute one",
    ),
    Addition(
        key="boost_pressure",
        channel="boost_pressure",
        cost=CHEAP,
        measurement="manifold or boost pressure",
        reason="it opens the speed-density route, which no intake part can touch",
    ),
    Addition(
        key="charge_temperature",
        channel="charge_temperature",
        cost=CHEAP,
        measurement="charge temperature behind the cooler",
        reason="an estimated temperature is three times as loose as a measured one",
    ),
    Addition(
        key="fuel_quantity",
        channel="fuel_per_stroke",
        cost=CHEAP,
        measurement="fuel quantity from the controller",
        reason="with lambda it opens a route that no intake part can touch",
    ),
    Addition(
        key="lambda_sensor",
        channel="lambda",
        cost=DEAR,
        measurement="wide-band lambda in the exhaust",
        reason="with fuel or power it opens a second route that no intake part can touch",
    ),
)


def template_for(channels: frozenset[str], setup: EngineSetup) -> Template:
    """Return the test that some channels make, with the states of a usual pull.

    Parameters
    ----------
    channels : frozenset of str
        Canonical names, and `STILL` where seconds with the engine still are to be logged.
    setup : EngineSetup
    """
    sizes = defaults_for(
        setup.uncertainty, charge_temperature_estimated="charge_temperature" not in channels
    )
    budgets = route_budgets(channels, setup, sizes)
    empty: FloatArray = np.zeros(0)
    estimates = {
        name: [Estimate(method=name, mdot_kgps=empty, budget=tuple(rows))]
        for name, rows in budgets.items()
    }
    return Template(
        cells=_usual_cells(tuple(budgets), channels, setup),
        rest=with_still(no_rest(), channels),
        budget=route_budget(estimates, sizes) if budgets else RouteBudget(parts=()),
        sizes=sizes,
        power=has(channels, POWER_CHANNELS),
    )


def with_channels(
    pilot: Template, own: frozenset[str], added: frozenset[str], setup: EngineSetup
) -> Template:
    """Return a test with what further channels add: a route, rest, or a tighter budget.

    Parameters
    ----------
    pilot : Template
    own, added : frozenset of str
        Its channels, and those to come.
    setup : EngineSetup
    """
    channels = own | added
    planned = template_for(channels, setup)
    grown = pilot
    if set(planned.cells.routes) - set(pilot.cells.routes):
        grown = _with_cells_of(pilot, planned) if pilot.cells.size else planned
    elif added & frozenset(_TIGHTER) and planned.cells.routes == pilot.cells.routes:
        grown = replace(pilot, budget=planned.budget, sizes=planned.sizes)
    return replace(
        grown,
        rest=with_still(pilot.rest, channels),
        run_factor=pilot.run_factor,
        power=pilot.power or planned.power,
    )


def _with_cells_of(pilot: Template, planned: Template) -> Template:
    """Return the planned routes on the pilot's states; all share the noise of its first route."""
    own = pilot.cells
    noise = np.nanmean(own.u_noise, axis=0)
    count = len(planned.cells.routes)
    lean = np.where(np.isfinite(own.lambda_), own.lambda_, USUAL_LAMBDA)
    cells = replace(
        own,
        routes=planned.cells.routes,
        ln_route=np.tile(own.ln_maf, (count, 1)),
        u_noise=np.tile(noise, (count, 1)),
        lambda_=lean,
    )
    return replace(planned, cells=cells, indicated=pilot.indicated)


def route_budgets(
    channels: frozenset[str], setup: EngineSetup, sizes: Defaults
) -> dict[str, list[Influence]]:
    """Return the budget of each route that some channels open."""
    budgets: dict[str, list[Influence]] = {}
    natural = setup.engine.induction is Induction.NATURALLY_ASPIRATED
    if has(channels, PRESSURE_CHANNELS):
        budgets[speed_density.METHOD] = _speed_density(channels, sizes, natural=natural)
    if "lambda" in channels and has(channels, FUEL_CHANNELS):
        budgets[fuel_lambda.METHOD] = _fuel_lambda(channels, sizes)
    if "lambda" in channels and has(channels, POWER_CHANNELS):
        budgets[brake_power.METHOD] = [
            influence_of(sizes.brake_power, key="brake_power"),
            _tied(sizes.brake_efficiency, "brake_efficiency"),
            influence_of(sizes.lambda_, key="lambda"),
        ]
    return budgets


def _speed_density(channels: frozenset[str], sizes: Defaults, *, natural: bool) -> list[Influence]:
    # A naturally aspirated charge is nearly at ambient temperature: the estimate is a measurement.
    scale = NOMINAL_T_K * (3.0 if natural and "charge_temperature" not in channels else 1.0)
    budget = [
        influence_of(sizes.manifold_pressure, key="manifold_pressure"),
        influence_of(
            sizes.charge_temperature, key="charge_temperature", sensitivity=-1.0, scale=scale
        ),
        influence_of(sizes.engine_speed, key="engine_speed"),
        _tied(sizes.volumetric_efficiency, "volumetric_efficiency"),
    ]
    if "manifold_pressure" not in channels and "barometric_pressure" not in channels:
        u = U_ASSUMED_BAROMETER_RUN_PA / NOMINAL_P_PA
        budget.append(
            Influence(key="barometer", label="barometer, assumed", absolute=0.0, run=u, between=u)
        )
    return budget


def _fuel_lambda(channels: frozenset[str], sizes: Defaults) -> list[Influence]:
    budget = [influence_of(sizes.fuel, key="fuel"), influence_of(sizes.lambda_, key="lambda")]
    if "fuel_per_stroke" in channels:
        budget.append(influence_of(sizes.engine_speed, key="engine_speed"))
    return budget


def _tied(size: Size, key: str) -> Influence:
    return Influence(key=key, label=size.label, absolute=size.absolute, run=0.0, between=size.run)


def _usual_cells(routes: tuple[str, ...], channels: frozenset[str], setup: EngineSetup) -> Cells:
    """Return the states of a usual full-load pull."""
    low, high = np.log(USUAL_SPEEDS_RPM)
    speed = np.exp(np.arange(low, high, SPEED_STEP)) if routes else np.zeros(0)
    natural = setup.engine.induction is Induction.NATURALLY_ASPIRATED
    # Boost is built up over the lower speeds.
    share = np.clip(0.75 + np.log(speed / USUAL_SPEEDS_RPM[0]), 0.0, 1.0)
    p = np.full(speed.size, NATURAL_P_PA) if natural else NOMINAL_P_PA * share
    strokes = speed / 30.0 / setup.engine.strokes
    volume = setup.engine.displacement_l * 1e-3
    flow = USUAL_VE * p * volume * strokes / (R_DRY_AIR_JPKGK * NOMINAL_T_K)
    ln = np.log(flow)
    size, count = speed.size, len(routes)
    diesel = setup.engine.ignition is Ignition.COMPRESSION
    pressure = has(channels, PRESSURE_CHANNELS)
    return Cells(
        routes=routes,
        run=np.zeros(size, dtype=np.int64),
        after=np.zeros(size, dtype=bool),
        kind=np.full(size, int(Kind.PULL)),
        sweep=np.ones(size, dtype=bool),
        time_s=STATE_S * np.arange(size, dtype=np.float64),
        length_s=np.full(size, STATE_S),
        ln_maf=ln,
        ln_route=np.tile(ln, (count, 1)),
        u_noise=np.full((count, size), USUAL_NOISE * np.sqrt(LOOK_S / STATE_S)),
        speed_rpm=speed,
        p_manifold_pa=p if pressure else np.full(size, np.nan),
        p_ambient_pa=np.full(size, AMBIENT_PA),
        t_charge_k=np.full(size, NOMINAL_T_K),
        t_inlet_k=np.full(size, np.nan),
        lambda_=np.full(
            size, (USUAL_LAMBDA if diesel else 0.9) if "lambda" in channels else np.nan
        ),
        map_slope=np.full(size, np.nan),
        rate_ps=np.gradient(ln, STATE_S) if size > 1 else np.zeros(size),
    )


def with_still(rest: Rest, channels: frozenset[str]) -> Rest:
    """Return the readings at rest with one of a still engine, where that is planned."""
    if STILL not in channels or rest.count(RestKind.STILL):
        return rest
    return Rest(
        run=np.append(rest.run, 0),
        after=np.append(rest.after, False),
        kind=np.append(rest.kind, int(RestKind.STILL)),
        value=np.append(rest.value, 0.0),
        pressure_pa=np.append(rest.pressure_pa, AMBIENT_PA),
        u_noise=np.append(rest.u_noise, STILL_NOISE),
    )


def has(channels: frozenset[str], names: Sequence[str]) -> bool:
    """Whether one of some channels is there."""
    return any(name in channels for name in names)


def missing(channels: frozenset[str], pilot: Template) -> tuple[Addition, ...]:
    """Return the measurements that a test lacks and that could say something."""
    return tuple(a for a in ADDITIONS if not _superfluous(a.channel, channels, pilot))


def _superfluous(channel: str, channels: frozenset[str], pilot: Template) -> bool:
    if channel in channels:
        return True
    if channel == STILL:
        with_pressure = "manifold_pressure" in channels
        return not with_pressure or pilot.rest.count(RestKind.STILL) > 0
    if channel == "fuel_per_stroke":
        return has(channels, FUEL_CHANNELS)
    if channel == "boost_pressure":
        return has(channels, PRESSURE_CHANNELS)
    return channel == "barometric_pressure" and "manifold_pressure" in channels
