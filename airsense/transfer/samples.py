"""What the fit is made of: samples of the reference flow beside the sensor, and time blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Samples closer than this are one look at the same state: hot film, manifold and logger are
# correlated over a few tenths of a second.
BLOCK_S = 0.5
# Faster than this, a lag of 30 ms that nobody knows is worth 1.5 %.
MAX_RATE_PS = 0.5
MIN_BLOCK_SHARE = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteSamples:
    """One route to the true flow.

    `ln_flow` has shape (n,), NaN where the route has no valid sample. The standard uncertainties
    are relative (k = 1): `u_absolute` is common to all runs, `u_between` differs between
    baseline and present runs, `u_run` from run to run. `breathing` says that the route goes
    through volumetric efficiency, so that its error may depend on speed and manifold pressure.
    """

    method: str
    ln_flow: FloatArray
    u_absolute: float
    u_between: float
    u_run: float
    breathing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSamples:
    """All samples of all runs; arrays of shape (n,), grouped by run, time rising within a run.

    `present` marks the samples with the tube that the table is to fit; the others are the
    baseline. `ln_indicated` is ln of what the table in force made of the signal, in kg/s: the
    axis of the table. `p_manifold_pa` is NaN where it was not logged. `u_run_sensor` is the
    run-to-run standard uncertainty of the sensor's own reading.
    """

    run: IntArray
    present: BoolArray
    time_s: FloatArray
    ln_indicated: FloatArray
    speed_rpm: FloatArray
    p_manifold_pa: FloatArray
    p_ambient_pa: FloatArray
    routes: tuple[RouteSamples, ...]
    u_run_sensor: float
    dof: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Means over `BLOCK_S`; arrays of shape (m,), `residual` of shape (routes, m).

    `residual` is ln(route) - ln(indicated), NaN where a route is missing; `axis` is ln(indicated)
    less its noise, as far as that is known; `rate_ps` is its rate of change; `samples` counts what
    went in.
    """

    run: IntArray
    present: BoolArray
    time_s: FloatArray
    axis: FloatArray
    speed_rpm: FloatArray
    p_manifold_pa: FloatArray
    p_ambient_pa: FloatArray
    residual: FloatArray
    rate_ps: FloatArray
    samples: FloatArray

    def pick(self, mask: BoolArray) -> Blocks:
        """Return the blocks where `mask` is true."""
        return Blocks(
            run=self.run[mask],
            present=self.present[mask],
            time_s=self.time_s[mask],
            axis=self.axis[mask],
            speed_rpm=self.speed_rpm[mask],
            p_manifold_pa=self.p_manifold_pa[mask],
            p_ambient_pa=self.p_ambient_pa[mask],
            residual=self.residual[:, mask],
            rate_ps=self.rate_ps[mask],
            samples=self.samples[mask],
        )


def to_blocks(samples: ReferenceSamples, block_s: float = BLOCK_S) -> Blocks:
    """Average the samples over blocks of time, and drop blocks that are sparse or too fast.

    Parameters
    ----------
    samples : ReferenceSamples
        Any number; a sample counts where the sensor and at least one route are finite.
    block_s : float
        Length of a block. [s] A log slower than this keeps its samples.
    """
    residual = np.array([r.ln_flow - samples.ln_indicated for r in samples.routes])
    good = np.isfinite(samples.ln_indicated) & np.isfinite(residual).any(axis=0)
    if not np.any(good):
        return _empty(len(samples.routes))
    run, time_s = samples.run[good], samples.time_s[good]
    start = np.flatnonzero(_new_block(run, time_s, block_s))
    count = np.diff(np.append(start, run.size)).astype(np.float64)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.add.reduceat(values[good], start) / count)

    blocks = Blocks(
        run=run[start],
        present=samples.present[good][start],
        time_s=mean(samples.time_s),
        axis=mean(samples.ln_indicated),
        speed_rpm=mean(samples.speed_rpm),
        p_manifold_pa=mean(samples.p_manifold_pa),
        p_ambient_pa=mean(samples.p_ambient_pa),
        residual=_means_per_route(residual[:, good], start),
        rate_ps=_rates(run[start], mean(samples.ln_indicated), mean(samples.time_s)),
        samples=count,
    )
    return blocks.pick(_sound(blocks))


def _new_block(run: IntArray, time_s: FloatArray, block_s: float) -> BoolArray:
    """Mark the first sample of each block."""
    slot = np.floor(time_s / block_s)
    first = np.ones(run.size, dtype=bool)
    first[1:] = (np.diff(run) != 0) | (np.diff(slot) != 0.0)
    return first


def _means_per_route(residual: FloatArray, start: IntArray) -> FloatArray:
    """Mean over the finite samples of each block; NaN where fewer than half are."""
    finite = np.isfinite(residual)
    count = np.add.reduceat(finite.astype(np.float64), start, axis=1)
    total = np.add.reduceat(np.where(finite, residual, 0.0), start, axis=1)
    size = np.diff(np.append(start, residual.shape[1]))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(count >= 0.5 * size, total / count, np.nan))


def _sound(blocks: Blocks) -> BoolArray:
    full = np.zeros(blocks.run.size, dtype=bool)
    for run in np.unique(blocks.run):
        here = blocks.run == run
        usual = np.quantile(blocks.samples[here], 0.8)
        full[here] = blocks.samples[here] >= MIN_BLOCK_SHARE * usual
    slow = np.abs(blocks.rate_ps) < MAX_RATE_PS
    return np.asarray(full & slow & np.isfinite(blocks.residual).any(axis=0))


def _rates(run: IntArray, axis: FloatArray, time_s: FloatArray) -> FloatArray:
    """Rate of change of ln(flow) within each run, zero for a run of one block."""
    rates = np.zeros(run.size)
    for one in np.unique(run):
        here = np.flatnonzero(run == one)
        if here.size > 1:
            rates[here] = np.gradient(axis[here], time_s[here])
    return rates


def _empty(routes: int) -> Blocks:
    none = np.empty(0)
    return Blocks(
        run=np.empty(0, dtype=np.int64),
        present=np.empty(0, dtype=bool),
        time_s=none,
        axis=none,
        speed_rpm=none,
        p_manifold_pa=none,
        p_ambient_pa=none,
        residual=np.empty((routes, 0)),
        rate_ps=none,
        samples=none,
    )


def sensor_noise_share(samples: ReferenceSamples) -> float:
    """Return the part of the fast noise of ln(route) - ln(indicated) that is the sensor's.

    From second differences, which slow changes hardly touch; 0 to 1. It says how far the noise
    of the residual also moves a sample along the axis of the table.
    """
    sensor = _roughness(samples.ln_indicated, samples.run)
    route = min((_roughness(r.ln_flow, samples.run) for r in samples.routes), default=0.0)
    total = sensor**2 + route**2
    return sensor**2 / total if total > 0.0 else 0.0


def _roughness(values: FloatArray, run: IntArray) -> float:
    second = np.diff(values, 2)
    second = second[(run[2:] == run[:-2]) & np.isfinite(second)]
    # The median keeps the fast changes of load out; 0.6745 makes it a standard deviation.
    return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6.0)) if second.size else 0.0
