"""Which causes may be at work together: one at the sensor or behind it, at most one of a route.

The columns of all causes stand once; a hypothesis names those that are free in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from airsense.arrays import FloatArray, IntArray
from airsense.cause import Cause
from airsense.evidence.priors import PRESSURE_CAUSES, SENSOR_CAUSES, Prior, PriorTable
from airsense.evidence.signatures import Effect, Observed, effects_of

# Gain and offset of a pressure sensor that drift together, as a share of either alone.
BOTH_PRESSURES = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One form of what may be at work on one side: its columns and their prior precision."""

    causes: frozenset[Cause]
    probability: float
    columns: IntArray
    precision: FloatArray
    one_sided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """A choice at the sensor with a choice of a route's fault."""

    sensor: Choice
    fault: Choice
    causes: frozenset[Cause] = field(init=False)

    def __post_init__(self) -> None:
        both = self.sensor.causes | self.fault.causes
        object.__setattr__(self, "causes", both or frozenset({Cause.NONE}))

    @property
    def probability(self) -> float:
        """Prior probability."""
        return self.sensor.probability * self.fault.probability

    @property
    def columns(self) -> IntArray:
        """Columns that are free."""
        return np.concatenate([self.sensor.columns, self.fault.columns])

    @property
    def precision(self) -> FloatArray:
        """Prior precision of the free columns."""
        a, b = self.sensor.precision, self.fault.precision
        out = np.zeros((a.shape[0] + b.shape[0],) * 2)
        out[: a.shape[0], : a.shape[0]] = a
        out[a.shape[0] :, a.shape[0] :] = b
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """All columns of all causes: `cells` (n_routes, m, c), `rest` (q, c); `places` by cause."""

    cells: FloatArray
    rest: FloatArray
    effects: tuple[tuple[Cause, Effect, IntArray], ...]

    def columns_of(self, *causes: Cause) -> IntArray:
        """Return the columns of some causes; a factor beside one of them is not its own."""
        found = [
            place[:-1] if effect.companion else place
            for cause, effect, place in self.effects
            if cause in causes
        ]
        return np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=np.int64)

    @property
    def companions(self) -> IntArray:
        """The columns of a factor of the sensor beside another cause."""
        return np.array([place[-1] for _, e, place in self.effects if e.companion], dtype=np.int64)


def library_of(table: PriorTable, seen: Observed) -> Library:
    """Return the columns of all causes that these data can show.

    The factor and the shape over flow serve all causes at the sensor, and stand first.
    """
    effects: list[tuple[Cause, Effect, IntArray]] = []
    cells: list[FloatArray] = []
    rest: list[FloatArray] = []
    at = 0
    for prior in table.rows():
        for effect in effects_of(prior, seen):
            curve = prior.cause in (Cause.SENSOR_SCALE, Cause.SENSOR_SHAPE)
            if curve and effects and effects[0][0] is Cause.SENSOR_SCALE:
                effects.append((prior.cause, effect, effects[0][2]))
                continue
            size = effect.precision.shape[0]
            effects.append((prior.cause, effect, np.arange(at, at + size)))
            cells.append(effect.cells)
            rest.append(effect.rest)
            at += size
    return Library(
        cells=np.concatenate(cells, axis=2),
        rest=np.concatenate(rest, axis=1),
        effects=tuple(effects),
    )


def hypotheses(table: PriorTable, library: Library) -> tuple[Hypothesis, ...]:
    """Return all combinations; prior probabilities sum to one."""
    sensors = _choices(table.sensor, library)
    faults = _choices(table.fault, library)
    faults += _both_pressures(faults)
    return tuple(
        Hypothesis(sensor=s, fault=f) for s in _normalized(sensors) for f in _normalized(faults)
    )


def _choices(priors: Sequence[Prior], library: Library) -> list[Choice]:
    nothing = Choice(
        causes=frozenset(),
        probability=1.0 - sum(p.probability for p in priors),
        columns=np.zeros(0, dtype=np.int64),
        precision=np.zeros((0, 0)),
    )
    return [nothing, *(c for p in priors for c in _forms(p, library))]


def _forms(prior: Prior, library: Library) -> list[Choice]:
    own = [(e, place) for cause, e, place in library.effects if cause is prior.cause]
    total = sum(e.share for e, _ in own)
    return [
        Choice(
            causes=_causes_of(prior.cause, effect),
            probability=probability * effect.share / total,
            columns=place,
            precision=effect.precision / size**2 + effect.fixed,
            one_sided=effect.one_sided,
        )
        for probability, size in prior.parts
        for effect, place in own
        if probability > 0.0 and size > 0.0
    ]


def _causes_of(cause: Cause, effect: Effect) -> frozenset[Cause]:
    """Return what is at work: a factor beside pulsation is one more change of the sensor's."""
    beside = effect.companion and cause not in SENSOR_CAUSES
    return frozenset({cause, Cause.SENSOR_SCALE} if beside else {cause})


def _both_pressures(faults: Sequence[Choice]) -> list[Choice]:
    """Return gain and offset of a pressure sensor at their usual sizes together."""
    usual = [
        next((f for f in faults if f.causes == frozenset({cause})), None)
        for cause in PRESSURE_CAUSES
    ]
    gain, offset = usual
    if gain is None or offset is None:
        return []
    return [
        Choice(
            causes=frozenset(PRESSURE_CAUSES),
            probability=BOTH_PRESSURES * min(gain.probability, offset.probability),
            columns=np.concatenate([gain.columns, offset.columns]),
            precision=Hypothesis(sensor=gain, fault=offset).precision,
        )
    ]


def _normalized(choices: Sequence[Choice]) -> list[Choice]:
    total = sum(c.probability for c in choices)
    return [
        Choice(
            causes=c.causes,
            probability=c.probability / total,
            columns=c.columns,
            precision=c.precision,
            one_sided=c.one_sided,
        )
        for c in choices
    ]
