"""The nuisance part of the model: each route's own error, its drift, run effects, readings at rest.

For route k, run r and cell i, beside the columns of the causes (`signatures.py`)::

    ln(MAF) - ln(route) = g_k(speed, load)           the route's own error, same in all runs
                        + [b_k + d_k(x)] after       its drift between the configurations
                        + e_kr + f_kr (x - mean)     its run effect, and drift within the run
                        + noise
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates import brake_power, fuel_lambda, speed_density
from airsense.estimates.segments import Kind
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import SPEED_STEP, Cells
from airsense.evidence.rest import Rest, RestKind
from airsense.evidence.signatures import Observed
from airsense.evidence.splines import basis_over, process_precision

# The route's own error over the engine's map, the same before and after: a smooth curve over
# ln(speed), slopes in ln(pressure) or ln(flow), in temperature and lambda. Sizes: handbook spread
# over the map, our choice.
U_CURVE = 0.05
U_BREATHING_SLOPE = 0.08
U_BREATHING_BEND = 0.08
U_FUEL_SLOPE = 0.03
# Small quantities of commanded fuel are off by a part of the usual one, and a wide-band sensor in
# lean gas by this per unit of ln(lambda) (k = 1; common practice, no source).
U_SMALL_FUEL, U_LEAN_LAMBDA = 0.02, 0.05
SPEED_KNOT_STEP = 0.15
# d ln VE / d ln T_charge: 0 where VE is taken as constant, 0.5 where heat from the port walls rules
# (Heywood 1988, ch. 6.2, from memory). Mean and standard deviation.
TEMPERATURE_SLOPE = (0.15, 0.2)
# The same against the temperature ahead of the compressor, where that of the charge is estimated:
# the cooler and the ports keep the charge from following it (0 to 1; our choice).
INLET_SLOPE = (0.7, 0.25)
# d ln(brake efficiency) / d ln(lambda) that is not known. Our choice.
U_EFFICIENCY_SLOPE = 0.3
# Idle and overrun are states of their own: residual gas, a lean lambda, a soaked thermometer (5 K
# between the configurations, 3 K from run to run). Our choice.
U_APART_LEVEL, U_APART_BETWEEN, U_APART_RUN = 0.15, 0.017, 0.010
# The drift between the configurations is not quite the same over the axis: the standard deviation
# of its bend over that of its level, our choice.
BETWEEN_BEND = 0.35
# Drift within a run, per unit of ln(flow) and of ln(speed), over the run-to-run uncertainty: lags
# and heat that follow how it was driven. Our choice.
DRIFT_SHARE = 0.35
# What repeats show of it weighs against this many degrees of freedom of the declared. Our choice.
DRIFT_DOF = 4.0
# A lag between sensor and routes that nobody knows after alignment, by run. Our choice.
U_LAG_S = 0.02


class Scale(Enum):
    """What multiplies the declared size of a group of columns."""

    FIXED = "fixed"
    BETWEEN = "between"
    RUN = "run"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Columns that belong together: `cells` (n_routes, m, k), `rest` (q, k), precision (k, k).

    `mean` is the prior mean of each, `run` the number of the run whose effects on the routes they
    are.
    """

    cells: FloatArray
    rest: FloatArray
    precision: FloatArray
    scale: Scale = Scale.FIXED
    mean: float = 0.0
    run: int | None = None


def nuisance(seen: Observed, budget: RouteBudget) -> tuple[Group, ...]:
    """Return all groups of nuisance columns.

    Parameters
    ----------
    seen : Observed
        Cells and readings at rest of one or two configurations.
    budget : RouteBudget
        Of the routes, in the order of the cells.
    """
    cells, rest = seen.cells, seen.rest
    build = _Builder(cells, rest)
    groups = [build.per_route(np.ones(cells.size), budget.covariance("absolute"))]
    for k, route in enumerate(cells.routes):
        groups += _own_error(build, k, route)
    if np.any(~cells.after) and np.any(cells.after):
        groups += _between(build, seen, budget)
    groups += _runs(build, budget)
    groups += _apart(build)
    groups += _rest_groups(build)
    return tuple(groups)


