"""What is drawn before relief and demand are: an engine, the weather, and its fuelling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.evidence.parts.given import Circumstances
from airsense.evidence.parts.priors import (
    FEEDBACK_MOST,
    Fuelling,
    draw_character,
    draw_depression_pa,
    draw_droop,
    draw_fuelling,
    log_normal,
)
from airsense.physics.boost_control import (
    VAPOUR_LIGHTER,
    BoostLaw,
    Response,
    blended,
    responses,
)
from airsense.physics.character import Character

# How far fuel follows air beside the rules of `draw_fuelling`; nearly anything in another tune.
U_FUEL_FOLLOWS = 0.007
U_FUEL_OTHER_TUNE = 0.06
U_DEPRESSION_FRAC = 0.03
# Air per manifold pressure where a tune moves the actuator of an open turbine: 1 - (1 - v) theta.
OPEN_BRINGS = 0.9
# A demand that holds the ratio to the compressor's inlet is logged as such, or as a ratio to the
# barometer that is corrected inside: either is as likely (our choice).
LOGS_INLET_PROBABILITY = 0.5
IMPOSSIBLE = -1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Candidates of one law, all (n, k).

    `brings` is d ln(air)/d ln(p demanded), `acts` d ln(p_m)/d ln(p demanded), `control`
    d ln(p demanded)/d ln(p_a) by the law; `weather` and `feedback` are parts of ln(air),
    `weather_pressure` that of ln(p_m); `asked_by_fuel` is the demanded pressure that the
    surplus's fuel asks for; `share` is (p_a - p_1)/p_a before.
    """

    air: Response
    pressure: Response
    brings: FloatArray
    acts: FloatArray
    control: FloatArray
    drift_pa_ln: FloatArray
    weather: FloatArray
    weather_pressure: FloatArray
    asked_by_fuel: FloatArray
    feedback: FloatArray
    logs_inlet: BoolArray
    share: FloatArray
    log_weight: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Law:
    """Responses of air and pressure under one law, and what is demanded."""

    air: Response
    pressure: Response
    brings: FloatArray
    acts: FloatArray
    control: FloatArray


def draw_setting(
    law: BoostLaw,
    engine: FloatArray,
    surplus: FloatArray,
    given: Circumstances,
    *,
    size: int,
    rng: np.random.Generator,
) -> Setting:
    """Return candidates for what the parts depend on; weighted by the logged fuel.

    Parameters
    ----------
    engine, surplus : ndarray, shape (n, 1)
        Draws of ln(air) and of ln(1 + surplus).
    size : int
        Candidates for each draw, k.
    """
    shape = (engine.shape[0], size)
    fuelling = draw_fuelling(rng, shape, surplus)
    share = _depression_share(given, rng, shape)
    t_ambient_k = 0.5 * (given.before.t_ambient_k + given.after.t_ambient_k)
    character = draw_character(rng, shape, fuelling.follows, 1.0 - share, t_ambient_k)
    by_law = _law(law, character, given, draw_droop(rng, shape))
    d_p, d_t, d_x = _weather_change(given, rng, shape)
    d_gas = VAPOUR_LIGHTER * d_x
    asked = 0.0 if law is BoostLaw.OPEN else fuelling.demand_slope * by_law.brings
    reached = np.isfinite(by_law.air.inlet_pressure)
    air, pressure = by_law.air, by_law.pressure
    return Setting(
        air=air,
        pressure=pressure,
        brings=by_law.brings,
        acts=by_law.acts,
        control=by_law.control,
        drift_pa_ln=d_p,
        weather=_weather_part(air, d_p, d_t, d_gas),
        weather_pressure=_weather_part(pressure, d_p, d_t, d_gas),
        asked_by_fuel=fuelling.demand_slope * fuelling.added,
        feedback=np.clip(air.fuel + asked, 0.0, FEEDBACK_MOST) * fuelling.added,
        logs_inlet=(law is BoostLaw.RATIO_INLET) & (rng.random(shape) < LOGS_INLET_PROBABILITY),
        share=share,
        log_weight=np.where(reached, _log_fuel(fuelling, engine, given), IMPOSSIBLE),
    )


def _weather_part(of: Response, d_p: FloatArray, d_t: FloatArray, d_gas: FloatArray) -> FloatArray:
    return of.ambient_pressure * d_p - of.ambient_temperature * d_t - of.gas_constant * d_gas


def _law(law: BoostLaw, character: Character, given: Circumstances, droop: FloatArray) -> _Law:
    """Return the responses under a law; a held one lets a little of the open one through."""
    ratio, cooler = given.pressure_ratio, given.cooler
    of_open = responses(BoostLaw.OPEN, ratio, character, cooler=cooler)
    if law is BoostLaw.OPEN:
        air, pressure = of_open
        one = np.ones_like(droop)
        return _Law(
            air=air, pressure=pressure, brings=OPEN_BRINGS * one, acts=one, control=0.0 * one
        )
    ideal_air, ideal_pressure = responses(law, ratio, character, cooler=cooler)
    air, pressure = (
        blended(ideal, free, droop)
        for ideal, free in zip((ideal_air, ideal_pressure), of_open, strict=True)
    )
    return _Law(
        air=air,
        pressure=pressure,
        brings=air.demand,
        acts=pressure.demand,
        control=ideal_pressure.ambient_pressure,
    )


def _log_fuel(fuelling: Fuelling, engine: FloatArray, given: Circumstances) -> FloatArray:
    """Return the log likelihood of the logged change of fuel per stroke."""
    if given.fuel_ln is None:
        return np.zeros_like(fuelling.follows)
    slack = U_FUEL_FOLLOWS if given.same_tune else U_FUEL_OTHER_TUNE
    expected = fuelling.follows * engine + fuelling.added
    return log_normal(given.fuel_ln.value - expected, float(np.hypot(slack, given.fuel_ln.u)))


def _weather_change(
    given: Circumstances, rng: np.random.Generator, shape: tuple[int, int]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return draws of d ln p_a, d ln T_a and dx between the configurations."""
    b, a = given.before, given.after
    z = rng.standard_normal((3, *shape))
    u_p = float(np.hypot(b.u_p_pa / b.p_ambient_pa, a.u_p_pa / a.p_ambient_pa))
    u_t = float(np.hypot(b.u_t_k / b.t_ambient_k, a.u_t_k / a.t_ambient_k))
    return (
        float(np.log(a.p_ambient_pa / b.p_ambient_pa)) + u_p * z[0],
        float(np.log(a.t_ambient_k / b.t_ambient_k)) + u_t * z[1],
        a.x_vapour - b.x_vapour + float(np.hypot(b.u_x, a.u_x)) * z[2],
    )


def _depression_share(
    given: Circumstances, rng: np.random.Generator, shape: tuple[int, int]
) -> FloatArray:
    """Return (p_a - p_1)/p_a of the first intake, measured or drawn from the prior."""
    if given.depression_before_pa is None:
        return draw_depression_pa(rng, shape) / given.before.p_ambient_pa
    error = 1.0 + U_DEPRESSION_FRAC * rng.standard_normal(shape)
    share = given.depression_before_pa / given.before.p_ambient_pa * error
    return np.asarray(np.maximum(share, 1e-4), dtype=np.float64)
