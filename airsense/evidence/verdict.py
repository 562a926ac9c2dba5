"""The words of a verdict, and the sentence that goes with them."""

from __future__ import annotations

from enum import Enum

import numpy as np

from airsense.evidence.student import Mixture
from airsense.results import Interval

# A claim needs a probability over all causes: a changed reading as its 95 % interval has it, a
# gain or loss of the engine more, because money and hardware follow from it.
SKEW_TAIL = 0.025
TRUE_TAIL = 0.01
# And, inside the leading explanation, a value this many standard uncertainties from zero: at
# two of them one comparison in forty would be wrong.
CLAIM_UNCERTAINTIES = 2.7
DEFAULT_MARGIN = 0.01


class Verdict(Enum):
    """What the evidence supports. UNDETERMINED is never merged into anything else."""

    GAIN_SUPPORTED = "gain_supported"
    PARTLY_SUPPORTED = "partly_supported"
    SENSOR_SKEW = "sensor_skew"
    NO_CHANGE = "no_change"
    LOSS_SUPPORTED = "loss_supported"
    UNDETERMINED = "undetermined"


def claimed_sign(mixture: Mixture, margin: float, tail: float) -> int:
    """Return +1 or -1 if a change of that sign is beyond doubt and matters, else 0.

    Matters: the median is larger than half of the equivalence margin.
    """
    middle = float(mixture.quantile(0.5))
    leading = int(np.argmax(mixture.weight))
    clear = abs(mixture.mean[leading]) > CLAIM_UNCERTAINTIES * mixture.scale[leading]
    if abs(middle) < 0.5 * margin or not clear:
        return 0
    below = mixture.below(0.0)
    if below <= tail:
        return 1
    return -1 if below >= 1.0 - tail else 0


def inside_margin(interval: Interval, margin: float) -> bool:
    """Return whether an interval lies inside the equivalence margin."""
    return -margin <= interval.low and interval.high <= margin


def decide(
    true: Mixture, skew: Mixture, margin: float = DEFAULT_MARGIN, *, unexplained: bool = False
) -> Verdict:
    """Return the verdict on a comparison.

    Parameters
    ----------
    true, skew : Mixture
        Posterior of the true change and of the sensor skew, logarithmic.
    margin : float
        "No change" is a result only inside this margin.
    unexplained : bool
        Whether the routes contradict each other and no single cause explains it: then nothing
        is claimed.
    """
    if unexplained:
        return Verdict.UNDETERMINED
    true_sign = claimed_sign(true, margin, TRUE_TAIL)
    skew_sign = claimed_sign(skew, margin, SKEW_TAIL)
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
