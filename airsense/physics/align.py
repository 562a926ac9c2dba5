"""Time alignment: delay between two signals, first-order lag and its regularised inverse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import floats, increasing, not_negative, positive

# Correlation is taken between slopes: levels correlate at any delay of a long sweep. The slopes
# are smoothed over this part of the search range, so that rounding steps do not decide.
SLOPE_WIDTH_PER_RANGE = 0.1
# Lags are searched on a grid at least this fine, and refined by a parabola.
STEPS_PER_RANGE = 20
# The inverse of a lag smooths over a quarter of the time constant and never over more than 1 s:
# found by trial on simulated sweeps of a thermistor rounded to 1 K (smallest error).
INVERSE_WIDTH_PER_TAU = 0.25
INVERSE_WIDTH_MAX_S = 1.0
# A Gaussian kernel narrower than this many samples is no longer one.
NARROWEST_KERNEL = 0.8
# Standard deviations that the kernel reaches.
KERNEL_REACH = 4.0
# 11 h at 100 samples per second; a longer record gets a coarser grid.
LARGEST_GRID = 4_000_000
# A longer pause counts as one of this length: far longer than any lag, and a clock that leaps
# must not make the grid coarse (our choice).
LONGEST_PAUSE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Delay of a signal behind a reference. [s] NaN where none could be found.

    `quality` is the correlation of the two slopes at that delay, 0 where none was found.
    """

    lag_s: float
    quality: float


NO_LAG = Lag(lag_s=float("nan"), quality=0.0)


def lag_s(time_s: ArrayLike, signal: ArrayLike, reference: ArrayLike, max_lag_s: float) -> Lag:
    """Return by how much `signal` trails `reference`.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Time, strictly increasing, evenly spaced or not. [s]
    signal, reference : array_like, shape (n,)
        The two signals, of any unit and scale. Missing samples (NaN) are bridged.
    max_lag_s : float
        Largest delay to look for, either way. [s]

    Returns
    -------
    Lag
        Positive when the signal is later than the reference. No lag is found if the best one
        lies at the end of the search range, if a signal does not move, or if the record is
        shorter than four times the range.

    Raises
    ------
    InputError
        If time does not increase strictly, or the range is not above zero.

    Notes
    -----
    Cross-correlation of the smoothed slopes, each window with its own mean removed, refined
    below the sample step by a parabola through the three highest points. A first-order lag
    shows as a delay of about its time constant.
    """
    t = _without_pauses(increasing(time_s, "time_s"))
    span = float(positive(max_lag_s, "max_lag_s"))
    if t.size < 5 or t[-1] - t[0] < 4.0 * span:
        return NO_LAG
    even, step = _even_grid(t, min(float(np.median(np.diff(t))), span / STEPS_PER_RANGE))
    count = int(np.ceil(span / step))
    width = SLOPE_WIDTH_PER_RANGE * span / step
    a, b = (
        _smoothed(np.interp(even, t, _bridged(t, floats(x))), width, order=1)
        for x in (signal, reference)
    )
    lags = np.arange(-count, count + 1)
    score = np.array([_correlation(a, b, int(k)) for k in lags])
    best = int(np.argmax(score))
    if best in (0, lags.size - 1) or score[best] <= 0.0:
        return NO_LAG
    before, peak, after = score[best - 1 : best + 2]
    refined = 0.5 * (before - after) / (before - 2.0 * peak + after)
    return Lag(lag_s=float((lags[best] + refined) * step), quality=float(peak))


def _correlation(a: FloatArray, b: FloatArray, k: int) -> float:
    """Correlation of a, taken k samples later, with b; 0 where one of them rests."""
    late, early = (a[k:], b[: b.size - k]) if k >= 0 else (a[:k], b[-k:])
    late, early = late - late.mean(), early - early.mean()
    norm = float(np.sqrt((late @ late) * (early @ early)))
    return float(late @ early) / norm if norm > 0.0 else 0.0


def shift(time_s: ArrayLike, x: ArrayLike, lag_s: float) -> FloatArray:
    """Return a delayed signal as it would read without the delay, on the same time grid.

    Parameters
    ----------
    time_s, x : array_like, shape (n,)
        Time, strictly increasing [s], and the signal.
    lag_s : float
        Delay to take out. [s] Negative values delay the signal.

    Returns
    -------
    ndarray, shape (n,)
        x(time + lag), interpolated linearly. NaN beyond the record's ends and where a
        neighbouring sample is NaN.

    Raises
    ------
    InputError
        If time does not increase strictly.
    """
    t = increasing(time_s, "time_s")
    return np.interp(t + lag_s, t, floats(x), left=np.nan, right=np.nan)


