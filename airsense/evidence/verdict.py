"""The words of a verdict, and the sentence that goes with them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from airsense.evidence.student import Mixture
from airsense.results import Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What a claim needs: at most this probability of the other sign over all causes, and a value
    this many standard uncertainties from zero inside the leading explanation."""

    tail: float
    uncertainties: float


# At two standard uncertainties one comparison in forty would be wrong. A gain or loss of the
# engine needs more than a changed reading, because money and hardware follow from it.
SKEW_BAR = Bar(tail=0.025, uncertainties=2.7)
TRUE_BAR = Bar(tail=0.005, uncertainties=3.5)
# A claim must stand whichever single route is at fault: under each fault that the data leave this
# probability, at most this much of the other sign.
LIVE_SHARE = 0.01
FAULT_TAIL = 0.015
# The interval must clear zero by this share of the margin: one that just misses it is the likeliest
# to be there by chance.
CLEARANCE = 0.25
# Where one route stands alone, or a fault of a route is a live suspect, nothing vouches for it.
DOUBT_TAIL = 0.005
LIVE_FAULT = 0.3
DEFAULT_MARGIN = 0.01


class Verdict(Enum):
    """What the evidence supports. UNDETERMINED is never merged into anything else."""

    GAIN_SUPPORTED = "gain_supported"
    PARTLY_SUPPORTED = "partly_supported"
    SENSOR_SKEW = "sensor_skew"
    NO_CHANGE = "no_change"
    LOSS_SUPPORTED = "loss_supported"
    UNDETERMINED = "undetermined"


def claimed_sign(mixture: Mixture, margin: float, bar: Bar) -> int:
    """Return +1 or -1 if a change of that sign is beyond doubt and matters, else 0.

    Beyond doubt: over all causes, in the leading one, and under each fault of a route that the
    mixture marks. Matters: the median is larger than half of the equivalence margin.
    """
    middle = float(mixture.quantile(0.5))
    leading = int(np.argmax(mixture.weight))
    clear = abs(mixture.mean[leading]) > bar.uncertainties * mixture.scale[leading]
    if abs(middle) < 0.5 * margin or not clear:
        return 0
    sign = 1 if middle > 0.0 else -1
    if _against(mixture, sign, CLEARANCE * margin) > bar.tail:
        return 0
    stands = all(_against(m, sign) <= FAULT_TAIL for m in mixture.under_each(LIVE_SHARE))
    return sign if stands else 0


def _against(mixture: Mixture, sign: int, clearance: float = 0.0) -> float:
    """Return the probability of values that do not clear zero on the side of `sign`."""
    below = mixture.below(sign * clearance)
    return below if sign > 0 else 1.0 - below


def inside_margin(interval: Interval, margin: float) -> bool:
    """Return whether an interval lies inside the equivalence margin."""
    return -margin <= interval.low and interval.high <= margin


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What speaks against taking the posterior at its word.

    `unexplained`: the routes contradict each other and no single cause explains it.
    `unsupported`: one route stands alone, or a fault of a route is a live suspect.
    """

    unexplained: bool = False
    unsupported: bool = False


def decide(
    true: Mixture, skew: Mixture, margin: float = DEFAULT_MARGIN, doubt: Doubt | None = None
) -> Verdict:
    """Return the verdict on a comparison.

    Parameters
    ----------
    true, skew : Mixture
        Posterior of the true change and of the sensor skew, logarithmic.
    margin : float
        "No change" is a result only inside this margin.
    doubt : Doubt, optional
        With `unexplained` nothing is claimed; with `unsupported` the bar is higher.
    """
    doubt = doubt or Doubt()
    if doubt.unexplained:
        return Verdict.UNDETERMINED
    tail = DOUBT_TAIL if doubt.unsupported else SKEW_BAR.tail
    true_sign = claimed_sign(true, margin, TRUE_BAR)
    skew_sign = claimed_sign(skew, margin, replace(SKEW_BAR, tail=tail))
    if true_sign > 0:
        return Verdict.PARTLY_SUPPORTED if skew_sign > 0 else Verdict.GAIN_SUPPORTED
    if true_sign < 0:
        return Verdict.LOSS_SUPPORTED
    if skew_sign != 0:
        return Verdict.SENSOR_SKEW
    if inside_margin(true.interval(), margin):
        return Verdict.NO_CHANGE
    return Verdict.UNDETERMINED


def percent(value: float) -> str:
    """Return a fraction as a signed percentage with one decimal."""
    return f"{100.0 * value:+.1f} %"


def range_text(interval: Interval) -> str:
    """Return 'value (low to high)' in percent."""
    return f"{percent(interval.value)} ({percent(interval.low)} to {percent(interval.high)})"


def sentence(verdict: Verdict, *, indicated: Interval, true: Interval, skew: Interval) -> str:
    """Return the answer in one sentence, with its intervals."""
    shown = f"the sensor shows {percent(indicated.value)} air"
    air, sensor = range_text(true), range_text(skew)
    return {
        Verdict.GAIN_SUPPORTED: f"The gain is real: {shown}, the engine's air changed by {air}; "
        f"the sensor's own reading changed by {sensor}.",
        Verdict.PARTLY_SUPPORTED: f"Part of the gain is real: {shown}, of which the engine's air "
        f"changed by {air} and the sensor's reading by {sensor}.",
        Verdict.SENSOR_SKEW: f"The sensor's reading changed, by {sensor}: {shown}, while a change "
        f"of the engine's air is not shown, {air}.",
        Verdict.NO_CHANGE: f"No change of the engine's air: {air}; {shown} and its reading "
        f"changed by {sensor}.",
        Verdict.LOSS_SUPPORTED: f"The engine breathes less: {air}; {shown}, and the sensor's own "
        f"reading changed by {sensor}.",
        Verdict.UNDETERMINED: f"Undetermined: {shown}; the engine's air changed by {air} and the "
        f"sensor's reading by {sensor}, and these data cannot tell more.",
    }[verdict]
