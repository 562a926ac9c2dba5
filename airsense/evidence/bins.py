"""Runs to bin means: one table of ln(flow) per repeat, route and engine-speed bin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.estimates.run import Run
from airsense.estimates.segments import Segment

FloatArray = NDArray[np.float64]

BIN_WIDTH_RPM = 200.0
MIN_BINS = 3
MAX_BINS = 16
MIN_SAMPLES_PER_BIN = 3
# Samples closer than this are not independent (hot film, smoothing, logger): our choice.
CORRELATION_TIME_S = 0.3
# How far a line is followed outside of its samples, as a share of what they span: our choice.
MAX_EXTRAPOLATION = 0.5
WINDOW_QUANTILES = {"pull": (0.01, 0.99), "steady": (0.05, 0.95)}


@dataclass(frozen=True, slots=True, kw_only=True)
class BinTable:
    """Means over samples, shape (n_repeats, n_bins) per quantity.

    `ln` maps a route to the mean of ln(flow / (kg/s)); `u_noise` maps it to the standard
    uncertainty of that mean from scatter inside the bin that the other routes do not share;
    `u_common` is that of the scatter they do share (the operating point itself). NaN marks a bin
    without enough samples.
    """

    centre_rpm: FloatArray
    edges_rpm: FloatArray
    labels: tuple[str, ...]
    ln: Mapping[str, FloatArray]
    u_noise: Mapping[str, FloatArray]
    u_common: FloatArray
    state: Mapping[str, FloatArray]
    samples: NDArray[np.int64]

    @property
    def n_bins(self) -> int:
        """Number of speed bins."""
        return self.centre_rpm.size

    def of_repeats(self, rows: NDArray[np.bool_]) -> BinTable:
        """Return the table of some of the repeats; `rows` has shape (n_repeats,)."""
        return replace(
            self,
            labels=tuple(label for label, keep in zip(self.labels, rows, strict=True) if keep),
            ln={name: value[rows] for name, value in self.ln.items()},
            u_noise={name: value[rows] for name, value in self.u_noise.items()},
            u_common=self.u_common[rows],
            state={name: value[rows] for name, value in self.state.items()},
            samples=self.samples[rows],
        )


def common_window(
    segments: Sequence[Segment], wanted_rpm: tuple[float, float] | None
) -> tuple[float, float]:
    """Return the engine-speed window that all segments cover, or the wanted one inside it.

    Raises
    ------
    InputError
        If the segments share no window, or the wanted one lies outside of it.
    """
    lows, highs = [], []
    for segment in segments:
        speed = segment.run.speed_rpm[segment.use]
        if speed.size:
            low, high = np.quantile(speed, WINDOW_QUANTILES[segment.kind])
            lows.append(float(low))
            highs.append(float(high))
    low, high = (max(lows), min(highs)) if lows else (0.0, 0.0)
    spans = "; ".join(
        f"{s.label}: {lo:.0f} to {hi:.0f} rpm"
        for s, lo, hi in zip(segments, lows, highs, strict=False)
    )
    if wanted_rpm is not None:
        low, high = max(low, wanted_rpm[0]), min(high, wanted_rpm[1])
    if high - low < BIN_WIDTH_RPM:
        raise InputError(
            "the runs share no window of engine speed",
            where="--rpm" if wanted_rpm else "the logs",
            got=spans or "no usable samples",
            allowed=f"at least {BIN_WIDTH_RPM:.0f} rpm that every run covers",
            fix=_how_to_widen(segments),
        )
    return low, high


def _how_to_widen(segments: Sequence[Segment]) -> str:
    if all(segment.kind == "steady" for segment in segments):
        return (
            "not every log holds a full-load pull of at least 2 s and 12 samples, and few samples "
            "are steady: log longer or faster sweeps, or a drive with steady stretches"
        )
    return "give --rpm inside what all runs cover, or leave out the run that is too short"


def bin_runs(
    segments: Sequence[Segment],
    flows: Mapping[str, Sequence[FloatArray]],
    states: Mapping[str, Sequence[FloatArray | None]],
    window_rpm: tuple[float, float],
) -> BinTable:
    """Average ln(flow) of each route, and state quantities, in bins of engine speed.

    Parameters
    ----------
    segments : sequence of Segment
        The repeats.
    flows : mapping of str to sequence of ndarray
        Per route, per repeat: ln(flow) on the run's grid.
    states : mapping of str to sequence of (ndarray or None)
        Further quantities to be averaged alike.
    window_rpm : tuple of float
        Lower and upper engine speed.
    """
    low, high = window_rpm
    edges = np.linspace(low, high, _bin_count(segments, window_rpm) + 1)
    tables = [
        _bin_one(
            segment,
            {name: values[k] for name, values in flows.items()},
            {name: values[k] for name, values in states.items()},
            edges,
        )
        for k, segment in enumerate(segments)
    ]
    return BinTable(
        centre_rpm=0.5 * (edges[1:] + edges[:-1]),
        edges_rpm=edges,
        labels=tuple(s.label for s in segments),
        ln={name: np.array([t.ln[name] for t in tables]) for name in flows},
        u_noise={name: np.array([t.u_noise[name] for t in tables]) for name in flows},
        u_common=np.array([t.u_common for t in tables]),
        state={name: np.array([t.state[name] for t in tables]) for name in states},
        samples=np.array([t.samples for t in tables]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _OneRun:
    ln: Mapping[str, FloatArray]
    u_noise: Mapping[str, FloatArray]
    u_common: FloatArray
    state: Mapping[str, FloatArray]
    samples: NDArray[np.int64]


def _bin_count(segments: Sequence[Segment], window_rpm: tuple[float, float]) -> int:
    low, high = window_rpm
    per_run = [
        int(np.count_nonzero((s.run.speed_rpm[s.use] >= low) & (s.run.speed_rpm[s.use] <= high)))
        for s in segments
    ]
    by_samples = min(per_run) // (2 * MIN_SAMPLES_PER_BIN)
    by_width = round((high - low) / BIN_WIDTH_RPM)
    return int(np.clip(min(by_samples, by_width), MIN_BINS, MAX_BINS))


def _bin_one(
    segment: Segment,
    flows: Mapping[str, FloatArray],
    states: Mapping[str, FloatArray | None],
    edges: FloatArray,
) -> _OneRun:
    n_bins = edges.size - 1
    stack = np.array(list(flows.values()))
    speed = segment.run.speed_rpm
    good = segment.use & np.all(np.isfinite(stack), axis=0)
    good &= (speed >= edges[0]) & (speed <= edges[-1])
    where = np.clip(np.searchsorted(edges, speed[good], side="right") - 1, 0, n_bins - 1)
    count = np.bincount(where, minlength=n_bins).astype(np.float64)
    x = np.log(speed[good])
    rows = stack[:, good]
    centre = np.log(0.5 * (edges[1:] + edges[:-1]))
    means, residuals = _line_per_bin(x, rows, where, centre, count)
    independent = _independent(count, segment.run)
    common = residuals.mean(axis=0)
    own = residuals - common
    # The mean over k routes takes 1/k of each route's own scatter with it.
    share = rows.shape[0] / max(rows.shape[0] - 1, 1)
    enough = count >= MIN_SAMPLES_PER_BIN
    return _OneRun(
        ln={n: np.where(enough, means[i], np.nan) for i, n in enumerate(flows)},
        u_noise={
            n: np.sqrt(share * _variance(own[i], where, count) / independent)
            for i, n in enumerate(flows)
        },
        u_common=np.sqrt(_variance(common, where, count) / independent),
        state={n: _mean_or_nan(v, good, where, count) for n, v in states.items()},
        samples=count.astype(np.int64),
    )


def _line_per_bin(
    x: FloatArray, rows: FloatArray, where: NDArray[np.intp], centre: FloatArray, count: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return each route's value at the bin centre from a line through the bin, and residuals.

    A line instead of a plain mean: runs that dwell in different parts of a bin stay comparable.
    It is not followed far beyond the samples: a few of them at an edge of the bin know no slope.
    """
    n_bins = centre.size
    safe = np.maximum(count, 1)
    dx = x - centre[where]
    mean_x = np.bincount(where, dx, n_bins) / safe
    dxc = dx - mean_x[where]
    sxx = np.bincount(where, dxc**2, n_bins)
    reach = _reach(dxc, where, -mean_x)
    means, residuals = np.empty((rows.shape[0], n_bins)), np.empty_like(rows)
    for i, y in enumerate(rows):
        mean_y = np.bincount(where, y, n_bins) / safe
        yc = y - mean_y[where]
        slope = np.bincount(where, dxc * yc, n_bins) / np.maximum(sxx, 1e-12)
        means[i] = mean_y + slope * reach
        residuals[i] = yc - slope[where] * dxc
    return means, residuals


