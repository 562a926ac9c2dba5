"""Time alignment: lag between two signals, first-order lag and its regularised inverse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.physics.arguments import FloatArray, floats, not_negative


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Delay of a signal behind a reference, with the correlation at that delay."""

    lag_s: float
    quality: float


def lag_s(time_s: ArrayLike, signal: ArrayLike, reference: ArrayLike, max_lag_s: float) -> Lag:
    """Return by how much `signal` trails `reference`."""
    t, x, y = floats(time_s), floats(signal), floats(reference)
    step, count = _grid(t, max_lag_s)
    even = np.arange(t[0], t[-1] + 0.5 * step, step)
    a, b = (_slope(np.interp(even, t, bridge(t, v))) for v in (x, y))
    lags = np.arange(-count, count + 1)
    score = np.array([_correlation(a, b, int(k)) for k in lags])
    best = int(np.argmax(score))
    if best in (0, lags.size - 1) or not np.isfinite(score[best]):
        return Lag(lag_s=float("nan"), quality=0.0)
    low, peak, high = score[best - 1 : best + 2]
    shift_ = 0.5 * (low - high) / (low - 2.0 * peak + high)
    return Lag(lag_s=float((lags[best] + shift_) * step), quality=float(peak))


def _grid(t: FloatArray, max_lag_s: float) -> tuple[float, int]:
    step = min(float(np.median(np.diff(t))), max_lag_s / 20.0)
    return step, round(max_lag_s / step)


def _slope(x: FloatArray) -> FloatArray:
    return np.gradient(x)


def _correlation(a: FloatArray, b: FloatArray, k: int) -> float:
    head, tail = (a[k:], b[: b.size - k]) if k >= 0 else (a[:k], b[-k:])
    head, tail = head - head.mean(), tail - tail.mean()
    norm = float(np.sqrt((head @ head) * (tail @ tail)))
    return float(head @ tail) / norm if norm > 0.0 else 0.0


def bridge(time_s: FloatArray, x: FloatArray) -> FloatArray:
    """Return x with its missing samples bridged linearly, held at the ends."""
    good = np.isfinite(x)
    return x if good.all() or not good.any() else np.interp(time_s, time_s[good], x[good])


def shift(time_s: ArrayLike, x: ArrayLike, lag_s: float) -> FloatArray:
    """Return the signal as it would be without its delay, on the same time grid."""
    t, v = floats(time_s), floats(x)
    return np.interp(t + lag_s, t, v, left=np.nan, right=np.nan)


def first_order_lag(time_s: ArrayLike, x: ArrayLike, tau_s: float) -> FloatArray:
    """Return what a first-order sensor of time constant tau would read."""
    from scipy.linalg import solve_banded

    t, v = floats(time_s), floats(x)
    tau = float(not_negative(tau_s, "tau_s"))
    if tau == 0.0 or t.size < 2:
        return v.copy()
    filled = bridge(t, v)
    dt = np.diff(t)
    keep = np.exp(-dt / tau)
    slope = np.diff(filled) / dt
    rhs = np.empty_like(filled)
    rhs[0] = filled[0]
    rhs[1:] = filled[1:] - keep * filled[:-1] - slope * tau * (1.0 - keep)
    bands = np.ones((2, t.size))
    bands[1, :-1] = -keep
    out: FloatArray = solve_banded((1, 0), bands, rhs)
    return np.where(np.isfinite(v), out, np.nan)


def undo_first_order_lag(time_s: ArrayLike, x: ArrayLike, tau_s: float) -> FloatArray:
    """Return what a first-order sensor was exposed to."""
    from scipy.interpolate import make_smoothing_spline

    t, v = floats(time_s), floats(x)
    tau = float(not_negative(tau_s, "tau_s"))
    if tau == 0.0 or t.size < 5:
        return v.copy()
    width = 0.5 * tau
    rate = (t.size - 1) / (t[-1] - t[0])
    spline = make_smoothing_spline(t, bridge(t, v), lam=rate * width**4)
    out = np.asarray(spline(t) + tau * spline.derivative()(t))
    return np.where(np.isfinite(v), out, np.nan)
