"""Where in a run the figures are worth comparing: full-load pulls, else quasi-steady samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.estimates.prepare import rate, smoothed
from airsense.estimates.run import Run

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SPEED_SMOOTHING_S = 0.6
MIN_RISE_RPM = 800.0
MIN_RISE_FRACTION = 0.25
MIN_RISE_RPMPS = 40.0
MIN_PULL_S = 2.0
MIN_PULL_SAMPLES = 12
MIN_PULL_SHARE_OF_LOG = 0.06
FULL_PEDAL_SHARE = 0.8
# A pedal at this has been put down for a test; what is called 100 % is often logged as less.
FLOORED_PEDAL = 0.9
FULL_LOAD_SHARE = 0.7
# After the pedal goes down the hot film, the thermistor and the charge path need this to settle.
SETTLING_S = 0.6
MAX_FILLING_SHARE = 0.06
STEADY_SPEED_RATE_PS = 0.04
STEADY_PRESSURE_RATE_PS = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One repeat: a run and the samples of it that are used. `kind` is 'pull' or 'steady'."""

    run: Run
    use: BoolArray
    kind: str
    label: str


def find_segments(runs: Sequence[Run]) -> tuple[Segment, ...]:
    """Return one segment a pull, if every run has pulls; else one quasi-steady segment a run."""
    pulls = [_pulls(run) for run in runs]
    if all(pulls):
        return tuple(
            Segment(run=run, use=mask, kind="pull", label=_label(run, k, len(masks)))
            for run, masks in zip(runs, pulls, strict=True)
            for k, mask in enumerate(masks)
        )
    return tuple(
        Segment(run=run, use=steady_samples(run), kind="steady", label=run.name) for run in runs
    )


def _label(run: Run, k: int, count: int) -> str:
    return run.name if count == 1 else f"{run.name} pull {k + 1}"


def _pulls(run: Run) -> list[BoolArray]:
    step = run.step_s
    climbing = rate(smoothed(run.speed_rpm, step, SPEED_SMOOTHING_S), step) > MIN_RISE_RPMPS
    edges = np.flatnonzero(np.diff(np.concatenate(([0], climbing.astype(np.int8), [0]))))
    load = _load(run)
    full_load = float(np.nanquantile(load, 0.98)) if np.isfinite(load).any() else 0.0
    found = [
        (start, stop)
        for start, stop in zip(edges[::2], edges[1::2], strict=True)
        if _is_pull(run, int(start), int(stop), load, full_load)
    ]
    short = sum(stop - start for start, stop in found) < MIN_PULL_SHARE_OF_LOG * run.time_s.size
    if short and not _pedal_to_the_floor(run):
        return []
    masks = []
    for start, stop in found:
        mask = np.zeros(run.time_s.size, dtype=bool)
        mask[_settled(run, int(start), int(stop)) : stop] = True
        masks.append(mask & _usable(run))
    return [m for m in masks if np.count_nonzero(m) >= MIN_PULL_SAMPLES]


def _pedal_to_the_floor(run: Run) -> bool:
    """Return whether the pedal tells a pull from the drive to it, however long that was."""
    if run.pedal is None or not np.isfinite(run.pedal).any():
        return False
    return float(np.nanmax(run.pedal)) >= FLOORED_PEDAL


def _settled(run: Run, start: int, stop: int) -> int:
    """Return where a pull has settled: sensors have followed, and boost has been built up.

    What stands before the build-up is another operating state than what follows it.
    """
    begin = start + round(SETTLING_S / run.step_s)
    early = slice(begin, start + (stop - start) // 2)
    building = np.flatnonzero(_heavy_filling(run)[early])
    return begin + int(building[-1]) + 1 if building.size else begin


def _heavy_filling(run: Run) -> BoolArray:
    """Return where the filling of the charge path is a large part of the flow."""
    if run.mdot_maf_kgps is None or run.mdot_filling_kgps is None:
        return np.zeros(run.time_s.size, dtype=bool)
    with np.errstate(invalid="ignore"):
        heavy: BoolArray = np.abs(run.mdot_filling_kgps) > MAX_FILLING_SHARE * run.mdot_maf_kgps
    return heavy


def _is_pull(run: Run, start: int, stop: int, load: FloatArray, full_load: float) -> bool:
    if (stop - start) * run.step_s < MIN_PULL_S or stop - start < MIN_PULL_SAMPLES:
        return False
    speed = run.speed_rpm[start:stop]
    rise = float(np.nanmax(speed) - np.nanmin(speed)) if np.isfinite(speed).any() else 0.0
    if rise < max(MIN_RISE_RPM, MIN_RISE_FRACTION * float(np.nanmin(speed))):
        return False
    if run.pedal is not None and np.isfinite(run.pedal).any():
        top = float(np.nanmax(run.pedal))
        if top - float(np.nanmin(run.pedal)) > 0.3:
            return float(np.nanmedian(run.pedal[start:stop])) >= FULL_PEDAL_SHARE * top
    upper = load[start + (stop - start) // 2 : stop]
    if not np.isfinite(upper).any():
        return False
    return float(np.nanmedian(upper)) >= FULL_LOAD_SHARE * full_load


def _load(run: Run) -> FloatArray:
    """Return something proportional to the charge of a stroke."""
    if run.mdot_maf_kgps is not None:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(run.speed_rpm > 0.0, run.mdot_maf_kgps / run.speed_rpm, np.nan)
    assert run.p_manifold_pa is not None
    return run.p_manifold_pa


def _usable(run: Run) -> BoolArray:
    """Return samples that are not dominated by the filling of the charge path."""
    good = np.isfinite(run.speed_rpm) & (run.speed_rpm > 0.0)
    if run.mdot_maf_kgps is not None:
        with np.errstate(invalid="ignore"):
            good &= run.mdot_maf_kgps > 0.0
    return good & ~_heavy_filling(run)


def steady_samples(run: Run) -> BoolArray:
    """Return usable samples at which speed and manifold pressure hardly change."""
    step = run.step_s
    mask = _usable(run) if run.use is None else _usable(run) & run.use
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