def _reach(dxc: FloatArray, where: NDArray[np.intp], to_centre: FloatArray) -> FloatArray:
    """Return how far each bin's line is followed from the mean of its samples to the centre."""
    first, last = np.zeros_like(to_centre), np.zeros_like(to_centre)
    np.minimum.at(first, where, dxc)
    np.maximum.at(last, where, dxc)
    beyond = MAX_EXTRAPOLATION * (last - first)
    return np.clip(to_centre, first - beyond, last + beyond)


def _variance(residual: FloatArray, where: NDArray[np.intp], count: FloatArray) -> FloatArray:
    return np.bincount(where, residual**2, count.size) / np.maximum(count - 2, 1)


def _independent(count: FloatArray, run: Run) -> FloatArray:
    """Return the number of independent samples in each bin."""
    apart = max(CORRELATION_TIME_S, run.native_step_s)
    return np.maximum(1.0, np.minimum(count, count * run.step_s / apart))


def _mean_or_nan(
    value: FloatArray | None, good: NDArray[np.bool_], where: NDArray[np.intp], count: FloatArray
) -> FloatArray:
    if value is None:
        return np.full(count.size, np.nan)
    chosen = value[good]
    finite = np.isfinite(chosen)
    total = np.bincount(where[finite], chosen[finite], count.size)
    number = np.bincount(where[finite], minlength=count.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(number > 0, total / number, np.nan)
