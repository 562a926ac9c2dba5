"""Many logs: which one needs a look first, and whether a vehicle's sensor drifts.

With ``y_i`` the logarithm of (indicated flow / one route's flow) of log i on day ``t_i``:

    y_i = a + b t_i + e_i,   e_i ~ N(0, s2 u_i^2)                                     (1)

``u_i`` is only the part of the uncertainty that logs of one vehicle do not share: what they share
(the absolute part) moves ``a`` and cancels in ``b``. ``s2`` has a scaled inverse chi-square prior
around 1, that is around the declared sizes, and is updated by the scatter about the line; so the
slope is Student distributed. The line cannot tell the sensor from the route it is held against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from airsense.estimates.defaults import DEFAULT_DOF
from airsense.evidence.student import single
from airsense.results import Interval

FloatArray = NDArray[np.float64]

MIN_LOGS = 3
# Days that lie closer together than this show scatter, not drift: our choice.
MIN_SPAN_DAYS = 1.0
# A drift is shown, or ruled out, at this level, and "steady" means less than this over the span.
LEVEL = 0.05
STEADY_MARGIN = 0.01


class DriftVerdict(Enum):
    """Whether a vehicle's reading drifts against a route."""

    DRIFTS = "drifts"
    STEADY = "steady"
    UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftLine:
    """The line (1) through the logs of one vehicle.

    `change` is that of indicated over route flow from the first day to the last, as a fraction;
    `first` and `last` are the line's ends (indicated over route, less one); `scatter` is the root
    of s2: above 1 the logs scatter more than declared; `p` is the probability of a slope as far
    from zero if there is none.
    """

    change: Interval
    days: float
    first: float
    last: float
    scatter: float
    degrees_of_freedom: float
    p: float


def suspicion(error: Interval) -> float:
    """Return how far zero lies outside of an interval: 0 at its value, 1 at its edge, and so on.

    It is |value| over the distance from the value to the bound that faces zero, so that it
    exceeds 1 just where the 95 % interval excludes zero. A wide interval is ignorance and scores
    low; NaN if the interval is not finite.
    """
    facing = error.value - error.low if error.value > 0.0 else error.high - error.value
    if error.value == 0.0:
        return 0.0
    return abs(error.value) / facing if facing > 0.0 else float("nan")


def fit_drift(day: FloatArray, ln_ratio: FloatArray, u: FloatArray) -> DriftLine | None:
    """Return the line through the logs of one vehicle; None with too few, or all of one day.

    Parameters
    ----------
    day : ndarray, shape (n,)
        Date of each log, in days from any origin.
    ln_ratio : ndarray, shape (n,)
        Logarithm of indicated over route flow.
    u : ndarray, shape (n,)
        Its standard uncertainty (k = 1), only the part that logs do not share.
    """
    n = day.size
    span = float(np.ptp(day)) if n else 0.0
    if n < MIN_LOGS or span < MIN_SPAN_DAYS:
        return None
    weight = u**-2.0
    mean_day = float(np.average(day, weights=weight))
    mean = float(np.average(ln_ratio, weights=weight))
    at = day - mean_day
    moment = float(weight @ at**2)
    slope = float(weight @ (at * ln_ratio)) / moment
    left = ln_ratio - mean - slope * at
    dof = DEFAULT_DOF + n - 2
    s2 = (DEFAULT_DOF + float(weight @ left**2)) / dof
    u_slope = float(np.sqrt(s2 / moment))
    ends = mean + slope * (np.array([day.min(), day.max()]) - mean_day)
    first, last = np.expm1(ends)
    return DriftLine(
        change=single(slope * span, u_slope * span, dof).interval(),
        days=span,
        first=float(first),
        last=float(last),
        scatter=float(np.sqrt(s2)),
        degrees_of_freedom=dof,
        p=float(2.0 * stdtr(dof, -abs(slope) / u_slope)),
    )


def judge_drifts(lines: Sequence[DriftLine | None]) -> tuple[DriftVerdict, ...]:
    """Return a verdict on each vehicle.

    Among many vehicles some seem to drift by chance: the drifts shown are those that keep the
    expected share of false ones below 5 % (Benjamini and Hochberg, J. R. Stat. Soc. B 57 (1995)
    289). A vehicle is steady only if its interval lies inside the margin.
    """
    known = [line.p for line in lines if line is not None]
    limit = _largest_p(known)
    return tuple(
        DriftVerdict.UNDETERMINED if line is None else _judge(line, limit) for line in lines
    )


def _judge(line: DriftLine, limit: float) -> DriftVerdict:
    if max(abs(line.change.low), abs(line.change.high)) <= STEADY_MARGIN:
        return DriftVerdict.STEADY
    return DriftVerdict.DRIFTS if line.p <= limit else DriftVerdict.UNDETERMINED


def _largest_p(p: Sequence[float]) -> float:
    """Return the largest probability that still counts as shown; -1 if none does."""
    ranked = np.sort(np.asarray(p, dtype=np.float64))
    good = ranked <= LEVEL * np.arange(1, ranked.size + 1) / max(ranked.size, 1)
    return float(ranked[good][-1]) if good.any() else -1.0
