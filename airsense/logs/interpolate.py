"""A channel at other times than its own, with the error that interpolation brings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.logs.log import Channel

# A wider hole between samples than this many steps is not bridged (our choice).
MAX_GAP_STEPS = 5.0


@dataclass(frozen=True)
class Interpolated:
    """Values at the times asked for, with their standard uncertainty; shape (n,).

    NaN outside the channel's span and in its gaps.
    """

    value: FloatArray
    u: FloatArray

    def trusted(self, u_rel_frac: float, floor: float = 0.0) -> NDArray[np.bool_]:
        """Return where the interpolation is good to a fraction of the value (k = 1).

        Values nearer to zero than `floor` count as `floor`.
        """
        with np.errstate(invalid="ignore"):
            size = np.maximum(np.abs(self.value), floor)
            kept: NDArray[np.bool_] = self.u <= u_rel_frac * size
        return kept


def interpolate(channel: Channel, time_s: FloatArray) -> Interpolated:
    """Interpolate a channel linearly and say how far that can be off.

    Parameters
    ----------
    channel : Channel
        At least one sample.
    time_s : ndarray, shape (n,)
        Times wanted. [s]

    Returns
    -------
    Interpolated
        `u` is the remainder of linear interpolation: half the larger second derivative of the
        two nearest sample triples, times the distances to both samples. It is zero at a sample:
        noise and rounding of the samples themselves are not in it. A signal that moves too fast
        for its sample rate shows a large `u`.
    """
    time, value = channel.time_s, channel.value
    at = np.interp(time_s, time, value, left=np.nan, right=np.nan)
    if time.size < 3:
        return Interpolated(at, np.where(np.isnan(at), np.nan, np.inf))
    step = np.diff(time)
    slope = np.diff(value) / step
    bend = 2.0 * np.diff(slope) / (step[1:] + step[:-1])
    # Each interval takes the sharper bend of its two ends.
    both = np.maximum(np.abs(np.append(bend[:1], bend)), np.abs(np.append(bend, bend[-1:])))
    left = np.clip(np.searchsorted(time, time_s, side="right") - 1, 0, step.size - 1)
    inside = (time_s - time[left]) * (time[left + 1] - time_s)
    u = 0.5 * both[left] * np.maximum(inside, 0.0)
    hole = (step[left] > MAX_GAP_STEPS * np.median(step)) & (inside > 0.0)
    at = np.where(hole, np.nan, at)
    return Interpolated(at, np.where(np.isnan(at), np.nan, u))
