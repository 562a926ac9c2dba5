"""The linear mixed model behind the new table, with Gaussian priors on all its parts.

For route k, run r and block i, with the axis x = ln(indicated flow)::

    ln(route) - ln(indicated) = [c0 + u(x)] present      wanted: ln(true/indicated)
                              + f_k(speed, pressure)     the route's own error, same in all runs
                              + [b_k + g_k(x)] present   its drift between baseline and present
                              + e_kr + d_kr (x - mean)   its run effect, and drift within the run
                              + e_r                      the sensor's run effect
                              + noise
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.basis import SplineBasis, basis_over, process_precision
from airsense.transfer.samples import Blocks, ReferenceSamples, RouteSamples

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

U_FACTOR = 0.3  # wide prior of the factor: the data decide
# Where another cause explains the difference, a change of the sensor on top of it is an extra
# (a bore that is 1 mm in 80 off is 2.5 %).
U_FACTOR_BESIDE_CAUSE = 0.02
# The route's own error changes over the engine's map, the same before and after: a smooth curve
# over ln(speed), for volumetric efficiency and for a fuel quantity with its sensors' lags, and a
# slope in ln(pressure) or ln(flow). Sizes: handbook spread over the map, our choice.
U_BREATHING_CURVE = 0.05
U_BREATHING_SLOPE = 0.08
U_BREATHING_BEND = 0.08
U_FUEL_CURVE = 0.05
U_FUEL_SLOPE = 0.03
SPEED_KNOT_STEP = 0.15
# The drift between baseline and present is not quite the same over the axis: the standard deviation
# of its bend over that of its level, our choice.
BETWEEN_BEND = 0.5
# A lag between sensor and route that nobody knows, after alignment: our choice.
U_LAG_S = 0.03
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

    def variance(self, route: int, rate_ps: FloatArray) -> FloatArray:
        """Return the variance of blocks of a route, with the lag that nobody knows."""
        lag = (U_LAG_S * rate_ps) ** 2
        return np.asarray((self.sigma[route] ** 2 + lag) * self.inflation[route])


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """Normal equations of some blocks: X'WX, X'Wy, y'Wy, sum of ln W."""

    xwx: FloatArray
    xwy: FloatArray
    ywy: float
    ln_w: float

    def plus(self, other: Normal, sign: float = 1.0) -> Normal:
        """Return the equations of both sets of blocks; with a sign of -1, of this without them."""
        return Normal(
            xwx=self.xwx + sign * other.xwx,
            xwy=self.xwy + sign * other.xwy,
            ywy=self.ywy + sign * other.ywy,
            ln_w=self.ln_w + sign * other.ln_w,
        )


@dataclass(frozen=True, slots=True)
class Posterior:
    """Mean and covariance of all coefficients."""

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Design:
    """Columns of the model: `x` has shape (routes, m, p)."""

    x: FloatArray
    blocks: Blocks
    basis: SplineBasis
    prior: FloatArray
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
        scale = np.where(self.run_columns, 1.0 / run_scale, 1.0)
        matrix = scale[:, None] * self.prior * scale
        # An amplitude of zero means no shape at all: a precision that no data overcome.
        matrix[self.shape_columns, self.shape_columns] /= max(amplitude, 1e-7) ** 2
        return matrix

    def curve(self, x: FloatArray) -> FloatArray:
        """Return the rows that make c(x) out of the coefficients, shape (len(x), p)."""
        rows = np.zeros((np.size(x), self.x.shape[2]))
        rows[:, 0] = 1.0
        rows[:, self.shape_columns] = self.basis.design(x)
        return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """Columns that belong together: shape (m, q), prior precision (q, q), which are run effects."""

    columns: FloatArray
    precision: FloatArray
    is_run: bool = False


def build_design(
    blocks: Blocks,
    samples: ReferenceSamples,
    basis: SplineBasis,
    signatures: Sequence[Signature] = (),
    u_factor: float = U_FACTOR,
) -> Design:
    """Return the columns of the model for the blocks of all runs."""
    present = blocks.present.astype(np.float64)
    runs = (blocks.run[:, None] == np.unique(blocks.run)).astype(np.float64)
    shared = [
        _part(present, u_factor),
        _Part(
            columns=basis.design(blocks.axis) * present[:, None],
            precision=process_precision(basis, 1.0),  # per unit of amplitude
        ),
        *(_part(s.column * present, s.u_size) for s in signatures),
        _part(runs, samples.u_run_sensor, is_run=True),
    ]
    curve = shared[1].columns
    per_route = [_route_parts(blocks, route, runs, curve, basis) for route in samples.routes]
    parts = [*shared, *(part for own in per_route for part in own)]
    size = sum(part.precision.shape[0] for part in parts)
    x = np.zeros((len(per_route), blocks.run.size, size))
    prior = np.zeros((size, size))
    is_run = np.zeros(size, dtype=bool)
    at = 0
    owner = [-1] * len(shared) + [k for k, own in enumerate(per_route) for _ in own]
    for part, route in zip(parts, owner, strict=True):
        here = slice(at, at + part.precision.shape[0])
        prior[here, here] = part.precision
        is_run[here] = part.is_run
        x[slice(None) if route < 0 else route, :, here] = part.columns
        at = here.stop
    return Design(
        x=x,
        blocks=blocks,
        basis=basis,
        prior=prior,
        run_columns=is_run,
        signatures=tuple(s.name for s in signatures),
    )


