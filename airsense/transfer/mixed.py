"""The linear mixed model behind the new table, with Gaussian priors on all its parts.

For route k, run r and block i, with the axis x = ln(indicated flow)::

    ln(route) - ln(indicated) = [c0 + u(x)] present      wanted: ln(true/indicated)
                              + phi_k(speed, pressure)   the route's own error, same in all runs
                              + b_k present              its drift between baseline and present
                              + e_kr + d_kr (x - mean)   its run effect, and drift within the run
                              + e_r                      the sensor's run effect
                              + noise
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.basis import SplineBasis, process_precision
from airsense.transfer.samples import Blocks, ReferenceSamples

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

U_FACTOR = 0.3  # wide prior of the factor: the data decide
# The route's own error may change along the engine's map: per unit of ln(speed), ln(pressure)
# for volumetric efficiency (handbook spread over the map, our choice), and per unit of ln(flow)
# for a fuel quantity.
U_BREATHING_SLOPE = 0.08
U_BREATHING_CURVE = 0.08
U_FUEL_SLOPE = 0.02
# Drift within a run, per unit of ln(flow), over the run-to-run uncertainty: our choice.
DRIFT_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A cause that is no table error: its shape over the blocks and its prior size (k = 1)."""

    name: str
    column: FloatArray
    u_size: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Standard deviation of a block's residual per route, and how many blocks make one look."""

    sigma: FloatArray
    inflation: FloatArray


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal equations of the blocks of one fold: X'WX, X'Wy, y'Wy, sum of ln W, count."""

    xwx: FloatArray
    xwy: FloatArray
    ywy: float
    ln_w: float
    count: int

    def __add__(self, other: Normal) -> Normal:
        return Normal(
            self.xwx + other.xwx,
            self.xwy + other.xwy,
            self.ywy + other.ywy,
            self.ln_w + other.ln_w,
            self.count + other.count,
        )


@dataclass(frozen=True, slots=True)
class Posterior:
    """Mean and covariance of all coefficients, and the log marginal likelihood."""

    mean: FloatArray
    covariance: FloatArray
    ln_evidence: float


@dataclass(frozen=True)
class Design:
    """Columns of the model: `x` has shape (routes, m, p)."""

    x: FloatArray
    blocks: Blocks
    basis: SplineBasis
    u_other: FloatArray
    run_columns: BoolArray
    signatures: tuple[str, ...] = ()

    @property
    def shape_columns(self) -> slice:
        """Where the spline's coefficients stand; the factor is column 0."""
        return slice(1, 1 + self.basis.size)

    def signature_column(self, name: str) -> int:
        """Return the column of a cause."""
        return 1 + self.basis.size + self.signatures.index(name)

    def precision(self, amplitude: float, run_scale: float) -> FloatArray:
        """Return the prior precision for a shape amplitude and a multiple of the run effects."""
        u = np.where(self.run_columns, self.u_other * run_scale, self.u_other)
        matrix = np.diag(1.0 / u**2)
        shape = self.shape_columns
        # An amplitude of zero means no shape at all: a precision that no data overcome.
        matrix[shape, shape] = process_precision(self.basis, max(amplitude, 1e-7))
        return matrix

    def curve(self, x: FloatArray) -> FloatArray:
        """Return the rows that make c(x) out of the coefficients, shape (len(x), p)."""
        rows = np.zeros((np.size(x), self.x.shape[2]))
        rows[:, 0] = 1.0
        rows[:, self.shape_columns] = self.basis.design(x)
        return rows


