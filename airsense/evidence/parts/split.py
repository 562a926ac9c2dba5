"""Split the engine's change of air into weather, intake, demand and feedback.

ln(air after/before) = weather + intake + demand + feedback, in this order: each part is what
changes while the earlier ones are already there. Monte Carlo (JCGM 101): every draw of the
engine's change gets candidates for what is not known (the law of boost control, the engine's
character, the weather's error, relief, raised demand, fuelling), each weighted by what was
logged; one of them is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from airsense.arrays import BoolArray, FloatArray, IntArray
from airsense.errors import InputError
from airsense.evidence.parts.candidates import U_DEMAND, Candidates, candidates, held_prior
from airsense.evidence.parts.given import BY_CHARGE, Circumstances, LawBelief
from airsense.evidence.parts.priors import assumptions_of
from airsense.evidence.parts.setting import IMPOSSIBLE
from airsense.results import Assumption

# Candidates of one law with demand held, and as many with demand changed; more of them where
# fewer laws are possible.
CANDIDATES_OF_A_LAW = 12
CANDIDATES_OF_THE_ONLY_LAW = 32
# Parts that trade this closely against each other, and this widely, are not told apart.
JOINT_CORRELATION = -0.4
JOINT_SCATTER = 0.003
# Below this probability "the same demand" is no longer taken for granted: a Bayes factor of 12
# against it where a log shows that it stood, of 4 where none does (our choice).
HELD_LEAST_LOGGED, HELD_LEAST = 0.25, 0.5
# A logged demand that moved by more than its u this often, beside the barometer, was changed.
STOOD_K = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Claimable:
    """Candidates for the intake's part in each draw of the engine's change, ln, (n, k).

    `share` are their weights in the draw; each row adds to one, so that the engine's change is
    not altered by what the parts make likely.
    """

    intake: FloatArray
    share: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Draws of ln(1 + part), each (n,); they add to the engine's change draw by draw.

    `ceiling` is ln of the most that the intake could have given in that draw, `held` whether the
    demand is unchanged in it. `claimable` are the candidates that a claim is read from, those with
    unchanged demand where that is taken `for_granted`. `stood`: a logged demand moved no more than
    the barometer explains; None where it was not logged. `joint`: demand and feedback cannot be
    told apart, each is open. `laws` are those given, with their probabilities after the data, `law`
    the number of the one in each draw.
    """

    weather: FloatArray
    intake: FloatArray
    demand: FloatArray
    feedback: FloatArray
    ceiling: FloatArray
    held: BoolArray
    claimable: Claimable
    for_granted: bool
    law: IntArray
    stood: bool | None
    joint: bool
    laws: tuple[LawBelief, ...]
    assumptions: tuple[Assumption, ...]


