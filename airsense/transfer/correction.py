"""The correction of the table over flow, read from the posterior: ln(true / indicated).

Only what the sensor does as a function of its own signal is an error of the table: its factor and
its bend, and the factor that may stand beside a leak or pulsation. Air that is lost, and pulses
that depend on speed and load, are none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.evidence.posterior import Posterior
from airsense.evidence.signatures import curve_columns
from airsense.evidence.verdict import TAILS, weighted_quantiles
from airsense.results import Interval

# An interval of the table covers what every fault of a route leaves that keeps so much of the
# posterior: our choice.
KEPT = 0.01
GRID = 40
# The slope at an end is followed no further than this, in ln(flow): a hot film's error flattens.
MAX_REACH = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Corrections as logarithms: middle and 95 % bounds, each (k,)."""

    middle: FloatArray
    low: FloatArray
    high: FloatArray

    def interval(self, k: int = 0) -> Interval:
        """Return one of them as a factor on flow."""
        ln = (self.middle[k], self.low[k], self.high[k])
        return Interval(*(float(np.exp(x)) for x in ln))


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """Rows (k, c) that make corrections out of the sizes of the causes, over the logged range."""

    posterior: Posterior
    low: float = field(init=False)
    high: float = field(init=False)

    def __post_init__(self) -> None:
        cells = self.posterior.reduced.seen.cells
        own = cells.ln_maf[cells.after]
        object.__setattr__(self, "low", float(np.min(own)))
        object.__setattr__(self, "high", float(np.max(own)))

    def rows(self, ln_flow: FloatArray) -> FloatArray:
        """Return one row for each ln(indicated flow), held at the ends of the logged range."""
        library = self.posterior.reduced.library
        at = np.clip(ln_flow, self.low, self.high)
        out = np.zeros((at.size, library.cells.shape[2]))
        curve = library.columns_of(Cause.SENSOR_SCALE, Cause.SENSOR_SHAPE)
        out[:, curve] = -curve_columns(self.posterior.reduced.seen, at)
        out[:, library.companions] = -1.0
        return out

    def along(self, ln_flow: FloatArray) -> Band:
        """Return the correction at flows inside the logged range."""
        if ln_flow.size <= GRID:
            return self.band(self.rows(ln_flow))
        grid = np.linspace(self.low, self.high, GRID)
        found = self.band(self.rows(grid))
        return Band(
            middle=np.interp(ln_flow, grid, found.middle),
            low=np.interp(ln_flow, grid, found.low),
            high=np.interp(ln_flow, grid, found.high),
        )

    def mean(self, ln_flow: FloatArray) -> FloatArray:
        """Return the mean of the mixture at flows inside the logged range."""
        draws = self.posterior.draws
        return np.asarray(self.rows(ln_flow) @ (draws.weight @ draws.sizes))

    def factor(self, low: float, high: float) -> Band:
        """Return the mean correction between two ln(flow), even over ln(flow)."""
        return self.band(self.rows(np.linspace(low, high, GRID)).mean(axis=0)[None])

    def beyond(self, ln_flow: FloatArray, low: float, high: float) -> Band:
        """Return the correction where nothing was measured: the mean factor between two ln(flow).

        The bounds cover that factor, the correction at the nearer end, and its slope carried on.
        """
        mean = self.factor(low, high)
        first, last = self.rows(np.array([low, high]))
        slope = (last - first) / max(high - low, 0.5)
        reach = np.clip(ln_flow - low, -MAX_REACH, 0.0) + np.clip(ln_flow - high, 0.0, MAX_REACH)
        above = (ln_flow > high).astype(np.int64)
        both = self.band(np.stack([first, last]))
        on = self.band(np.stack([first, last])[above] + reach[:, None] * slope)
        return Band(
            middle=np.full(ln_flow.size, mean.middle[0]),
            low=np.minimum(np.minimum(both.low[above], on.low), mean.low[0]),
            high=np.maximum(np.maximum(both.high[above], on.high), mean.high[0]),
        )

    def band(self, rows: FloatArray) -> Band:
        """Return the middle of the mixture, and bounds over all route faults that are kept."""
        draws = self.posterior.draws
        kept = fault_weights(self.posterior)
        middle, low, high = (np.empty(rows.shape[0]) for _ in range(3))
        for k, row in enumerate(rows):
            middle[k] = quantiles(draws.sizes @ row, [draws.weight])[0, 0]
            found = quantiles(draws.spread @ row, kept)
            low[k] = min(float(found[:, 1].min()), middle[k])
            high[k] = max(float(found[:, 2].max()), middle[k])
        return Band(middle=middle, low=low, high=high)


def fault_weights(posterior: Posterior) -> list[FloatArray]:
    """Return the weights of the draws under each fault of a route that is kept, (n,) each."""
    faults = [h.fault.causes for h in posterior.candidates]
    out = []
    for causes in dict.fromkeys(faults):
        own = np.array([f == causes for f in faults])
        weight = posterior.draws.weight * own[posterior.draws.hypothesis]
        if posterior.weights @ own >= KEPT and weight.sum() > 0.0:
            out.append(weight / weight.sum())
    return out


def quantiles(values: FloatArray, weights: Sequence[FloatArray]) -> FloatArray:
    """Return the middle and the 95 % bounds of draws (n,) under each of some weights, (w, 3)."""
    return np.array([weighted_quantiles(values, weight, TAILS) for weight in weights])
