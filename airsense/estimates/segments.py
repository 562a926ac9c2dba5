"""What was driven in a run: still engine, idle, overrun, pulls, holds, quasi-steady driving.

Every sample belongs to one stretch; a stretch that is not used says why.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import BoolArray, FloatArray, spans
from airsense.estimates.prepare import rate, smoothed
from airsense.estimates.run import ENGINE_OFF_RPM, Run

KindArray = NDArray[np.int8]

# A pull: a climb of at least so much, so steep and so long, with the pedal nearly down. Our choice,
# after sweeps of some 5 to 20 s on a brake and gears of some 3 s on the road.
SPEED_SMOOTHING_S = 0.6
MIN_RISE_RPM = 800.0
MIN_RISE_FRACTION = 0.25
MIN_RISE_RPMPS = 40.0
MIN_PULL_S = 2.0
MIN_PULL_SAMPLES = 12
# A pedal at this has been put down for a test; what is called 100 % is often logged as less.
FLOORED_PEDAL = 0.9
FULL_LOAD_SHARE = 0.7
# At this share of its top the pedal of a pull is nearly down; at that one the engine is asked for
# all that it can give, and only there it is at full load. Our choice.
NEARLY_DOWN_SHARE, PEDAL_DOWN_SHARE, LEAST_PEDAL_TRAVEL = 0.8, 0.95, 0.3
# After the pedal goes down the hot film, the thermistor and the charge path need this to settle.
SETTLING_S = 0.6
MAX_FILLING_SHARE = 0.06
STEADY_SPEED_RATE_PS = 0.04
STEADY_PRESSURE_RATE_PS = 0.06
# A standing engine counts where it has stood for this long: it runs down with a shut throttle.
RUN_DOWN_S = 1.0
# Warm idle of road engines (common practice, no source), its pressure ratio and share of the
# largest charge: a laden engine at that speed breathes more than this. Our choice.
IDLE_RPM = (450.0, 1250.0)
IDLE_PRESSURE_RATIO = 1.15
IDLE_CHARGE_SHARE = 0.62
MIN_IDLE_S = 1.5
# Fuel is cut where the charge burns less than this share of what the run burns at the median.
CUT_FUEL_SHARE = 0.05
CUT_PEDAL = 0.02
OVERRUN_RPM = 1300.0
# With the pedal alone: a speed controller drives with the pedal released, and then with boost.
OVERRUN_PRESSURE_RATIO = 1.5
# A hold keeps its speed to this (k = 1) for at least so long.
HOLD_SPEED_SPREAD = 0.015
MIN_HOLD_S = 2.5
HOLD_CHARGE_SHARE = 0.6


class Kind(IntEnum):
    """What a stretch of a run is."""

    DRIVE = 0
    PULL = 1
    HOLD = 2
    IDLE = 3
    OVERRUN = 4
    STILL = 5

    @property
    def word(self) -> str:
        """The word in results."""
        return self.name.lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One stretch of a run, samples `first` to `stop` (exclusive), with the reason if not used."""

    kind: Kind
    first: int
    stop: int
    start_s: float
    stop_s: float
    used: bool
    reason: str = ""

    @property
    def samples(self) -> slice:
        """Return the samples of the stretch."""
        return slice(self.first, self.stop)


@dataclass(frozen=True, slots=True, kw_only=True)
class Segmented:
    """The stretches of a run; `kind`, `use` and `full` have shape (n,) on its time grid.

    `use` marks the samples that are worth a comparison of flows: the engine turns, the hot film
    and the charge path have settled. A standing engine has none. `full` is false where a pedal
    shows that less than full load was asked for, or a moment ago was.
    """

    segments: tuple[Segment, ...]
    kind: KindArray
    use: BoolArray
    full: BoolArray

    def of(self, *kinds: Kind) -> tuple[Segment, ...]:
        """Return the used stretches of some kinds."""
        return tuple(s for s in self.segments if s.used and s.kind in kinds)


def segment(run: Run) -> Segmented:
    """Cut a run into stretches.

    Parameters
    ----------
    run : Run
        On its own grid; a grid with gaps is cut there.
    """
    kind = np.full(run.time_s.size, Kind.DRIVE, dtype=np.int8)
    moving = np.nan_to_num(run.speed_rpm, nan=0.0) >= ENGINE_OFF_RPM
    kind[~moving] = Kind.STILL
    pulls = _pulls(run) if moving.any() else []
    free = np.asarray(moving)
    for first, stop in pulls:
        kind[first:stop] = Kind.PULL
        free[first:stop] = False
    for found, mask in (
        (Kind.OVERRUN, _overrun(run)),
        (Kind.IDLE, _idle(run)),
        (Kind.HOLD, _hold(run)),
    ):
        kind[mask & free] = found
        free &= ~mask
    use = _use(run, kind, pulls)
    return Segmented(segments=_stretches(run, kind, use), kind=kind, use=use, full=_full_load(run))


