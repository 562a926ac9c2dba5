"""A pull that was disturbed: pedal lifted, gear changed, clutch slipped."""

from __future__ import annotations

import numpy as np

from airsense.arrays import BoolArray, FloatArray, spans
from airsense.estimates.prepare import rate, smoothed
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented, charge_of

# Stretches of a pull that belong together although the speed stood or fell for a moment.
CLIMB_RPMPS, BRIDGE_S, MIN_CLIMB_S = 40.0, 2.5, 0.4
MIN_RISE_RPM, MIN_RISE_FRACTION, FULL_SHARE = 800.0, 0.25, 0.7
# The ends of a pull are no fault: the pedal goes down, the brake takes over.
ENDS_S = 0.8
LOOK_S, LASTING_S = 0.3, 0.5
LIFTED, DOWN = 0.75, 0.9
CHARGE_DIP = 0.18
SPEED_DIP, SPEED_OF_GEAR = 0.02, 0.10
FLARE_RATE, FLARE_RISE = 4.0, 0.04
PULLED_SHARE = 0.4


def disturbed(run: Run, found: Segmented) -> str:
    """Return what happened in mid pull: pedal lifted, gear changed, clutch slipped."""
    climbs = _climbs(run)
    loaded = np.count_nonzero(~np.isin(found.kind, (Kind.STILL, Kind.IDLE, Kind.OVERRUN)))
    if sum(b - a for a, b in climbs) < PULLED_SHARE * loaded:
        return ""
    for first, stop in climbs:
        reason = _in_pull(run, first, stop)
        if reason:
            return reason
    return ""


def _climbs(run: Run) -> list[tuple[int, int]]:
    """Return stretches over which the speed climbs widely at load, short stumbles bridged."""
    step = run.step_s
    with np.errstate(invalid="ignore"):
        rising = rate(smoothed(run.speed_rpm, step, 2.0 * LOOK_S), step) > CLIMB_RPMPS
    found = [s for s in spans(np.asarray(rising)) if (s[1] - s[0]) * step >= MIN_CLIMB_S]
    joined: list[tuple[int, int]] = []
    for first, stop in found:
        if joined and (first - joined[-1][1]) * step <= BRIDGE_S:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((first, stop))
    charge = charge_of(run)
    known = charge[np.isfinite(charge)]
    full = float(np.quantile(known, 0.98)) if known.size else float("inf")
    wide = [s for s in joined if _is_climb(run, s, charge, full)]
    return [(_laden_from(charge, s, FULL_SHARE * full, step), s[1]) for s in wide]


def _laden_from(charge: FloatArray, span: tuple[int, int], full: float, step: float) -> int:
    """Return where the load has come and stays: the run-up to a pull is none of it."""
    first, stop = span
    with np.errstate(invalid="ignore"):
        laden = spans(np.asarray(charge[first:stop] >= full))
    lasting = [a for a, b in laden if (b - a) * step >= LASTING_S]
    return first + lasting[0] if lasting else first


def _is_climb(run: Run, span: tuple[int, int], charge: FloatArray, full: float) -> bool:
    own = slice(*span)
    speed = run.speed_rpm[own]
    if not np.isfinite(speed).any() or not np.isfinite(charge[own]).any():
        return False
    low, high = float(np.nanmin(speed)), float(np.nanmax(speed))
    wide = high - low >= max(MIN_RISE_RPM, MIN_RISE_FRACTION * low)
    return wide and float(np.nanmedian(charge[own])) >= FULL_SHARE * full


def _in_pull(run: Run, first: int, stop: int) -> str:
    step = run.step_s
    ends = round(ENDS_S / step)
    if stop - first < 4 * ends:
        return ""
    own = slice(first, stop)
    inner = np.zeros(stop - first, dtype=bool)
    inner[ends:-ends] = True
    speed = smoothed(run.speed_rpm[own], step, LOOK_S)
    lifted = _lifted(run, own, inner)
    if lifted is not None:
        return f"the pedal is lifted in mid pull, at {speed[lifted]:.0f} rpm"
    fell = _dip(speed) * inner
    if float(np.nanmax(fell)) > SPEED_DIP:
        at = int(np.nanargmax(fell))
        what = "a gear change" if fell[at] > SPEED_OF_GEAR else "the clutch or the tyres slip"
        return f"the speed falls back by {100 * fell[at]:.0f} % in mid pull: {what}"
    dip = _dip(smoothed(charge_of(run)[own], step, LOOK_S)) * inner
    if float(np.nanmax(dip)) > CHARGE_DIP:
        at = int(np.nanargmax(dip))
        return (
            f"the charge drops by {100 * dip[at]:.0f} % in mid pull and comes back, at "
            f"{speed[at]:.0f} rpm: pedal lifted, or a cut by the controller"
        )
    return _flare(speed, inner, step)


def _lifted(run: Run, own: slice, inner: BoolArray) -> int | None:
    """Return where the pedal is up while the pull goes on; None if it is not or was not logged."""
    if run.pedal is None or not np.isfinite(run.pedal[own]).any():
        return None
    pedal = run.pedal[own]
    top = float(np.nanmax(pedal))
    with np.errstate(invalid="ignore"):
        down = np.flatnonzero(pedal >= DOWN * top)
        up = inner & (pedal < LIFTED * top)
    # Ahead of the first floor the pedal is on its way down, behind the last the pull is over.
    up[: down[0]] = False
    up[down[-1] :] = False
    long = max(2, round(0.15 / run.step_s))
    found = [s for s in spans(up) if s[1] - s[0] >= long]
    return (found[0][0] + found[0][1]) // 2 if found else None


def _dip(x: FloatArray) -> FloatArray:
    """Return how far each value lies below what stands both before and after it, as a share."""
    filled = np.where(np.isfinite(x), x, -np.inf)
    before = np.maximum.accumulate(filled)
    after = np.maximum.accumulate(filled[::-1])[::-1]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.nan_to_num(1.0 - x / np.minimum(before, after), nan=0.0, neginf=0.0, posinf=0.0)


def _flare(speed: FloatArray, inner: BoolArray, step: float) -> str:
    """Return whether the speed runs away for a moment."""
    climb = rate(speed, step)
    usual = float(np.nanmedian(climb[inner]))
    for first, stop in spans(inner & (climb > FLARE_RATE * max(usual, CLIMB_RPMPS))):
        rise = float(speed[min(stop, speed.size - 1)] / speed[first] - 1.0)
        if rise > FLARE_RISE and stop < speed.size - 1:
            return (
                f"the speed jumps by {100 * rise:.0f} % in mid pull, at {speed[first]:.0f} rpm: "
                "the clutch or the tyres slip"
            )
    return ""
