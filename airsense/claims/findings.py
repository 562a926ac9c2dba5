"""What an audit says of one check, and how draws become an outcome.

One bar for all: a sign is resolved, and a figure contradicted, at a probability below `TAIL` of
the other side. `supported` needs agreement that is sharp enough to mean something. Everything
between is `undetermined`, with what would settle it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims.draws import Share, change_interval, interval_of, tail_probability
from airsense.claims.priors import Span
from airsense.results import Interval

# An audit makes a dozen checks: 2.7 standard uncertainties for each of them.
TAIL = 0.004
NAMED_SHARE = 0.15


class Check(Enum):
    """The checks of an audit."""

    AIRFLOW_VS_PRESSURE = "airflow_vs_pressure"
    VOLUMETRIC_EFFICIENCY = "volumetric_efficiency"
    LAMBDA = "lambda"
    FUEL_VS_POWER = "fuel_vs_power"
    BRAKE_EFFICIENCY = "brake_efficiency"
    POWER_VS_AIRFLOW = "power_vs_airflow"
    MEAN_EFFECTIVE_PRESSURE = "mean_effective_pressure"
    WEATHER = "weather"
    ARITHMETIC = "arithmetic"
    REPEATABILITY = "repeatability"
    RESTRICTION_CEILING = "restriction_ceiling"
    FEEDBACK = "feedback"
    CORRECTION = "correction"
    MISSING = "missing"


class Outcome(Enum):
    """What a check says of the printed figures."""

    SUPPORTED = "supported"
    CONTRADICTED = "contradicted"
    UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFinding:
    """One check of one subject.

    `measured` is what the printed figures say, `expected` what would be sound, `difference`
    what lies between them; all in SI units or plain fractions as `unit` says.
    """

    check: Check
    subject: str
    outcome: Outcome
    measured: Interval | None
    expected: Interval | None
    sentence: str
    settle_by: str
    unit: str = "fraction"
    difference: Interval | None = None
    budget: tuple[Share, ...] = ()


def judge_zero(difference: FloatArray, *, useful: float) -> Outcome:
    """Return whether a difference that should be zero is.

    Parameters
    ----------
    difference : ndarray, shape (draws,)
        Draws of the difference.
    useful : float
        Largest half-width of its 95 % interval at which agreement means something.
    """
    if tail_probability(difference) < TAIL:
        return Outcome.CONTRADICTED
    interval = interval_of(difference)
    if interval.contains(0.0) and interval.half_width <= useful:
        return Outcome.SUPPORTED
    return Outcome.UNDETERMINED


def judge_inside(value: FloatArray, span: Span) -> Outcome:
    """Return whether a value lies in the range of what is possible."""
    inside = float(np.mean((value >= span.low) & (value <= span.high)))
    if inside < TAIL:
        return Outcome.CONTRADICTED
    return Outcome.SUPPORTED if inside >= 0.5 else Outcome.UNDETERMINED


def sign_of(ln_change: FloatArray) -> int:
    """Return the sign of a change that is beyond the bar, else 0."""
    if float(np.mean(ln_change <= 0.0)) < TAIL:
        return 1
    return -1 if float(np.mean(ln_change >= 0.0)) < TAIL else 0


def span_interval(span: Span) -> Interval:
    """Return a range as an interval about its middle."""
    return Interval(0.5 * (span.low + span.high), span.low, span.high)


def settle_phrase(shares: Sequence[Share], *, extra: str = "") -> str:
    """Return what would narrow a finding most: its largest sources, in words."""
    asks = [extra] if extra else []
    for share in shares:
        if share.share >= NAMED_SHARE and share.source.settle_by not in asks:
            asks.append(share.source.settle_by)
    return "; ".join(asks[:3])


def percent(value: float, *, sign: bool = True) -> str:
    """Return a fraction as text in per cent."""
    number = 100.0 * value
    digits = 1 if abs(number) < 9.95 else 0
    text = f"{number:+.{digits}f}" if sign else f"{number:.{digits}f}"
    return text.replace("-0.0", "0.0").replace("+0.0", "0.0") + " %"


def between(interval: Interval) -> str:
    """Return the bounds of a relative change in words."""
    return f"{percent(interval.low)} to {percent(interval.high)}"


def change(ln_ratio: FloatArray) -> str:
    """Return the middle of a relative change in words."""
    return percent(change_interval(ln_ratio).value)