def build_design(
    blocks: Blocks,
    samples: ReferenceSamples,
    basis: SplineBasis,
    signatures: Sequence[Signature] = (),
) -> Design:
    """Return the columns of the model for the blocks of all runs."""
    present = blocks.present.astype(np.float64)
    shared = [present[:, None], basis.design(blocks.axis) * present[:, None]]
    shared += [(s.column * present)[:, None] for s in signatures]
    u_shared = [U_FACTOR, *np.ones(basis.size), *(s.u_size for s in signatures)]
    runs = (blocks.run[:, None] == np.unique(blocks.run)).astype(np.float64)
    n_runs = runs.shape[1]
    parts, u_own, is_run = [], [samples.u_run_sensor] * n_runs, [True] * n_runs
    for route in samples.routes:
        features, u_features = _features(blocks, breathing=route.breathing)
        lean = blocks.axis - runs @ (runs.T @ blocks.axis / runs.sum(axis=0))
        parts.append(np.column_stack([features, present, runs, runs * lean[:, None]]))
        u_own += [route.u_absolute, *u_features, route.u_between]
        u_own += [route.u_run] * n_runs + [DRIFT_SHARE * route.u_run] * n_runs
        is_run += [False] * (len(u_features) + 2) + [True] * (2 * n_runs)
    common = np.column_stack([*shared, runs])
    width = [p.shape[1] for p in parts]
    x = np.zeros((len(parts), blocks.run.size, common.shape[1] + sum(width)))
    for k, part in enumerate(parts):
        at = common.shape[1] + sum(width[:k])
        x[k, :, : common.shape[1]] = common
        x[k, :, at : at + width[k]] = part
    return Design(
        x=x,
        blocks=blocks,
        basis=basis,
        u_other=np.array([*u_shared, *u_own]),
        run_columns=np.array([False] * len(u_shared) + is_run),
        signatures=tuple(s.name for s in signatures),
    )


def _features(blocks: Blocks, *, breathing: bool) -> tuple[FloatArray, list[float]]:
    """Return the columns of a route's own error, with the prior sizes of all but the constant."""
    one = np.ones(blocks.run.size)
    if not breathing:
        lean = blocks.axis - np.mean(blocks.axis)
        return np.column_stack([one, lean]), [U_FUEL_SLOPE]
    n = _centred(np.log(blocks.speed_rpm))
    p = _centred(np.log(blocks.p_manifold_pa))
    u = [U_BREATHING_SLOPE] * 2 + [U_BREATHING_CURVE] * 3
    return np.column_stack([one, n, p, n**2, n * p, p**2]), u


def _centred(values: FloatArray) -> FloatArray:
    middle = float(np.nanmean(values)) if np.isfinite(values).any() else 0.0
    return np.nan_to_num(values - middle, nan=0.0)


def normal_of(design: Design, noise: Noise, mask: BoolArray) -> Normal:
    """Return the normal equations of the blocks in `mask`."""
    p = design.x.shape[2]
    total = Normal(np.zeros((p, p)), np.zeros(p), 0.0, 0.0, 0)
    for k in range(design.x.shape[0]):
        y = design.blocks.residual[k]
        use = mask & np.isfinite(y)
        weight = 1.0 / (noise.sigma[k] ** 2 * noise.inflation[k])
        x, y = design.x[k][use], y[use]
        total = total + Normal(
            weight * x.T @ x,
            weight * x.T @ y,
            float(weight * y @ y),
            float(y.size * np.log(weight)),
            int(y.size),
        )
    return total


def solve(normal: Normal, precision: FloatArray) -> Posterior:
    """Return the posterior of the coefficients.

    The log evidence is that of y under the prior, with 2 pi left out; it compares models with
    the same blocks and noise.
    """
    from scipy.linalg import cho_factor, cho_solve

    factor = cho_factor(precision + normal.xwx, lower=True)
    mean = cho_solve(factor, normal.xwy)
    covariance = cho_solve(factor, np.eye(precision.shape[0]))
    ln_det = 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    ln_det_prior = float(np.linalg.slogdet(precision)[1])
    misfit = normal.ywy - float(normal.xwy @ mean)
    return Posterior(mean, covariance, 0.5 * (ln_det_prior - ln_det - misfit + normal.ln_w))
