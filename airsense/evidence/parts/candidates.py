"""Candidates of relief and demand that add up to the engine's change, each with its weight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from airsense.arrays import FloatArray
from airsense.evidence.parts.given import Circumstances, LawBelief, LnChange
from airsense.evidence.parts.priors import (
    BREATHING,
    DEMAND,
    HEAVY_TAIL_DOF,
    HELD_BESIDE_LOG,
    HELD_SAME_TUNE,
    draw_relief,
    log_density_relief,
    log_normal,
    log_student,
)
from airsense.evidence.parts.setting import U_DEPRESSION_FRAC, Setting, draw_setting
from airsense.physics.boost_control import BoostLaw

# What a control leaves of its error from one day to another, and what a demand that is led by
# the barometer rounds to (our choice).
U_CONTROL = 0.005
U_DEMAND = 0.002
# What one intake's depression, some 3 % of the barometer, may change with the flow of another tune
# (k = 1; our choice).
U_SAME_INTAKE = 0.003
# Below this exponent a relief moves the air too little to be solved for.
SOLVABLE = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """Candidates of one law with demand held, or changed; arrays (n, k), parts of ln(air)."""

    law: BoostLaw
    held: bool
    log_weight: FloatArray
    weather: FloatArray
    demand: FloatArray
    feedback: FloatArray
    ceiling: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Relief d ln(p_1/p_a) and change of demanded pressure, ln; log weight; all (n, k)."""

    relief: FloatArray
    asked: FloatArray
    log_weight: FloatArray


def held_prior(law: BoostLaw, given: Circumstances) -> float:
    """Return the prior probability that demand is unchanged."""
    if not given.same_tune:
        return 0.0
    # Beside an open turbine a logged demand that did not move speaks for the rest of the tune.
    beside_log = given.demand_ln is not None and law is BoostLaw.OPEN
    return HELD_BESIDE_LOG if beside_log else HELD_SAME_TUNE


def candidates(
    belief: LawBelief,
    held: bool,
    draws: tuple[FloatArray, FloatArray],
    given: Circumstances,
    *,
    size: int,
    rng: np.random.Generator,
) -> Candidates:
    """Return candidates of one law, with demand held or changed.

    Parameters
    ----------
    draws : tuple of ndarray, shape (n, 1)
        ln(air after/before) and ln(1 + surplus).
    size : int
        Candidates for each draw, k.

    Notes
    -----
    Each candidate adds up to its draw because one of relief, demand and breathing is solved for;
    its weight is the prior density of what was solved, by the unit of what it moves, times the
    likelihood of the logged demand, pressure and fuel.
    """
    law = belief.law
    setting = draw_setting(law, *draws, given, size=size, rng=rng)
    rest = draws[0] - setting.weather - setting.feedback
    on_log = given.demand_ln is not None and law is not BoostLaw.OPEN
    if held:
        found = _demand_held(rest, setting, given, rng)
        if on_log:
            unexplained = _unexplained(setting, given) - setting.logs_inlet * found.relief
            log_demand: FloatArray | float = _log_demand(unexplained, given)
        else:
            log_demand = _log_demand_of_open(setting, given)
    elif on_log:
        found, log_demand = _demand_logged(rest, setting, given, rng), 0.0
    else:
        found = _demand_unlogged(rest, setting, given, rng)
        log_demand = _log_demand_of_open(setting, given)
    prior = held_prior(law, given) if held else 1.0 - held_prior(law, given)
    return Candidates(
        law=law,
        held=held,
        log_weight=found.log_weight
        + log_demand
        + setting.log_weight
        + _log_pressure(found, setting, given)
        + float(np.log(prior * belief.probability / size)),
        weather=setting.weather,
        demand=setting.brings * found.asked,
        feedback=setting.feedback,
        ceiling=-setting.air.inlet_pressure * np.log1p(-setting.share),
    )


def _demand_held(
    rest: FloatArray, setting: Setting, given: Circumstances, rng: np.random.Generator
) -> _Found:
    """Return what relief must have been if the demand is what it was.

    Where the law lets relief move the air, breathing is drawn and relief solved for; elsewhere,
    and where it was measured, relief is drawn and breathing solved for.
    """
    reach = setting.air.inlet_pressure
    drawn = _draw_relief(setting, given, rng)
    by_breathing = log_student(rest - reach * drawn, BREATHING)
    still = np.zeros_like(rest)
    if _measured_relief(given) is not None:
        return _Found(relief=drawn, asked=still, log_weight=by_breathing)
    per_relief = np.maximum(reach, SOLVABLE)
    solved = (rest - _draw_breathing(rest, rng)) / per_relief
    by_relief = log_density_relief(solved, setting.share) - np.log(per_relief)
    solvable = reach >= SOLVABLE
    return _Found(
        relief=np.where(solvable, solved, drawn),
        asked=still,
        log_weight=np.where(solvable, by_relief, by_breathing),
    )


