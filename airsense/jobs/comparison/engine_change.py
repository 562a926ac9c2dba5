"""The engine's change of air at matched full load, and its parts, as draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray, IntArray
from airsense.evidence.judgement import Judgement, Reading, interval_of
from airsense.evidence.matched import LnChange
from airsense.evidence.parts import Circumstances, Parts, split
from airsense.evidence.posterior import Posterior
from airsense.evidence.sensor_runs import SensorRuns
from airsense.evidence.verdict import Claimed, Evidence
from airsense.results import Interval

# Any seed, always the same; draws enough for 95 % limits to a few hundredths of their width.
SEED = 7_919
DRAWS, VARIED_DRAWS = 2_400, 800


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The engine's change and its parts under the stated priors and variations of them.

    `parts` are drawn for intervals; the evidence is for claims. Of two tunes `engine` is the
    change at the same weather: there is no intake to tell from it.
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
    """Some draws of a posterior: their numbers and weights, and what the sensor shows beside."""

    at: IntArray
    weight: FloatArray
    shown: FloatArray


def _pick(posterior: Posterior, shown: LnChange, count: int) -> _Picked:
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
    return _Picked(at=at, weight=share[at] / share[at].sum(), shown=shown.draw(at.size, rng))


def engine_change(
    judged: Judgement,
    reading: Reading,
    indicated: LnChange,
    sensor: SensorRuns,
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
    sensor : SensorRuns
        What its own scatter is of that.
    given : Circumstances
    drift : LnChange, optional
        What in it is drift and scatter of the runs by their order: the day's, not the intake's.
    """
    surplus = reading.surplus[0]
    shown = sensor.air(indicated)
    model = _Model(
        row=surplus - sensor.slope,
        surplus=surplus,
        shown=shown,
        freed=shown if drift is None else sensor.air(_less(indicated, drift)),
        given=given,
    )
    stated = judged.posterior
    own = _pick(stated, shown, DRAWS)
    sizes, spread = (d[own.at] for d in (stated.draws.sizes, stated.draws.spread))
    rng = np.random.default_rng(SEED + 1)
    parts = model.parts(own.shown, spread, rng)
    # A sign is read from the model itself: what it takes to be unchanged moves engine and intake.
    engine = own.shown - sizes @ model.row - model.aside(parts)
    claimable = parts.claimable
    intake = claimable.intake + ((spread - sizes) @ model.row)[:, None]
    drawn = _Drawn(engine=engine, intake=intake, share=claimable.share)
    alive = [_normalized(own.weight * live[own.at]) for live in judged.live()]
    first = drawn.claims(own.weight, alive)
    varied = [
        _reweighed(v, stated, own, drawn) or model.claims(_pick(v, shown, VARIED_DRAWS), v, rng)
        for v in (v.posterior for v in judged.varied)
    ]
    of_engine, of_intake = (
        Evidence(stated=claimed, varied=tuple(v[k] for v in varied))
        for k, claimed in enumerate(first)
    )
    return Change(
        engine=of_engine,
        intake=of_intake,
        engine_interval=interval_of(own.shown - spread @ model.row, own.weight),
        parts=parts,
        weight=own.weight,
        elsewhere=float(np.sum(first[1].weight * (intake > 0.5 * engine[:, None]))),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Model:
    """How draws become parts: the engine's change is `shown` less ``row @ sizes``.

    `freed` is `shown` without the drift of the runs, which is the day's and not the intake's;
    `surplus` is the row of the surplus.
    """

    row: FloatArray
    surplus: FloatArray
    shown: LnChange
    freed: LnChange
    given: Circumstances

    def parts(self, shown: FloatArray, sizes: FloatArray, rng: np.random.Generator) -> Parts:
        """Return the parts; each draw freed of drift keeps its place among the draws."""
        share = self.freed.u / self.shown.u if self.shown.u > 0.0 else 1.0
        freed = self.freed.value + share * (shown - self.shown.value)
        found = split(freed - sizes @ self.row, sizes @ self.surplus, self.given, rng)
        return replace(found, weather=found.weather + (shown - freed))

    def claims(
        self, own: _Picked, posterior: Posterior, rng: np.random.Generator
    ) -> tuple[Claimed, Claimed]:
        """Return the engine's change and the intake's part under other priors."""
        sizes = posterior.draws.sizes[own.at]
        parts = self.parts(own.shown, sizes, rng)
        engine = own.shown - sizes @ self.row - self.aside(parts)
        found = parts.claimable
        return _Drawn(engine=engine, intake=found.intake, share=found.share).claims(own.weight)

    def aside(self, parts: Parts) -> FloatArray | float:
        """Return what of the engine's change no tune made: the weather, where two are compared."""
        return parts.weather if self.given.same_intake else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """Draws of the engine's change, (n,), and candidates for the intake's part of each, (n, k)."""

    engine: FloatArray
    intake: FloatArray
    share: FloatArray

    def claims(
        self, weight: FloatArray, live: Sequence[FloatArray] = ()
    ) -> tuple[Claimed, Claimed]:
        """Return engine and intake as claims are read from them, with weights (n,)."""
        return (
            Claimed(values=self.engine, weight=weight, live=tuple(live)),
            Claimed(
                values=self.intake,
                weight=weight[:, None] * self.share,
                live=tuple(own[:, None] * self.share for own in live),
            ),
        )


def _reweighed(
    posterior: Posterior, stated: Posterior, own: _Picked, drawn: _Drawn
) -> tuple[Claimed, Claimed] | None:
    """Return engine and intake where other priors only weigh the same draws anew."""
    if posterior.draws.sizes is not stated.draws.sizes:
        return None
    ratio = posterior.draws.weight[own.at] / stated.draws.weight[own.at]
    return drawn.claims(_normalized(own.weight * ratio))


def _less(indicated: LnChange, drift: LnChange) -> LnChange:
    """Return the indicated change freed of the drift of the runs, with the scatter about it."""
    return replace(indicated, value=indicated.value - drift.value, u=drift.u)


def _normalized(weight: FloatArray) -> FloatArray:
    return weight / max(float(weight.sum()), 1e-300)
