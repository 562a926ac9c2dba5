"""How much the blocks scatter: noise per route, correlation in time and between routes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.mixed import Design, Noise, normal_of, solve_mean

FloatArray = NDArray[np.float64]

# A supple fit, so that only noise is left: a wide shape and loose run effects.
SUPPLE_AMPLITUDE = 0.08
SUPPLE_RUNS = 4.0
FIRST_SIGMA = 0.01
MIN_SIGMA = 2.0e-4
MAX_INFLATION = 20.0


def rough_residual(design: Design) -> FloatArray:
    """Residual of a supple fit with equal weights, shape (routes, m)."""
    ones = np.ones(design.x.shape[0])
    everything = np.ones(design.blocks.run.size, dtype=bool)
    normal = normal_of(design, Noise(sigma=FIRST_SIGMA * ones, inflation=ones), everything)
    mean = solve_mean(normal, design.precision(SUPPLE_AMPLITUDE, SUPPLE_RUNS))
    return np.asarray(design.blocks.residual - design.x @ mean)


def robust_sd(values: FloatArray) -> float:
    """Return the standard deviation from the median size; a few wild values do not matter."""
    finite = values[np.isfinite(values)]
    return float(np.median(np.abs(finite)) / 0.6745) if finite.size else 0.0


def estimate_noise(design: Design) -> Noise:
    """Estimate the noise of a block, and how many blocks in a row are one independent look."""
    residual = rough_residual(design)
    same_run = np.diff(design.blocks.run) == 0
    sigma, inflation = [], []
    for row in residual:
        finite = np.isfinite(row)
        sd = float(np.sqrt(np.mean(row[finite] ** 2))) if finite.any() else FIRST_SIGMA
        pairs = same_run & finite[1:] & finite[:-1]
        rho = float(np.mean(row[1:][pairs] * row[:-1][pairs]) / sd**2) if pairs.any() else 0.0
        rho = float(np.clip(rho, 0.0, 0.95))
        sigma.append(max(sd, MIN_SIGMA))
        inflation.append(min((1.0 + rho) / (1.0 - rho), MAX_INFLATION))
    shared = _shared_noise(residual)
    return Noise(sigma=np.array(sigma), inflation=np.array(inflation) * shared)


def _shared_noise(residual: FloatArray) -> float:
    """Routes share the sensor's noise: k routes with correlation r are worth k / (1 + (k-1) r)."""
    both = np.isfinite(residual).all(axis=0)
    k = residual.shape[0]
    if k < 2 or np.count_nonzero(both) < 10:
        return 1.0
    correlation = np.corrcoef(residual[:, both])
    mean = (np.sum(correlation) - k) / (k * (k - 1))
    return float(1.0 + (k - 1) * np.clip(mean, 0.0, 1.0))


def mean_over_routes(residual: FloatArray) -> FloatArray:
    """Return the mean over the routes that a block has; NaN where it has none."""
    count = np.isfinite(residual).sum(axis=0)
    total = np.nansum(residual, axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