def _at_least(mask: BoolArray, samples: int) -> BoolArray:
    """Keep only stretches of so many samples."""
    out = np.zeros(mask.size, dtype=bool)
    for first, stop in spans(mask):
        if stop - first >= samples:
            out[first:stop] = True
    return out


def _pulls(run: Run) -> list[tuple[int, int]]:
    step = run.step_s
    climbing = rate(smoothed(run.speed_rpm, step, SPEED_SMOOTHING_S), step) > MIN_RISE_RPMPS
    load = charge_of(run)
    finite = load[np.isfinite(load)]
    full = float(np.quantile(finite, 0.98)) if finite.size else 0.0
    return [(a, b) for a, b in spans(climbing) if _is_pull(run, a, b, load, full)]


def _is_pull(run: Run, start: int, stop: int, load: FloatArray, full_load: float) -> bool:
    if (stop - start) * run.step_s < MIN_PULL_S or stop - start < MIN_PULL_SAMPLES:
        return False
    speed = run.speed_rpm[start:stop]
    if not np.isfinite(speed).any():
        return False
    low = max(float(np.nanmin(speed)), IDLE_RPM[0])
    if float(np.nanmax(speed)) - low < max(MIN_RISE_RPM, MIN_RISE_FRACTION * low):
        return False
    pedal = moved_pedal(run)
    if pedal is not None:
        nearly = max(NEARLY_DOWN_SHARE * float(np.nanmax(pedal)), 0.5 * FLOORED_PEDAL)
        return float(np.nanmedian(pedal[start:stop])) >= nearly
    upper = load[start + (stop - start) // 2 : stop]
    if not np.isfinite(upper).any():
        return False
    return float(np.nanmedian(upper)) >= FULL_LOAD_SHARE * full_load


def moved_pedal(run: Run) -> FloatArray | None:
    """Return the pedal, (n,); None where it was not logged or hardly moves: it says nothing."""
    if run.pedal is None or not np.isfinite(run.pedal).any():
        return None
    travel = float(np.nanmax(run.pedal)) - float(np.nanmin(run.pedal))
    return run.pedal if travel > LEAST_PEDAL_TRAVEL else None


def _full_load(run: Run) -> BoolArray:
    """Return where the pedal is down, and has been for as long as sensors need to follow."""
    pedal = moved_pedal(run)
    if pedal is None:
        return np.ones(run.time_s.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        up = ~(pedal >= PEDAL_DOWN_SHARE * float(np.nanmax(pedal)))
    return ~_lasting(up, round(SETTLING_S / run.step_s))


def charge_of(run: Run) -> FloatArray:
    """Return something proportional to the charge of a stroke; NaN where the engine stands."""
    turning = np.where(run.speed_rpm > ENGINE_OFF_RPM, run.speed_rpm, np.nan)
    if run.mdot_maf_kgps is not None:
        return np.asarray(run.mdot_maf_kgps / turning)
    if run.p_manifold_pa is not None:
        return np.where(np.isfinite(turning), run.p_manifold_pa, np.nan)
    return np.full(run.time_s.size, np.nan)


def _charge_share(run: Run) -> FloatArray:
    load = charge_of(run)
    finite = load[np.isfinite(load)]
    top = float(np.quantile(finite, 0.98)) if finite.size else float("nan")
    return np.asarray(load / top)


def _overrun(run: Run) -> BoolArray:
    """Fuel is cut: no fuel, or no pedal, well above idle."""
    with np.errstate(invalid="ignore"):
        fast = run.speed_rpm > OVERRUN_RPM
        if run.mdot_fuel_kgps is not None and np.any(run.mdot_fuel_kgps > 0.0):
            usual = float(np.median(run.mdot_fuel_kgps[run.mdot_fuel_kgps > 0.0]))
            return np.asarray(fast & (run.mdot_fuel_kgps < CUT_FUEL_SHARE * usual))
        if run.pedal is not None and np.nanmax(run.pedal, initial=0.0) > 0.3:
            released = fast & (run.pedal <= np.nanmin(run.pedal) + CUT_PEDAL)
            if run.p_manifold_pa is not None:
                released &= run.p_manifold_pa < OVERRUN_PRESSURE_RATIO * run.p_ambient_pa
            return np.asarray(released)
    return np.zeros(run.time_s.size, dtype=bool)


def _idle(run: Run) -> BoolArray:
    step = run.step_s
    speed = smoothed(run.speed_rpm, step, SPEED_SMOOTHING_S)
    with np.errstate(invalid="ignore"):
        slow = (speed > IDLE_RPM[0]) & (speed < IDLE_RPM[1])
        slow &= np.abs(rate(run.speed_rpm, step)) < 2.0 * STEADY_SPEED_RATE_PS * speed
        if np.any(speed > IDLE_RPM[1]):  # else nothing laden is there to hold it against
            slow &= _charge_share(run) < IDLE_CHARGE_SHARE
        if run.p_manifold_pa is not None:
            slow &= run.p_manifold_pa < IDLE_PRESSURE_RATIO * run.p_ambient_pa
        if run.pedal is not None and np.isfinite(run.pedal).any():
            slow &= run.pedal <= np.nanmin(run.pedal) + CUT_PEDAL
    return _at_least(np.asarray(slow), round(MIN_IDLE_S / step))


def _hold(run: Run) -> BoolArray:
    """The speed is kept under load, as a brake does it."""
    step = run.step_s
    width = max(round(MIN_HOLD_S / step), 3)
    mean = smoothed(run.speed_rpm, step, MIN_HOLD_S)
    with np.errstate(invalid="ignore"):
        spread = np.sqrt(np.maximum(smoothed(run.speed_rpm**2, step, MIN_HOLD_S) - mean**2, 0.0))
        kept = (spread < HOLD_SPEED_SPREAD * mean) & (_charge_share(run) > HOLD_CHARGE_SHARE)
    return _at_least(np.asarray(kept), width)


def heavy_filling(run: Run) -> BoolArray:
    """Return where the filling of the charge path is a large part of the flow."""
    if run.mdot_maf_kgps is None or run.mdot_filling_kgps is None:
        return np.zeros(run.time_s.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        heavy: BoolArray = np.abs(run.mdot_filling_kgps) > MAX_FILLING_SHARE * run.mdot_maf_kgps
    return heavy


def _use(run: Run, kind: KindArray, pulls: Sequence[tuple[int, int]]) -> BoolArray:
    good = np.isfinite(run.speed_rpm) & (run.speed_rpm > ENGINE_OFF_RPM) & ~heavy_filling(run)
    if run.mdot_maf_kgps is not None:
        with np.errstate(invalid="ignore"):
            good &= run.mdot_maf_kgps > 0.0
    # In a pull everything moves, and what was built up by then stays so.
    use = good & ((kind == Kind.PULL) | (_steady(run) & _settled_since_start(run)))
    # The smoothing of the speed reaches half its width beyond the end of the climb.
    reach = round(0.5 * SPEED_SMOOTHING_S / run.step_s)
    for first, stop in pulls:
        use[first : _settled(run, first, stop)] = False
        use[max(stop - reach, first) : stop] = False
    return np.asarray(use)


def _settled(run: Run, start: int, stop: int) -> int:
    """Return where a pull has settled: sensors have followed, and boost has been built up.

    What stands before the build-up is another operating state than what follows it.
    """
    begin = start + round(SETTLING_S / run.step_s)
    early = slice(begin, start + (stop - start) // 2)
    building = np.flatnonzero(heavy_filling(run)[early])
    return begin + int(building[-1]) + 1 if building.size else begin


def _settled_since_start(run: Run) -> BoolArray:
    """Leave out what follows a fast change of charge, or the start of the log, for the time that
    sensors need.
    """
    with np.errstate(invalid="ignore"):
        fast = ~_steady(run)
    fast[:1] = True
    return ~_lasting(fast, round(SETTLING_S / run.step_s))


def _lasting(mask: BoolArray, samples: int) -> BoolArray:
    """Return the mask with so many samples more behind each stretch of it."""
    at = np.arange(mask.size)
    last = np.maximum.accumulate(np.where(mask, at, -samples - 1))
    return np.asarray(at - last <= samples)


def _steady(run: Run) -> BoolArray:
    step = run.step_s
    mask = np.ones(run.time_s.size, dtype=bool)
    for signal, limit in (
        (run.speed_rpm, STEADY_SPEED_RATE_PS),
        (run.p_manifold_pa, STEADY_PRESSURE_RATE_PS),
    ):
        if signal is None:
            continue
        level = smoothed(signal, step)
        with np.errstate(invalid="ignore", divide="ignore"):
            mask &= np.abs(rate(signal, step)) < limit * level
    return mask


def _stretches(run: Run, kind: KindArray, use: BoolArray) -> tuple[Segment, ...]:
    if kind.size == 0:
        return ()
    gap = np.diff(run.time_s) > 1.5 * run.step_s
    cut = np.flatnonzero((np.diff(kind) != 0) | gap) + 1
    edges = np.concatenate(([0], cut, [kind.size]))
    return tuple(_stretch(run, kind, use, int(a), int(b)) for a, b in itertools.pairwise(edges))


def _stretch(run: Run, kind: KindArray, use: BoolArray, first: int, stop: int) -> Segment:
    what = Kind(int(kind[first]))
    reason = _why_not(run, what, use[first:stop], (stop - first) * run.step_s)
    return Segment(
        kind=what,
        first=first,
        stop=stop,
        start_s=float(run.time_s[first]),
        stop_s=float(run.time_s[stop - 1]),
        used=not reason,
        reason=reason,
    )


def _why_not(run: Run, kind: Kind, use: BoolArray, length_s: float) -> str:
    if kind is Kind.STILL:
        short = length_s < RUN_DOWN_S
        if short or run.p_manifold_pa is None:
            return "too short" if short else "no manifold pressure to hold against the barometer"
        return ""
    if use.any():
        return ""
    if length_s < SETTLING_S:
        return "too short for the sensors to settle"
    if kind is Kind.PULL:
        return "boost is still building up"
    return "speed or pressure moves too fast"
