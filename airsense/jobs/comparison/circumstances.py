"""What the split of the engine's change needs: weather, boost, demand and fuel of both sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.estimates.run import Run
from airsense.evidence.matched import LnChange, Matched
from airsense.evidence.parts import (
    Circumstances,
    Weather,
    laws_of,
    weather_by_charge,
    weather_undeclared,
)
from airsense.evidence.parts import LnChange as PartChange
from airsense.jobs.log_use import WeatherUse
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.constants import CELSIUS_ZERO_K, USUAL_AIR_K
from airsense.setup.engine import EngineSetup

CHARGE_K = 320.0  # a usual charge temperature, to make a share of an uncertainty in kelvin
# Weather as sensors on the car or the wall give it (k = 1): our choice.
# What one sensor has wrong on both sides cancels.
U_BAROMETER_PA, U_AMBIENT_K, U_INTAKE_K, U_HUMIDITY_FRAC = 50.0, 0.5, 0.8, 0.03
# A demanded pressure is a number of the controller; what scatters is where in a bin it is read.
U_DEMAND_RUN = 0.001
PLAUSIBLE_INTAKE_K = (233.0, 340.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunWeather:
    """Weather of one run; None where nothing tells it."""

    p_ambient_pa: float | None
    t_ambient_k: float | None
    relative_humidity: float | None
    t_is_intake: bool
    source: str


def weather_of(run: Run) -> RunWeather:
    """Return the weather that a log holds or that was declared for it."""
    log = run.log

    def middle(name: str) -> float | None:
        found = name in log and log[name].value.size
        return float(np.median(log[name].value)) if found else None

    t = middle("ambient_temperature")
    intake = middle("intake_temperature")
    t_is_intake = t is None and intake is not None and "charge_temperature" in log
    if t_is_intake and intake is not None:
        t = intake if PLAUSIBLE_INTAKE_K[0] < intake < PLAUSIBLE_INTAKE_K[1] else None
    if t is None and run.t_inlet_k is not None:
        t, t_is_intake = run.t_inlet_k, True
    names = ("barometric_pressure", "ambient_temperature", "relative_humidity")
    sources = {log[n].recognised_by for n in names if n in log}
    declared = sorted(s for s in sources if s.startswith("declared"))
    return RunWeather(
        p_ambient_pa=None if run.p_ambient_assumed else run.p_ambient_pa,
        t_ambient_k=t,
        relative_humidity=middle("relative_humidity"),
        t_is_intake=t_is_intake,
        source=", ".join(declared) or ("logged" if sources or t is not None else "not known"),
    )


def weather_use(run: Run) -> WeatherUse:
    """Return the weather of a run as it is shown."""
    own = weather_of(run)
    return WeatherUse(
        barometric_pressure_kpa=run.p_ambient_pa / 1e3,
        ambient_temperature_c=None if own.t_ambient_k is None else own.t_ambient_k - CELSIUS_ZERO_K,
        relative_humidity=own.relative_humidity,
        source=own.source if own.p_ambient_pa is not None else "assumed",
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return float(np.mean(known)) if known and len(known) == len(values) else None


def configuration_weather(runs: Sequence[Run], *, one_session: bool) -> Weather:
    """Return the mean weather of one configuration with its doubt."""
    rows = [weather_of(run) for run in runs]
    p = _mean([r.p_ambient_pa for r in rows])
    t = _mean([r.t_ambient_k for r in rows])
    h = _mean([r.relative_humidity for r in rows])
    unknown = weather_undeclared(
        p_ambient_pa=p if p is not None else 100e3,
        t_ambient_k=t if t is not None else USUAL_AIR_K,
        humidity_frac=h if h is not None else 0.5,
        one_session=one_session,
    )
    u_t = U_INTAKE_K if any(r.t_is_intake for r in rows) else U_AMBIENT_K
    u_x = unknown.u_x
    if h is not None:
        x_full = float(vapour_mole_fraction(unknown.p_ambient_pa, unknown.t_ambient_k, 1.0))
        u_x = x_full * U_HUMIDITY_FRAC
    return Weather(
        p_ambient_pa=unknown.p_ambient_pa,
        t_ambient_k=unknown.t_ambient_k,
        x_vapour=unknown.x_vapour,
        u_p_pa=unknown.u_p_pa if p is None else U_BAROMETER_PA,
        u_t_k=unknown.u_t_k if t is None else u_t,
        u_x=u_x,
        source=", ".join(dict.fromkeys(r.source for r in rows)),
    )


def weather_is_known(runs: Sequence[Run]) -> bool:
    """Return whether pressure and temperature of the ambient air are known for all runs."""
    rows = [weather_of(run) for run in runs]
    return all(r.p_ambient_pa is not None and r.t_ambient_k is not None for r in rows)


def _only_charge_tells(before: Sequence[Run], after: Sequence[Run], setup: EngineSetup) -> bool:
    """Return whether a charge temperature behind an air-to-air cooler is all that tells the day."""
    if setup.engine.cooler != "air":
        return False
    measured = all(r.t_charge_k is not None and not r.charge_estimated for r in (*before, *after))
    return measured and all(
        any(weather_of(r).t_ambient_k is None for r in side) for side in (before, after)
    )


def circumstances(
    before: Sequence[Run],
    after: Sequence[Run],
    matched: Matched,
    setup: EngineSetup,
    *,
    depression_pa: tuple[float | None, float | None],
    trust_pressure: bool,
    two_tunes: bool,
    one_session: bool,
) -> Circumstances:
    """Return what is known of two configurations beside their air.

    Parameters
    ----------
    before, after : sequence of Run
    matched : Matched
        Full load of both.
    setup : EngineSetup
    depression_pa : tuple of (float or None)
        Intake depression at full load before and after.
    trust_pressure : bool
        Whether the manifold-pressure sensor is free of suspicion.
    two_tunes, one_session : bool
        Whether they are two tunes of one intake, not two intakes at one tune; and whether both
        were driven in one session.
    """
    sizes = matched.sizes
    p = matched.level("p_manifold_pa", after=False)
    p_ambient = float(np.mean([r.p_ambient_pa for r in before]))
    # As run: what differs from run to run differs in the air too, so only the sensors count.
    pressure = matched.state("p_manifold_pa", run=sizes.manifold_pressure.run, engine_run=0.0)
    demand = matched.state("p_demand_pa", run=U_DEMAND_RUN, engine_run=0.0)
    fuel = matched.state("mdot_fuel_kgps", run=sizes.fuel.run, engine_run=0.0)
    weather = (
        configuration_weather(before, one_session=one_session),
        configuration_weather(after, one_session=one_session),
    )
    if _only_charge_tells(before, after, setup):
        charge = _plain(matched.state("t_charge_k", run=sizes.charge_temperature.run / CHARGE_K))
        weather = (
            weather if charge is None else weather_by_charge(*weather, charge, _plain(pressure))
        )
    return Circumstances(
        before=weather[0],
        after=weather[1],
        laws=laws_of(setup.engine.boost_control.value, matched.follows_demand()),
        cooler=setup.engine.cooler,
        pressure_ratio=max(p / p_ambient, 1.02) if np.isfinite(p) else 1.8,
        depression_before_pa=depression_pa[0],
        depression_after_pa=depression_pa[1],
        demand_ln=_plain(demand),
        pressure_ln=_plain(pressure) if trust_pressure else None,
        fuel_ln=_plain(fuel),
        same_tune=not two_tunes,
        same_intake=two_tunes,
    )


def _plain(change: LnChange | None) -> PartChange | None:
    return None if change is None else PartChange(value=change.value, u=change.u)
