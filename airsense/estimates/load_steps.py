"""Load steps in a run: when the pedal goes down, and how the boost follows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray, spans
from airsense.estimates.prepare import smoothed
from airsense.estimates.run import Run, on_grid

# All below: our choice. A step shorter than 2 s or of less than 20 kPa says nothing of a turbo.
BEFORE_STEP_S = 0.6
AFTER_STEP_S = 6.0
MIN_HELD_S = 2.0
MIN_PEDAL_STEP = 0.3
HELD_SHARE = 0.8
MIN_RISE_PA = 20e3
START_OF_RISE = 0.05
SMOOTHING_S = 0.25

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadStep:
    """One load step and the boost after it.

    `time_s` and `p_manifold_pa` have shape (n,), from the step to six seconds after it or to its
    end; times count from the step. The rise goes from `p_start_pa` to the highest pressure.
    """

    run: Run
    start_s: float
    end_s: float
    speed_rpm: float
    p_start_pa: float
    time_s: FloatArray
    p_manifold_pa: FloatArray
    u_time_s: float

    @property
    def rise_pa(self) -> float:
        """Boost rise. [Pa]"""
        return float(np.max(self.p_manifold_pa)) - self.p_start_pa

    def time_to_s(self, p_pa: float) -> float:
        """Return the time from the step to a pressure; NaN if it is not reached. [s]"""
        return crossing(self.time_s, self.p_manifold_pa, p_pa)

    def at_s(self, after_step_s: FloatArray, value: FloatArray | None) -> FloatArray:
        """Return a quantity of the run's grid at times after the step; NaN beyond its end."""
        if value is None:
            return np.full(after_step_s.shape, np.nan)
        at = self.start_s + after_step_s
        return np.where(at > self.end_s, np.nan, np.interp(at, self.run.time_s, value))


def load_steps(runs: Sequence[Run]) -> tuple[str, tuple[tuple[LoadStep, ...], ...]]:
    """Return what shows the steps, and the steps of each run; no name if a run has none.

    The pedal is looked at first, then the throttle, then the start of the boost rise itself; all
    runs must show their steps in the same way, or their times would not compare.
    """
    if all(run.p_manifold_pa is not None for run in runs):
        for name, finder in _FINDERS.items():
            found = tuple(_steps(run, finder(run)) for run in runs)
            if all(found):
                return name, found
    return "", ()


def crossing(time: FloatArray, value: FloatArray, level: float) -> float:
    """Return when a signal first reaches a level, between samples; NaN if it never does."""
    reached = np.flatnonzero(value >= level)
    if reached.size == 0:
        return float("nan")
    k = int(reached[0])
    if k == 0:
        return float(time[0])
    share = (level - value[k - 1]) / (value[k] - value[k - 1])
    return float(time[k - 1] + share * (time[k] - time[k - 1]))


def _steps(run: Run, spans: Sequence[Span]) -> tuple[LoadStep, ...]:
    found = (_step(run, start, end) for start, end in spans)
    return tuple(s for s in found if s is not None)


def _step(run: Run, start_s: float, end_s: float) -> LoadStep | None:
    pressure, time = _pressure(run), run.time_s
    good = np.isfinite(pressure)
    ahead = good & (time >= start_s - BEFORE_STEP_S) & (time <= start_s)
    behind = good & (time >= start_s) & (time <= min(end_s, start_s + AFTER_STEP_S))
    if np.count_nonzero(ahead) < 2 or np.count_nonzero(behind) < 4:
        return None
    step = LoadStep(
        run=run,
        start_s=start_s,
        end_s=end_s,
        speed_rpm=float(np.interp(start_s, time, run.speed_rpm)),
        p_start_pa=float(np.median(pressure[ahead])),
        time_s=time[behind] - start_s,
        p_manifold_pa=pressure[behind],
        u_time_s=_u_time_s(run),
    )
    return step if step.rise_pa >= MIN_RISE_PA else None


def _pressure(run: Run) -> FloatArray:
    assert run.p_manifold_pa is not None
    return smoothed(run.p_manifold_pa, run.step_s, SMOOTHING_S)


def _u_time_s(run: Run) -> float:
    """Return the standard uncertainty of a time whose two ends fall between samples."""
    name = next((n for n in ("manifold_pressure", "boost_pressure") if n in run.log), None)
    own = run.native_step_s if name is None else float(np.median(np.diff(run.log[name].time_s)))
    return own / float(np.sqrt(6.0))


def _by_signal(run: Run, signal: FloatArray | None) -> list[Span]:
    """Return start and end of each time that a pedal or throttle goes down and stays there."""
    if signal is None or not np.isfinite(signal).any():
        return []
    low, high = float(np.nanmin(signal)), float(np.nanmax(signal))
    if high - low < MIN_PEDAL_STEP:
        return []
    level = np.nan_to_num(signal, nan=low)
    found = []
    for first, stop in spans(level >= low + HELD_SHARE * (high - low)):
        foot = first
        while foot > 0 and level[foot - 1] < level[foot]:
            foot -= 1
        way = slice(foot, first + 1)
        start = crossing(run.time_s[way], level[way], 0.5 * float(level[foot] + level[first]))
        if first > 0 and run.time_s[stop - 1] - start >= MIN_HELD_S:
            found.append((start, float(run.time_s[stop - 1])))
    return found


def _by_pedal(run: Run) -> list[Span]:
    return _by_signal(run, run.pedal)


def _by_throttle(run: Run) -> list[Span]:
    return _by_signal(run, on_grid(run.log, "throttle", run.time_s))


def _by_boost(run: Run) -> list[Span]:
    """Return the rises of the pressure itself, from where it has come 5 % of its way."""
    pressure = _pressure(run)
    low, high = float(np.nanmin(pressure)), float(np.nanmax(pressure))
    if not high - low >= MIN_RISE_PA:
        return []
    found = []
    for first, stop in spans(pressure >= low + 0.5 * (high - low)):
        far = max(0, first - round(AFTER_STEP_S / run.step_s))
        base = float(np.nanmin(pressure[far : first + 1]))
        start = base + START_OF_RISE * (high - base)
        under = np.flatnonzero(pressure[far : first + 1] <= start)
        if first > 0 and under.size and run.time_s[stop - 1] - run.time_s[first] >= MIN_HELD_S:
            foot = slice(far + int(under[-1]), first + 1)
            when = crossing(run.time_s[foot], pressure[foot], start)
            found.append((when, float(run.time_s[stop - 1])))
    return found


_FINDERS: dict[str, Callable[[Run], list[Span]]] = {
    "pedal": _by_pedal,
    "throttle": _by_throttle,
    "boost_rise": _by_boost,
}