def first_order_lag(time_s: ArrayLike, x: ArrayLike, tau_s: float) -> FloatArray:
    """Return what a sensor of first order reads when exposed to x.

    Parameters
    ----------
    time_s, x : array_like, shape (n,)
        Time, strictly increasing [s], and the signal, taken as linear between its samples.
    tau_s : float
        Time constant. [s] Zero returns the signal.

    Returns
    -------
    ndarray, shape (n,)
        Reading y of tau dy/dt = x - y, exact for the piecewise linear signal, at rest before
        the first sample. Missing samples (NaN) are bridged on the way and NaN in the result.

    Raises
    ------
    InputError
        If time does not increase strictly, or the time constant is negative.
    """
    from scipy.linalg import solve_banded

    t, v = increasing(time_s, "time_s"), floats(x)
    tau = float(not_negative(tau_s, "tau_s"))
    if tau == 0.0 or t.size < 2:
        return v.copy()
    filled = _bridged(t, v)
    dt = np.diff(t)
    keep = np.exp(-dt / tau)
    trail = tau * np.diff(filled) / dt
    # y[k] - keep y[k-1] = x[k] - trail - keep (x[k-1] - trail): one banded solve, no loop.
    right = np.concatenate([filled[:1], filled[1:] - trail - keep * (filled[:-1] - trail)])
    bands = np.ones((2, t.size))
    bands[1, :-1] = -keep
    reading: FloatArray = solve_banded((1, 0), bands, right)
    return np.where(np.isfinite(v), reading, np.nan)


def undo_first_order_lag(time_s: ArrayLike, reading: ArrayLike, tau_s: float) -> FloatArray:
    """Return what a sensor of first order was exposed to when it read `reading`.

    Parameters
    ----------
    time_s, reading : array_like, shape (n,)
        Time, strictly increasing [s], and the sensor's reading, at the sensor's own sample
        times: values held over several samples would come out as steps.
    tau_s : float
        Time constant. [s] Zero returns the reading.

    Returns
    -------
    ndarray, shape (n,)
        Exposure x = y + tau dy/dt of the smoothed reading y. NaN where the reading is NaN.

    Raises
    ------
    InputError
        If time does not increase strictly, or the time constant is negative.

    Notes
    -----
    y is smoothed by a Gaussian kernel of standard deviation h, which passes changes slower than
    h and stops faster ones, so that rounding steps in dy/dt do not grow with the sample rate.
    h is a quarter of tau, at most 1 s. On simulated sweeps (25 K in 8 s) of a sensor of 1.5 to
    6 s, rounded to 1 K, at 2 to 10 samples per second, the error falls from 4-8 K rms to under
    1 K, and a steady temperature stays within 1 K rms.
    """
    t, v = _without_pauses(increasing(time_s, "time_s")), floats(reading)
    tau = float(not_negative(tau_s, "tau_s"))
    if tau == 0.0 or t.size < 2:
        return v.copy()
    even, step = _even_grid(t, float(np.median(np.diff(t))))
    width = min(INVERSE_WIDTH_PER_TAU * tau, INVERSE_WIDTH_MAX_S) / step
    known = np.interp(even, t, _bridged(t, v))
    exposure = _smoothed(known, width, order=0) + tau / step * _smoothed(known, width, order=1)
    return np.where(np.isfinite(v), np.interp(t, even, exposure), np.nan)


def _without_pauses(t: FloatArray) -> FloatArray:
    """Return times whose pauses are at most `LONGEST_PAUSE_S`; the first stays."""
    excess = np.maximum(np.diff(t) - LONGEST_PAUSE_S, 0.0)
    return t - np.concatenate(([0.0], np.cumsum(excess))) if excess.any() else t


def _even_grid(t: FloatArray, step: float) -> tuple[FloatArray, float]:
    """Return an evenly spaced grid over t and its step, not finer than memory allows."""
    coarse = max(step, (t[-1] - t[0]) / LARGEST_GRID)
    return np.arange(t[0], t[-1] + coarse, coarse), coarse


def _smoothed(x: FloatArray, width: float, *, order: int) -> FloatArray:
    """Return x (order 0) or its slope per sample (order 1), smoothed by a Gaussian kernel.

    The record goes on beyond its ends as its point reflection, so that a slope goes on too.
    """
    kernel = max(width, NARROWEST_KERNEL)
    reach = int(KERNEL_REACH * kernel) + 1
    beyond = min(reach, x.size - 1)
    longer = np.pad(x, beyond, mode="reflect", reflect_type="odd")
    # A record shorter than the kernel goes on as a mirror image from there.
    longest = np.pad(longer, reach, mode="symmetric")
    at = np.arange(-reach, reach + 1)
    weight = np.exp(-0.5 * (at / kernel) ** 2)
    weight /= weight.sum()
    if order == 1:
        weight *= -at / kernel**2
    out = np.convolve(longest, weight, mode="valid")
    return np.asarray(out[beyond : beyond + x.size], dtype=np.float64)


def _bridged(time_s: FloatArray, x: FloatArray) -> FloatArray:
    """Return x with missing samples bridged linearly and held at the ends; 0 if all miss."""
    good = np.isfinite(x)
    if not good.any():
        return np.zeros_like(x)
    return np.interp(time_s, time_s[good], x[good])