class _Builder:
    """Places columns on the rows of the observations."""

    def __init__(self, cells: Cells, rest: Rest) -> None:
        self.cells, self.rest = cells, rest
        self.n_routes = len(cells.routes)

    def per_route(
        self, column: FloatArray, covariance: FloatArray, scale: Scale = Scale.FIXED
    ) -> Group:
        """Return one column a route with a joint prior covariance (n_routes, n_routes)."""
        block = np.zeros((self.n_routes, self.cells.size, self.n_routes))
        for k in range(self.n_routes):
            block[k, :, k] = column
        return self._group(block, np.asarray(np.linalg.inv(covariance)), scale)

    def on_all(self, column: FloatArray, u: float) -> Group:
        """Return one column that all routes share."""
        block = np.broadcast_to(column[:, None], (self.n_routes, self.cells.size, 1))
        return self._group(block, np.array([[u**-2.0]]), Scale.FIXED)

    def on_route(
        self, k: int, columns: FloatArray, precision: FloatArray, scale: Scale = Scale.FIXED
    ) -> Group:
        """Return columns (m, c) on one route."""
        block = np.zeros((self.n_routes, self.cells.size, columns.shape[1]))
        block[k] = columns
        return self._group(block, precision, scale)

    def slope(self, k: int, column: FloatArray, u: float, mean: float = 0.0) -> Group:
        """Return one centred column on one route."""
        own = self.on_route(k, _centred(column)[:, None], np.array([[u**-2.0]]))
        return replace(own, mean=mean)

    def on_rest(self, columns: FloatArray, u: float, scale: Scale = Scale.FIXED) -> Group:
        """Return columns (q, c) on the readings at rest, each of standard uncertainty `u`."""
        size = columns.shape[1]
        return Group(
            cells=np.zeros((self.n_routes, self.cells.size, size)),
            rest=columns,
            precision=np.eye(size) / u**2,
            scale=scale,
        )

    def _group(self, block: FloatArray, precision: FloatArray, scale: Scale) -> Group:
        at_rest = np.zeros((self.rest.size, block.shape[2]))
        return Group(cells=block, rest=at_rest, precision=precision, scale=scale)


def _centred(values: FloatArray) -> FloatArray:
    return np.nan_to_num(values - _middle(values), nan=0.0)


def _middle(values: FloatArray) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else 0.0


