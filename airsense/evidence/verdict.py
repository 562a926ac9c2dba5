"""The words of a verdict, by the precedence of the contract."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property

import numpy as np

from airsense.arrays import FloatArray

# A change below 1 % of the air matters to nobody (our choice; --margin).
DEFAULT_MARGIN = 0.01
# Most probability of the other sign that a shown quantity may have, under every prior and every
# live explanation. Money and hardware follow from a gain, so it needs more than a changed reading.
TAIL_OF_GAIN, TAIL_OF_SURPLUS = 0.002, 0.01
# Causes that together have this probability are a live explanation: a claim must stand under it.
LIVE = 0.05
# Most probability that nothing changed, by whatever explanation, under the stated priors.
NOTHING = 0.07
# Under priors that are off by a factor of five or two a claim may be this much less sure.
UNDER_OTHER_PRIORS = 2.0
SURE = 0.95
# Middle, low and high end of an interval that is shown.
TAILS = (0.5, 0.025, 0.975)
FEW = 8


class Verdict(Enum):
    """What the evidence supports. UNDETERMINED is never merged into anything else."""

    GAIN_SUPPORTED = "gain_supported"
    PARTLY_SUPPORTED = "partly_supported"
    LOSS_SUPPORTED = "loss_supported"
    GAIN_ELSEWHERE = "gain_elsewhere"
    READING_ONLY = "reading_only"
    NO_CHANGE = "no_change"
    TUNE_GAIN_SUPPORTED = "tune_gain_supported"
    TUNE_NO_GAIN = "tune_no_gain"
    UNDETERMINED = "undetermined"


class ReadingCause(Enum):
    """Where the surplus of the reading comes from."""

    NONE = "none"
    SENSOR = "sensor"
    AIR_LOST_BEHIND_SENSOR = "air_lost_behind_sensor"
    OPEN = "open"


@dataclass(frozen=True, kw_only=True)
class Claimed:
    """Draws of one quantity under one prior: weights, and those under live explanations.

    All (n,), or (n, k) with k candidates for each of n draws; weights add to one. `most_nothing`
    is the probability of no change at all that a claim may have here.
    """

    values: FloatArray
    weight: FloatArray
    live: tuple[FloatArray, ...] = ()
    most_nothing: float = 1.0

    def against(self, sign: int) -> float:
        """Return the largest probability of the other sign.

        Under the mixture no change at all is no sign; under one explanation alone it is against.
        """
        changed = self.weight * (self.values != 0.0)
        rows = [tail_beyond_zero(sign * self.values, w) for w in self.live]
        if changed.sum() > 0.0:
            rows.append(tail_beyond_zero(sign * self.values, changed / changed.sum()))
        return max(rows, default=1.0)

    def nothing(self) -> float:
        """Return the probability of no change at all."""
        return float(np.sum(self.weight * (self.values == 0.0)))

    def above(self) -> float:
        """Return the probability of a rise."""
        return float(np.sum(self.weight * (self.values > 0.0)))

    def inside(self, margin: float) -> float:
        """Return the probability of a size below the margin."""
        return float(np.sum(self.weight * (np.abs(self.values) < margin)))

    @cached_property
    def median(self) -> float:
        """Return the middle of the distribution."""
        return float(weighted_quantiles(self.values, self.weight, [0.5])[0])


def weighted_quantiles(
    values: FloatArray, weight: FloatArray, probability: Sequence[float]
) -> FloatArray:
    """Return quantiles of weighted draws of any shape, (n_probabilities,)."""
    flat = values.ravel()
    order = np.argsort(flat)
    cumulated = np.cumsum(weight.ravel()[order])
    at = np.searchsorted(cumulated, np.asarray(probability) * cumulated[-1])
    return np.asarray(flat[order][np.minimum(at, flat.size - 1)])


def tail_beyond_zero(values: FloatArray, weight: FloatArray) -> float:
    """Return the probability of values of zero or less.

    Few draws cannot show a small tail: where it rests on fewer than `FEW` of one weight (Kish's
    effective number), an exponential through the 2 % and 20 % quantiles is followed instead, which
    lies above the tail of a normal.
    """
    by_draw = np.sum((weight * (values <= 0.0)).reshape(values.shape[0], -1), axis=1)
    seen = float(np.sum(by_draw))
    if seen > 0.0 and seen**2 >= FEW * float(by_draw @ by_draw):
        return seen
    near, wide = weighted_quantiles(values, weight, [0.02, 0.20])
    if near <= 0.0 or wide <= near:
        return seen
    return 0.02 * float(np.exp(-near * np.log(10.0) / (wide - near)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One quantity under the stated priors and under each variation of them."""

    stated: Claimed
    varied: tuple[Claimed, ...]

    def shown(self, tail: float, margin: float) -> int:
        """Return +1 or -1 if a change of that sign is shown, else 0."""
        middle = self.stated.median
        if abs(middle) < 0.5 * margin:
            return 0
        sign = 1 if middle > 0.0 else -1
        sure = self.stated.against(sign) <= tail and self.stated.nothing() <= NOTHING
        robust = all(
            c.against(sign) <= UNDER_OTHER_PRIORS * tail and c.nothing() <= c.most_nothing
            for c in self.varied
        )
        return sign if sure and robust else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What a verdict is about: the intake's part, the engine's change and the surplus.

    `intake` and `engine` are None without matched full load; `elsewhere` is the probability that
    the intake gave more than half of the engine's change.
    """

    surplus: Evidence
    surplus_high: float
    intake: Evidence | None = None
    engine: Evidence | None = None
    elsewhere: float = 1.0


def matters(surplus: Evidence, margin: float) -> bool:
    """Return whether a surplus is shown that is not small."""
    return surplus.shown(TAIL_OF_SURPLUS, margin) != 0 and abs(surplus.stated.median) >= margin


def decide(question: Question, margin: float = DEFAULT_MARGIN) -> Verdict:
    """Return the first verdict that holds, by the precedence of the contract."""
    surplus = question.surplus
    important = matters(surplus, margin)
    quiet = surplus.stated.inside(margin) >= SURE
    found = None
    if question.intake is not None and question.engine is not None:
        found = _of_the_air(question, question.intake, question.engine, margin)
        quiet = quiet and question.intake.stated.inside(margin) >= SURE
    if found is not None:
        return found
    if important:
        return Verdict.READING_ONLY
    return Verdict.NO_CHANGE if quiet else Verdict.UNDETERMINED


def _of_the_air(
    question: Question, intake: Evidence, engine: Evidence, margin: float
) -> Verdict | None:
    """Return what is shown of the engine's air and the intake's part of it, if anything."""
    sign = intake.shown(TAIL_OF_GAIN, margin)
    if sign > 0:
        most = max(2.0 * margin, 0.5 * intake.stated.median)
        beside = matters(question.surplus, margin) or question.surplus_high > most
        return Verdict.PARTLY_SUPPORTED if beside else Verdict.GAIN_SUPPORTED
    if sign < 0:
        return Verdict.LOSS_SUPPORTED
    if engine.shown(TAIL_OF_GAIN, margin) > 0 and question.elsewhere <= 1.0 - SURE:
        return Verdict.GAIN_ELSEWHERE
    return None


def decide_tune(engine: Evidence, margin: float = DEFAULT_MARGIN) -> Verdict:
    """Return the verdict on two tunes of one intake: about the engine's air at one weather."""
    sign = engine.shown(TAIL_OF_GAIN, margin)
    if sign > 0:
        return Verdict.TUNE_GAIN_SUPPORTED
    if sign < 0 or engine.stated.inside(margin) >= SURE:
        return Verdict.TUNE_NO_GAIN
    return Verdict.UNDETERMINED


def reading_cause(
    surplus: Evidence, families: Sequence[tuple[float, float]], margin: float
) -> ReadingCause:
    """Return where a surplus comes from.

    Parameters
    ----------
    surplus : Evidence
    families : sequence of (float, float)
        Probability that the sensor, and that a leak, is at work: stated, then each variation.
    margin : float
    """
    if surplus.stated.inside(margin) >= SURE:
        return ReadingCause.NONE
    if not matters(surplus, margin):
        return ReadingCause.OPEN
    if all(sensor >= SURE for sensor, _ in families):
        return ReadingCause.SENSOR
    if all(leak >= SURE for _, leak in families):
        return ReadingCause.AIR_LOST_BEHIND_SENSOR
    return ReadingCause.OPEN
