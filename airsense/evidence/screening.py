"""Many logs: which one needs a look first, and whether a vehicle's sensor drifts.

With ``y_i`` the logarithm of (indicated flow / one route's flow) of log i, found at the state x_i
(logarithms of temperature, pressure and speed, about their means) on day ``t_i``:

    y_i = a + c x_i + b t_i + e_i,   e_i ~ N(0, s2 u_i^2)                             (1)

``u_i`` is only the part of the uncertainty that logs of one vehicle do not share: what they share
(the absolute part) moves ``a`` and cancels elsewhere. The slopes ``c`` are the route's own, alike
in all logs, with the priors that the observations have; logs at one state are compared. ``s2`` has
a scaled inverse chi-square prior around 1, that is around the declared sizes, and is updated by
the scatter; so what is read from (1) is Student distributed. It cannot tell the sensor from the
route that it is held against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy.special import stdtr

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.defaults import DEFAULT_DOF
from airsense.evidence.design import INLET_SLOPE, TEMPERATURE_SLOPE, U_BREATHING_SLOPE, U_CURVE
from airsense.evidence.level_routes import State
from airsense.evidence.matched import LnChange
from airsense.results import Interval

# A line through two points has no scatter.
MIN_LOGS = 3
# A log is held against at least so many others.
MIN_OTHERS = 2
# Above so many, leaving one out moves nothing.
MANY_LOGS = 150
# Logs farther out than this many standard uncertainties weigh less: Student with so many degrees
# of freedom. Our choice.
ROBUST_DOF = 4.0
ROBUST_ROUNDS = 12
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of several logs by one route, arrays of shape (n,): y and u of (1), and the states."""

    ln_ratio: FloatArray
    u: FloatArray
    states: tuple[State | None, ...]

    def columns(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return x (n, 3) about the medians, and mean and standard deviation of the slopes."""
        inlet = any(s is not None and s.t_is_inlet for s in self.states)
        rows = [
            (np.nan,) * 3 if s is None else (s.t_k, s.p_manifold_pa, s.speed_rpm)
            for s in self.states
        ]
        with np.errstate(invalid="ignore", divide="ignore"):
            x = np.log(np.array(rows, dtype=np.float64).reshape(-1, 3))
        middle = [np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else 0.0 for c in x.T]
        mean, u = INLET_SLOPE if inlet else TEMPERATURE_SLOPE
        return (
            np.nan_to_num(x - np.array(middle), nan=0.0),
            np.array([mean, 0.0, 0.0]),
            np.array([u, U_BREATHING_SLOPE, U_CURVE]),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """A level and slopes, (4,), with their covariance in units of s2."""

    size: FloatArray
    covariance: FloatArray
    s2: float
    dof: float


def against_others(levels: Levels) -> tuple[LnChange | None, ...]:
    """Return how far each log lies off the others at its state; None with too few others.

    The others are fitted robustly, without the log itself, so that neither it nor another odd log
    among them moves what it is held against.
    """
    n = levels.ln_ratio.size
    if n <= MIN_OTHERS:
        return (None,) * n
    x, mean, u_slope = levels.columns()
    y = levels.ln_ratio - x @ mean
    columns = np.column_stack([np.ones(n), x])
    precision = np.diag([0.0, *u_slope**-2.0])
    everything = np.ones(n, dtype=bool)
    shared = _robust(columns, y, levels.u, precision, everything) if n > MANY_LOGS else None
    out = []
    for k in range(n):
        others = everything.copy()
        others[k] = False
        fit = shared or _robust(columns, y, levels.u, precision, others)
        spread = float(columns[k] @ fit.covariance @ columns[k]) + levels.u[k] ** 2
        out.append(
            LnChange(
                value=float(y[k] - columns[k] @ fit.size),
                u=float(np.sqrt(fit.s2 * spread)),
                dof=fit.dof,
            )
        )
    return tuple(out)


def _robust(
    columns: FloatArray, y: FloatArray, u: FloatArray, prior: FloatArray, use: BoolArray
) -> _Fit:
    """Return the fit of (1) without drift, logs weighted as under Student scatter."""
    a, b, own = columns[use], y[use], u[use]
    middle = np.array([float(np.median(b)), *np.zeros(columns.shape[1] - 1)])
    size, s2, dof, covariance = middle, 1.0, DEFAULT_DOF, np.zeros_like(prior)
    for _ in range(ROBUST_ROUNDS):
        left = (b - a @ size) / own
        share = (ROBUST_DOF + 1.0) / (ROBUST_DOF + left**2 / s2)
        share = np.minimum(share, 1.0)
        weight = share / own**2
        covariance = np.linalg.inv(a.T @ (weight[:, None] * a) + prior)
        size = covariance @ (a.T @ (weight * b))
        left = (b - a @ size) / own
        dof = DEFAULT_DOF + max(float(share.sum()) - 1.0, 0.0)
        s2 = (DEFAULT_DOF + float(share @ left**2)) / dof
    return _Fit(size=size, covariance=covariance, s2=s2, dof=dof)


def at_one_state(levels: Levels) -> tuple[FloatArray, FloatArray]:
    """Return y brought to the middle state, and u with what the slopes leave open, (n,) each."""
    x, mean, u_slope = levels.columns()
    if levels.ln_ratio.size <= MIN_OTHERS:
        return levels.ln_ratio - x @ mean, np.hypot(levels.u, np.sqrt(x**2 @ u_slope**2))
    use = np.ones(levels.ln_ratio.size, dtype=bool)
    columns = np.column_stack([np.ones(use.size), x])
    y = levels.ln_ratio - x @ mean
    fit = _robust(columns, y, levels.u, np.diag([0.0, *u_slope**-2.0]), use)
    slopes = fit.size[1:]
    open_ = np.sqrt(np.einsum("ni,ij,nj->n", x, fit.covariance[1:, 1:], x))
    return y - x @ slopes, np.hypot(levels.u, open_)


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
        change=LnChange(value=slope * span, u=u_slope * span, dof=dof).interval(),
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
