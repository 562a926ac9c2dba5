"""Runs to bin means: one table of ln(flow) per repeat, route and engine-speed bin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.estimates.run import Run

# Bins as wide as breathing changes little, with enough samples for a mean (our choice).
BIN_WIDTH_RPM = 200.0
MIN_BINS = 3
MAX_BINS = 16
MIN_SAMPLES_PER_BIN = 3
# How far a line is followed outside of its samples, as a share of what they span: our choice.
MAX_EXTRAPOLATION = 0.5
WINDOW_QUANTILES = (0.01, 0.99)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """The samples of a run that are full-load sweeps: `use` has shape (n,)."""

    run: Run
    use: NDArray[np.bool_]
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BinTable:
    """Means over samples, shape (n_repeats, n_bins) per quantity.

    `ln` maps a route to ln(flow / (kg/s)) at the bin's centre, `state` other quantities to their
    means. NaN marks a bin without enough samples.
    """

    centre_rpm: FloatArray
    edges_rpm: FloatArray
    labels: tuple[str, ...]
    ln: Mapping[str, FloatArray]
    state: Mapping[str, FloatArray]
    samples: NDArray[np.int64]

    @property
    def n_bins(self) -> int:
        """Number of speed bins."""
        return self.centre_rpm.size


def common_window(
    repeats: Sequence[Repeat], wanted_rpm: tuple[float, float] | None
) -> tuple[float, float] | None:
    """Return the engine-speed window that all repeats cover, cut to the wanted one; None if none.

    Parameters
    ----------
    repeats : sequence of Repeat
    wanted_rpm : tuple of float, optional
        Lower and upper engine speed.
    """
    spans = [np.quantile(r.run.speed_rpm[r.use], WINDOW_QUANTILES) for r in repeats if r.use.any()]
    if not spans:
        return None
    low, high = max(float(s[0]) for s in spans), min(float(s[1]) for s in spans)
    if wanted_rpm is not None:
        low, high = max(low, wanted_rpm[0]), min(high, wanted_rpm[1])
    return (low, high) if high - low >= BIN_WIDTH_RPM else None


def bin_runs(
    segments: Sequence[Repeat],
    flows: Mapping[str, Sequence[FloatArray]],
    states: Mapping[str, Sequence[FloatArray | None]],
    window_rpm: tuple[float, float],
) -> BinTable:
    """Average ln(flow) of each route, and state quantities, in bins of engine speed.

    Parameters
    ----------
    segments : sequence of Repeat
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
        state={name: np.array([t.state[name] for t in tables]) for name in states},
        samples=np.array([t.samples for t in tables]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _OneRun:
    ln: Mapping[str, FloatArray]
    state: Mapping[str, FloatArray]
    samples: NDArray[np.int64]


def _bin_count(segments: Sequence[Repeat], window_rpm: tuple[float, float]) -> int:
    low, high = window_rpm
    per_run = [
        int(np.count_nonzero((s.run.speed_rpm[s.use] >= low) & (s.run.speed_rpm[s.use] <= high)))
        for s in segments
    ]
    by_samples = min(per_run) // (2 * MIN_SAMPLES_PER_BIN)
    by_width = round((high - low) / BIN_WIDTH_RPM)
    return int(np.clip(min(by_samples, by_width), MIN_BINS, MAX_BINS))


def _bin_one(
    repeat: Repeat,
    flows: Mapping[str, FloatArray],
    states: Mapping[str, FloatArray | None],
    edges: FloatArray,
) -> _OneRun:
    speed = repeat.run.speed_rpm
    with np.errstate(invalid="ignore"):
        inside = repeat.use & (speed >= edges[0]) & (speed <= edges[-1])
    cells = _Bins(speed_rpm=speed, inside=inside, edges_rpm=edges)
    return _OneRun(
        ln={name: cells.line(value) for name, value in flows.items()},
        state={
            name: np.full(edges.size - 1, np.nan) if value is None else cells.mean(value)
            for name, value in states.items()
        },
        samples=cells.count(inside),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bins:
    """The samples of one repeat that lie in the window, and the bins."""

    speed_rpm: FloatArray
    inside: NDArray[np.bool_]
    edges_rpm: FloatArray

    def place(self, good: NDArray[np.bool_]) -> NDArray[np.intp]:
        found = np.searchsorted(self.edges_rpm, self.speed_rpm[good], side="right") - 1
        return np.clip(found, 0, self.edges_rpm.size - 2)

    def count(self, good: NDArray[np.bool_]) -> NDArray[np.int64]:
        return np.bincount(self.place(good), minlength=self.edges_rpm.size - 1)

    def mean(self, values: FloatArray) -> FloatArray:
        good = self.inside & np.isfinite(values)
        count = self.count(good)
        total = np.bincount(self.place(good), values[good], count.size)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)

    def line(self, values: FloatArray) -> FloatArray:
        """Return the value at the bin centre from a line through the bin; NaN with few samples.

        A line instead of a plain mean: runs that dwell in different parts of a bin stay
        comparable. It is not followed far beyond the samples: a few at an edge know no slope.
        """
        good = self.inside & np.isfinite(values)
        where, count = self.place(good), self.count(good)
        centre = np.log(0.5 * (self.edges_rpm[1:] + self.edges_rpm[:-1]))
        safe = np.maximum(count, 1)
        dx = np.log(self.speed_rpm[good]) - centre[where]
        mean_x = np.bincount(where, dx, count.size) / safe
        dxc = dx - mean_x[where]
        mean_y = np.bincount(where, values[good], count.size) / safe
        sxx = np.bincount(where, dxc**2, count.size)
        sxy = np.bincount(where, dxc * (values[good] - mean_y[where]), count.size)
        slope = sxy / np.maximum(sxx, 1e-12)
        at_centre = mean_y + slope * _reach(dxc, where, -mean_x)
        return np.where(count >= MIN_SAMPLES_PER_BIN, at_centre, np.nan)


def _reach(dxc: FloatArray, where: NDArray[np.intp], to_centre: FloatArray) -> FloatArray:
    """Return how far each bin's line is followed from the mean of its samples to the centre."""
    first, last = np.zeros_like(to_centre), np.zeros_like(to_centre)
    np.minimum.at(first, where, dxc)
    np.maximum.at(last, where, dxc)
    beyond = MAX_EXTRAPOLATION * (last - first)
    return np.clip(to_centre, first - beyond, last + beyond)