def _ln(values: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(values > 0.0, np.log(values), np.nan)


def _own_error(build: _Builder, k: int, route: str) -> list[Group]:
    cells = build.cells
    groups = [_speed_curve(build, k)]
    if route == speed_density.METHOD:
        n, p = _centred(_ln(cells.speed_rpm)), _centred(_ln(cells.p_manifold_pa))
        groups += [
            build.slope(k, p, U_BREATHING_SLOPE),
            build.slope(k, n * p, U_BREATHING_BEND),
            build.slope(k, p**2, U_BREATHING_BEND),
        ]
        estimated = bool(np.isfinite(cells.t_inlet_k).all())
        mean, u = INLET_SLOPE if estimated else TEMPERATURE_SLOPE
        t = cells.t_inlet_k if estimated else cells.t_charge_k
        groups.append(build.slope(k, _ln(t), u, mean))
    else:
        groups.append(build.slope(k, cells.ln_maf, U_FUEL_SLOPE))
    if route == fuel_lambda.METHOD:
        ln_lambda = _ln(cells.lambda_)
        ln_fuel = cells.ln_maf - ln_lambda - np.log(cells.speed_rpm)
        groups += [
            build.slope(k, np.exp(_middle(ln_fuel) - ln_fuel), U_SMALL_FUEL),
            build.slope(k, ln_lambda, U_LEAN_LAMBDA),
        ]
    if route == brake_power.METHOD:
        groups.append(build.slope(k, _ln(cells.lambda_), U_EFFICIENCY_SLOPE))
    return groups


def _speed_curve(build: _Builder, k: int) -> Group:
    ln_speed = np.log(build.cells.speed_rpm)
    low, high = float(np.min(ln_speed)), float(np.max(ln_speed))
    basis = basis_over(low, max(high, low + 0.05), SPEED_KNOT_STEP)
    return build.on_route(k, basis.design(ln_speed), process_precision(basis, U_CURVE))


def _between(build: _Builder, seen: Observed, budget: RouteBudget) -> list[Group]:
    after = seen.after
    covariance = budget.covariance("between")
    groups = [build.per_route(after, covariance, Scale.BETWEEN)]
    curve = seen.basis.design(seen.cells.ln_maf) * after[:, None]
    for k in range(build.n_routes):
        bend = max(BETWEEN_BEND * float(np.sqrt(covariance[k, k])), 2e-4)
        groups.append(build.on_route(k, curve, process_precision(seen.basis, bend)))
    return groups


def _runs(build: _Builder, budget: RouteBudget) -> list[Group]:
    covariance = budget.covariance("run")
    axes = (build.cells.ln_maf, np.log(build.cells.speed_rpm))
    leaning = np.array([_leaning(build.cells, k, covariance[k, k]) for k in range(build.n_routes)])
    lean_covariance = DRIFT_SHARE**2 * covariance * np.outer(leaning, leaning)
    groups = []
    for run in np.unique(build.cells.run):
        here = (build.cells.run == run).astype(np.float64)
        groups.append(replace(build.per_route(here, covariance, Scale.RUN), run=int(run)))
        # Bends within a run say nothing of how well runs repeat, so no common factor scales them.
        for axis in axes:
            lean = here * (axis - float(np.mean(axis[here > 0.0])))
            groups.append(build.per_route(lean, lean_covariance))
        groups.append(build.on_all(here * build.cells.rate_ps, U_LAG_S))
    return groups


def _leaning(cells: Cells, k: int, variance: float) -> float:
    """Return how much more the repeats of a pull lean over speed than declared, at least 1."""
    y, x = cells.residual[k], np.log(cells.speed_rpm)
    use = (cells.kind == Kind.PULL) & np.isfinite(y)
    state = np.round(x / SPEED_STEP).astype(np.int64)
    total, degrees = 0.0, 0
    for after in (False, True):
        own = use & (cells.after == after)
        alike, runs = np.unique(state[own]), np.unique(cells.run[own])
        if runs.size < 2 or alike.size < 3:
            continue
        apart = y.copy()
        for at in alike:
            here = own & (state == at)
            apart[here] -= float(np.mean(y[here]))
        for run in runs:
            here = own & (cells.run == run)
            from_mean = x[here] - float(np.mean(x[here]))
            spread = float(from_mean @ from_mean)
            if here.sum() < 3 or spread <= 0.0:
                continue
            noise = float(np.mean(cells.u_noise[k][here] ** 2)) / spread
            slope = float(from_mean @ apart[here]) / spread
            total += max(slope**2 - noise, 0.0) / (DRIFT_SHARE**2 * variance)
        degrees += runs.size - 1
    if not degrees:
        return 1.0
    return float(np.sqrt(max(1.0, (DRIFT_DOF + total) / (DRIFT_DOF + degrees))))


def _apart(build: _Builder) -> list[Group]:
    """Return what idle and overrun have of their own on each route."""
    cells = build.cells
    eye = np.eye(build.n_routes)
    groups = []
    for kind in (Kind.IDLE, Kind.OVERRUN):
        here = (cells.kind == kind).astype(np.float64)
        if not here.any() or here.all():
            continue
        groups.append(build.per_route(here, U_APART_LEVEL**2 * eye))
        if cells.after.any() and not cells.after.all():
            own = here * cells.after
            groups.append(build.per_route(own, U_APART_BETWEEN**2 * eye))
        for run in np.unique(cells.run[here > 0.0]):
            own = here * (cells.run == run)
            groups.append(build.per_route(own, U_APART_RUN**2 * eye))
    return groups


def _rest_groups(build: _Builder) -> list[Group]:
    rest = build.rest
    groups = []
    for kind in RestKind:
        here = (rest.kind == kind).astype(np.float64)
        if not here.any():
            continue
        u_level, u_between, u_run = kind.sizes
        runs = np.unique(rest.run[here > 0.0])
        own = here[:, None] * (rest.run[:, None] == runs)
        if u_level:
            groups.append(build.on_rest(here[:, None], u_level))
        if u_between and np.any(rest.after) and np.any(~rest.after):
            groups.append(build.on_rest((here * rest.after)[:, None], u_between))
        if u_run:
            groups.append(build.on_rest(own, u_run))
    return groups


def stack(groups: Sequence[Group]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the columns of all groups side by side, on cells and at rest, and prior means."""
    cells = np.concatenate([g.cells for g in groups], axis=2)
    rest = np.concatenate([g.rest for g in groups], axis=1)
    mean = np.concatenate([np.full(g.precision.shape[0], g.mean) for g in groups])
    return cells, rest, mean
