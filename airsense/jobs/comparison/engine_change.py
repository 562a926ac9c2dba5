"""The engine's change of air at matched full load, and its parts, as draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.evidence.arrays import FloatArray, IntArray
from airsense.evidence.judgement import Judgement, Reading, interval_of
from airsense.evidence.matched import LnChange
from airsense.evidence.parts import Circumstances, Parts, split
from airsense.evidence.posterior import Posterior
from airsense.evidence.verdict import Claimed, Evidence
from airsense.results import Interval

SEED = 7_919
# Where demand was not logged, the same tune is taken for granted only while the data do not speak
# against it. Our choice.
LEAST_HELD = 0.5
DRAWS, VARIED_DRAWS = 2_400, 800


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The engine's change and its parts under the stated priors and variations of them.

    `parts` are drawn for intervals; the evidence is for claims.
    """

    engine: Evidence
    intake: Evidence
    engine_interval: Interval
    parts: Parts
    weight: FloatArray
    elsewhere: float

    def part(self, values: FloatArray) -> Interval:
        """Return a part's interval around its mean; a part's value is exp(mean of ln) - 1."""
        shown = interval_of(values, self.weight)
        return Interval(float(np.expm1(self.weight @ values)), shown.low, shown.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Picked:
    """Some draws of a posterior: their numbers and weights, and the indicated change beside."""

    at: IntArray
    weight: FloatArray
    indicated: FloatArray


def _pick(posterior: Posterior, indicated: LnChange, count: int) -> _Picked:
    """Return an even choice of draws: each hypothesis keeps its weight."""
    rng = np.random.default_rng(SEED)
    weight = posterior.draws.weight
    if weight.size <= count:
        at = np.arange(weight.size)
    else:
        at = np.unique(np.searchsorted(np.cumsum(weight), (np.arange(count) + 0.5) / count))
        at = np.minimum(at, weight.size - 1)
    share = np.zeros(weight.size)
    owner = np.searchsorted(at, np.arange(weight.size), side="right").clip(1) - 1
    np.add.at(share, at[owner], weight)
    return _Picked(
        at=at, weight=share[at] / share[at].sum(), indicated=indicated.draw(at.size, rng)
    )


def engine_change(
    judged: Judgement,
    reading: Reading,
    indicated: LnChange,
    given: Circumstances,
    drift: LnChange | None = None,
) -> Change:
    """Return the engine's change and its parts.

    Parameters
    ----------
    judged : Judgement
    reading : Reading
        The surplus over the matched full load, one row.
    indicated : LnChange
        What the sensor shows there.
    given : Circumstances
    drift : LnChange, optional
        What in it is drift and scatter of the runs by their order: the day's, not the intake's.
    """
    row = reading.surplus[0]
    stated = judged.posterior
    own = _pick(stated, indicated, DRAWS)
    sizes = stated.draws.sizes[own.at] @ row
    spread = stated.draws.spread[own.at] @ row
    rng = np.random.default_rng(SEED + 1)
    freed = _freed(own.indicated, indicated, drift)
    parts = _with_day(split(freed - spread, spread, given, rng), own.indicated - freed)
    # A sign is read from the model itself: what it takes to be unchanged moves engine and intake.
    engine = own.indicated - sizes
    intake = parts.intake + (spread - sizes)
    claim = _as_held(own.weight, parts)
    alive = [live[own.at] for live in judged.live()]
    varied_engine, varied_intake = [], []
    for v in judged.varied:
        if v.posterior.candidates and v.posterior.draws.sizes is stated.draws.sizes:
            ratio = v.posterior.draws.weight[own.at] / stated.draws.weight[own.at]
            weight = _normalized(own.weight * ratio)
            varied_engine.append(Claimed(values=engine, weight=weight))
            varied_intake.append(Claimed(values=intake, weight=_normalized(claim * ratio)))
            continue
        other = _pick(v.posterior, indicated, VARIED_DRAWS)
        surplus = v.posterior.draws.sizes[other.at] @ row
        change = other.indicated - surplus
        varied_engine.append(Claimed(values=change, weight=other.weight))
        moved = split(_freed(other.indicated, indicated, drift) - surplus, surplus, given, rng)
        varied_intake.append(Claimed(values=moved.intake, weight=_as_held(other.weight, moved)))
    return Change(
        engine=Evidence(
            stated=_claimed(engine, own.weight, alive),
            varied=tuple(varied_engine),
        ),
        intake=Evidence(
            stated=_claimed(intake, claim, alive),
            varied=tuple(varied_intake),
        ),
        engine_interval=interval_of(own.indicated - spread, own.weight),
        parts=parts,
        weight=own.weight,
        elsewhere=float(own.weight @ (intake > 0.5 * engine)),
    )


def _freed(draws: FloatArray, indicated: LnChange, drift: LnChange | None) -> FloatArray:
    """Return draws of the indicated change freed of drift, each at the place of its own draw."""
    if drift is None or indicated.u <= 0.0:
        return draws
    return indicated.value - drift.value + drift.u / indicated.u * (draws - indicated.value)


def _with_day(parts: Parts, drift: FloatArray) -> Parts:
    """Return the parts with the drift of the day in the weather's."""
    return replace(parts, weather=parts.weather + drift)


def _claimed(values: FloatArray, weight: FloatArray, alive: Sequence[FloatArray]) -> Claimed:
    return Claimed(values=values, weight=weight, live=tuple(_normalized(weight * a) for a in alive))


def _as_held(weight: FloatArray, parts: Parts) -> FloatArray:
    """Return the weights under an unchanged demand, where that may be taken for granted."""
    unlikely = parts.stood is None and parts.held_probability < LEAST_HELD
    if unlikely or parts.intake_if_held() is None:
        return weight
    return _normalized(weight * parts.held)


def _normalized(weight: FloatArray) -> FloatArray:
    return weight / max(float(weight.sum()), 1e-300)