def _demand_logged(
    rest: FloatArray, setting: Setting, given: Circumstances, rng: np.random.Generator
) -> _Found:
    """Return candidates in which the demand changed as it was logged."""
    drawn = _draw_relief(setting, given, rng)
    asked = _unexplained(setting, given) - setting.logs_inlet * drawn
    asked = asked + _u_demand(given) * rng.standard_normal(rest.shape)
    left = rest - setting.brings * asked
    # Where the log holds the relief too, the two are drawn together and breathing is solved for.
    tied = log_student(left - setting.air.inlet_pressure * drawn, BREATHING)
    free = _demand_held(left, setting, given, rng)
    return _Found(
        relief=np.where(setting.logs_inlet, drawn, free.relief),
        asked=asked,
        log_weight=np.where(setting.logs_inlet, tied, free.log_weight) + log_normal(asked, DEMAND),
    )


def _demand_unlogged(
    rest: FloatArray, setting: Setting, given: Circumstances, rng: np.random.Generator
) -> _Found:
    """Return candidates in which the demand is what relief and breathing leave."""
    relief = _draw_relief(setting, given, rng)
    left = rest - setting.air.inlet_pressure * relief - _draw_breathing(rest, rng)
    asked = left / setting.brings
    return _Found(
        relief=relief,
        asked=asked,
        log_weight=log_normal(asked, DEMAND) - np.log(setting.brings),
    )


def _draw_breathing(rest: FloatArray, rng: np.random.Generator) -> FloatArray:
    return np.asarray(BREATHING * rng.standard_t(HEAVY_TAIL_DOF, rest.shape), dtype=np.float64)


def _measured_relief(given: Circumstances) -> LnChange | None:
    """Return d ln(p_1/p_a) from the two measured depressions, None unless both are.

    One intake at two tunes is no relief, but for the depression that grows with the flow.
    """
    before, after = given.depression_before_pa, given.depression_after_pa
    if before is None or after is None:
        return LnChange(value=0.0, u=U_SAME_INTAKE) if given.same_intake else None
    share_b, share_a = before / given.before.p_ambient_pa, after / given.after.p_ambient_pa
    return LnChange(
        value=float(np.log1p(-share_a) - np.log1p(-share_b)),
        u=U_DEPRESSION_FRAC * float(np.hypot(share_b, share_a)),
    )


def _draw_relief(setting: Setting, given: Circumstances, rng: np.random.Generator) -> FloatArray:
    """Return draws of d ln(p_1/p_a) before the air is looked at."""
    measured = _measured_relief(given)
    if measured is None:
        return draw_relief(rng, setting.share)
    return measured.value + measured.u * rng.standard_normal(setting.share.shape)


def _unexplained(setting: Setting, given: Circumstances) -> FloatArray:
    """Return the change of demanded pressure that neither law nor fuel explains, ln."""
    logged = given.demand_ln.value if given.demand_ln is not None else 0.0
    return logged - setting.control * setting.drift_pa_ln - setting.asked_by_fuel


def _u_demand(given: Circumstances) -> float:
    return float(np.hypot(U_DEMAND, given.demand_ln.u if given.demand_ln is not None else 0.0))


def _log_demand(unexplained: FloatArray, given: Circumstances) -> FloatArray:
    return log_student(unexplained, _u_demand(given))


def _log_demand_of_open(setting: Setting, given: Circumstances) -> FloatArray | float:
    """Return the log density of a logged demand that the turbine cannot follow.

    Such a demand still obeys one of the held laws, each as likely, or was changed.
    """
    if given.demand_ln is None:
        return 0.0
    moves = (0.0, 1.0 / given.pressure_ratio, 1.0)
    same = [_log_demand(given.demand_ln.value - m * setting.drift_pa_ln, given) for m in moves]
    held = np.asarray(logsumexp(same, axis=0)) + np.log(HELD_SAME_TUNE / len(moves))
    changed = log_normal(np.asarray(given.demand_ln.value), DEMAND) + np.log1p(-HELD_SAME_TUNE)
    return np.asarray(np.logaddexp(held, changed), dtype=np.float64)


def _log_pressure(found: _Found, setting: Setting, given: Circumstances) -> FloatArray | float:
    """Return the log likelihood of the measured change of manifold pressure."""
    if given.pressure_ln is None:
        return 0.0
    expected = (
        setting.weather_pressure
        + setting.pressure.inlet_pressure * found.relief
        + setting.acts * found.asked
        + setting.feedback / setting.brings
    )
    u = float(np.hypot(U_CONTROL, given.pressure_ln.u))
    return log_student(given.pressure_ln.value - expected, u)