def _part(columns: FloatArray, u: float, *, is_run: bool = False) -> _Part:
    """Return independent columns with one prior size."""
    matrix = columns.reshape(columns.shape[0], -1)
    return _Part(columns=matrix, precision=np.eye(matrix.shape[1]) / u**2, is_run=is_run)


def _route_parts(
    blocks: Blocks,
    route: RouteSamples,
    runs: FloatArray,
    curve: FloatArray,
    basis: SplineBasis,
) -> list[_Part]:
    """Return what belongs to one route: its own error, its drift, its run effects."""
    bend = BETWEEN_BEND * route.u_between
    lean = blocks.axis - runs @ (runs.T @ blocks.axis / runs.sum(axis=0))
    own = _breathing_parts(blocks) if route.breathing else _fuel_parts(blocks)
    return [
        _part(np.ones(blocks.run.size), route.u_absolute),
        *own,
        _part(blocks.present.astype(np.float64), route.u_between),
        _Part(columns=curve, precision=process_precision(basis, bend)),
        _part(runs, route.u_run, is_run=True),
        _part(runs * lean[:, None], DRIFT_SHARE * route.u_run, is_run=True),
    ]


def _breathing_parts(blocks: Blocks) -> list[_Part]:
    p = _centred(np.log(blocks.p_manifold_pa))
    n = _centred(np.log(blocks.speed_rpm))
    return [
        _speed_curve(blocks, U_BREATHING_CURVE),
        _part(p, U_BREATHING_SLOPE),
        _part(np.column_stack([n * p, p**2]), U_BREATHING_BEND),
    ]


def _fuel_parts(blocks: Blocks) -> list[_Part]:
    return [_speed_curve(blocks, U_FUEL_CURVE), _part(_centred(blocks.axis), U_FUEL_SLOPE)]


def _speed_curve(blocks: Blocks, amplitude: float) -> _Part:
    ln_speed = np.log(blocks.speed_rpm)
    low, high = float(np.min(ln_speed)), float(np.max(ln_speed))
    basis = basis_over(low, max(high, low + 0.01), SPEED_KNOT_STEP)
    return _Part(columns=basis.design(ln_speed), precision=process_precision(basis, amplitude))


def _centred(values: FloatArray) -> FloatArray:
    middle = float(np.nanmean(values)) if np.isfinite(values).any() else 0.0
    return np.nan_to_num(values - middle, nan=0.0)


def normal_of(design: Design, noise: Noise, mask: BoolArray) -> Normal:
    """Return the normal equations of the blocks in `mask`."""
    p = design.x.shape[2]
    total = Normal(xwx=np.zeros((p, p)), xwy=np.zeros(p), ywy=0.0, ln_w=0.0)
    for k in range(design.x.shape[0]):
        y = design.blocks.residual[k]
        use = mask & np.isfinite(y)
        x, y = design.x[k][use], y[use]
        weight = 1.0 / noise.variance(k, design.blocks.rate_ps[use])
        weighted = weight[:, None] * x
        total = total.plus(
            Normal(
                xwx=weighted.T @ x,
                xwy=weighted.T @ y,
                ywy=float(weight @ y**2),
                ln_w=float(np.sum(np.log(weight))),
            )
        )
    return total


def solve(normal: Normal, precision: FloatArray) -> Posterior:
    """Return the posterior of the coefficients."""
    from scipy.linalg import cho_factor, cho_solve

    factor = cho_factor(precision + normal.xwx, lower=True)
    return Posterior(
        mean=cho_solve(factor, normal.xwy),
        covariance=cho_solve(factor, np.eye(precision.shape[0])),
    )


def solve_mean(normal: Normal, precision: FloatArray) -> FloatArray:
    """Return the posterior mean alone."""
    from scipy.linalg import cho_factor, cho_solve

    return np.asarray(cho_solve(cho_factor(precision + normal.xwx, lower=True), normal.xwy))


def ln_evidence(normal: Normal, precision: FloatArray) -> float:
    """Return the log marginal likelihood, with 2 pi left out.

    It compares models with the same blocks and noise.
    """
    from scipy.linalg import cho_factor, cho_solve

    factor = cho_factor(precision + normal.xwx, lower=True)
    prior = cho_factor(precision, lower=True)
    misfit = normal.ywy - float(normal.xwy @ cho_solve(factor, normal.xwy))
    return 0.5 * (_ln_det(prior[0]) - _ln_det(factor[0]) - misfit + normal.ln_w)


def _ln_det(factor: FloatArray) -> float:
    return 2.0 * float(np.sum(np.log(np.diag(factor))))