def split(
    engine_ln: FloatArray,
    surplus_ln: FloatArray,
    given: Circumstances,
    rng: np.random.Generator,
) -> Parts:
    """Split the engine's change of air into its parts.

    Parameters
    ----------
    engine_ln, surplus_ln : ndarray, shape (n,)
        Joint draws of ln(air after/before) and of ln(1 + indicated surplus); finite.
    given : Circumstances
        Weather, law, and what was logged beside the air.
    rng : numpy.random.Generator
        Source of the draws.

    Returns
    -------
    Parts
        weather + intake + demand + feedback = engine_ln to rounding.

    Raises
    ------
    InputError
        If the draws are not two finite sequences of one length.

    Notes
    -----
    Per draw the parts follow their prior given that they add up, times the likelihood of what
    was logged; the engine's change itself is not altered by what the parts make likely. What no
    relief can give falls to demand, because the prior of relief ends at the ceiling; beside a
    logged demand that did not move only a deeper depression than believed is left.
    """
    _refuse_odd_draws(engine_ln, surplus_ln)
    draws = (engine_ln[:, None], surplus_ln[:, None])
    live = [b for b in given.laws if b.probability > 0.0]
    size = CANDIDATES_OF_THE_ONLY_LAW if len(live) == 1 else CANDIDATES_OF_A_LAW
    groups = [
        candidates(belief, held, draws, given, size=size, rng=rng)
        for belief in live
        for held in (True, False)
        if not held or held_prior(belief.law, given) > 0.0
    ]
    log_weight = np.concatenate([g.log_weight for g in groups], axis=1)
    log_weight = np.where(np.isfinite(log_weight), log_weight, IMPOSSIBLE)
    log_weight = log_weight - logsumexp(log_weight, axis=1, keepdims=True)
    score = log_weight + rng.gumbel(size=log_weight.shape)
    kept = np.argmax(score, axis=1)
    names = ("weather", "demand", "feedback", "ceiling")
    weather, demand, feedback, ceiling = _of_kept(groups, kept, *names)
    held = np.array([g.held for g in groups])
    stood = _stood(given)
    for_granted = _for_granted(held[kept // size], stood)
    order = [b.law for b in given.laws]
    return Parts(
        weather=weather,
        intake=engine_ln - weather - demand - feedback,
        demand=demand,
        feedback=feedback,
        ceiling=ceiling,
        held=held[kept // size],
        claimable=_claimable(draws[0], groups, log_weight, held.repeat(size) | (not for_granted)),
        for_granted=for_granted,
        law=np.array([order.index(g.law) for g in groups])[kept // size],
        stood=stood,
        joint=_joint(demand, feedback),
        laws=_learned(given.laws, groups, np.exp(log_weight)),
        assumptions=assumptions_of(
            same_tune=given.same_tune,
            demand_logged=given.demand_ln is not None,
            depression_measured=given.depression_before_pa is not None,
            fuel_logged=given.fuel_ln is not None,
            day_by_charge=given.before.source == BY_CHARGE,
        ),
    )


def _of_kept(groups: Sequence[Candidates], kept: IntArray, *names: str) -> list[FloatArray]:
    """Return some fields of the candidate kept for each draw, each (n,)."""
    draw = np.arange(kept.size)
    every = ([getattr(g, name) for g in groups] for name in names)
    return [np.concatenate(part, axis=1)[draw, kept] for part in every]


def _for_granted(held: BoolArray, stood: bool | None) -> bool:
    """Return whether an unchanged demand may be taken for granted; without a log it must be said.

    Not where it is improbable, or where the log shows that the demand was moved.
    """
    least = HELD_LEAST_LOGGED if stood else HELD_LEAST
    return stood is not False and float(np.mean(held)) >= least


def _claimable(
    engine_ln: FloatArray, groups: Sequence[Candidates], log_weight: FloatArray, chosen: BoolArray
) -> Claimable:
    """Return the chosen candidates, (k,), for the intake's part of each draw."""
    elsewhere = np.concatenate([g.weather + g.demand + g.feedback for g in groups], axis=1)
    own = log_weight[:, chosen]
    share = np.exp(own - logsumexp(own, axis=1, keepdims=True))
    return Claimable(intake=engine_ln - elsewhere[:, chosen], share=share)


def _refuse_odd_draws(engine_ln: FloatArray, surplus_ln: FloatArray) -> None:
    """Refuse draws that cannot be split."""
    alike = engine_ln.ndim == 1 and engine_ln.shape == surplus_ln.shape and engine_ln.size > 0
    if not (alike and np.all(np.isfinite(engine_ln)) and np.all(np.isfinite(surplus_ln))):
        raise InputError(
            "the draws of a change cannot be split",
            where="arguments engine_ln and surplus_ln",
            got=f"shapes {engine_ln.shape} and {surplus_ln.shape}",
            allowed="two sequences of one length, all finite",
            fix="draw both from the same posterior",
        )


def _stood(given: Circumstances) -> bool | None:
    """Return whether a logged demand lies between staying and following the barometer."""
    if given.demand_ln is None:
        return None
    moved = float(np.log(given.after.p_ambient_pa / given.before.p_ambient_pa))
    low, high = sorted((0.0, moved))
    beyond = max(low - given.demand_ln.value, given.demand_ln.value - high)
    return beyond <= STOOD_K * float(np.hypot(U_DEMAND, given.demand_ln.u))


def _joint(demand: FloatArray, feedback: FloatArray) -> bool:
    """Return whether demand and feedback trade against each other."""
    if min(float(np.std(demand)), float(np.std(feedback))) < JOINT_SCATTER:
        return False
    return float(np.corrcoef(demand, feedback)[0, 1]) < JOINT_CORRELATION


def _learned(
    laws: Sequence[LawBelief], groups: Sequence[Candidates], weight: FloatArray
) -> tuple[LawBelief, ...]:
    """Return the laws with their probabilities after the data."""
    by_group = weight.mean(axis=0).reshape(len(groups), -1).sum(axis=1)
    after = {law.law: 0.0 for law in laws}
    for group, probability in zip(groups, by_group, strict=True):
        after[group.law] += float(probability)
    return tuple(LawBelief(law=b.law, probability=after[b.law], source=b.source) for b in laws)
