"""Drift with run order: how much of a change it may be, and whether the order can tell.

The level of a run in its session is

    y = configuration + session + b (order - mean order) + w (place in its block) + e         (1)

`b` drifts on through a session (the test cell warms up, fuel and oil with it); `w` builds up from
pull to pull and is gone after a swap (heat soak). Both have priors, so that an order that cannot
tell them from the configuration leaves the doubt in the answer instead of a guess.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray, IntArray

# Drift of an engine's air from one pull to the next (k = 1): 0.1 % that stays over a swap, 0.2 %
# that a swap lets cool down; between two sessions 0.5 %. Our choice, from common practice.
U_DRIFT_RUN, U_SOAK_RUN, U_SESSION = 0.001, 0.002, 0.005
# Engines without a proper charge cooler soak several times as much: a tail of the prior.
SCALES, SCALE_PRIOR = (1.0, 2.0, 4.0, 8.0), (0.60, 0.25, 0.10, 0.05)
# An order tells drift from the configuration where perfect readings would leave less than this
# share of the drift's prior, or where both configurations stand at one mean place.
MOST_LEFT, SAME_PLACE = 0.5, 0.5
# Wide against any change of a configuration.
WIDE = 1.0
PERFECT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """How some runs were laid out; arrays of shape (n_runs,).

    `cell` numbers the configuration, `session` the session, from 0; `order` is the place in time.
    """

    cell: IntArray
    session: IntArray
    order: FloatArray

    def blocks(self) -> FloatArray:
        """Return the place of each run in its block: runs in a row of one configuration."""
        place = np.zeros(self.cell.size)
        rows = np.lexsort((self.order, self.session))
        for last, k in itertools.pairwise(rows):
            same = (self.cell[k], self.session[k]) == (self.cell[last], self.session[last])
            place[k] = place[last] + 1.0 if same else 0.0
        return place

    def columns(self) -> FloatArray:
        """Return the columns of what is not the configuration, (n_runs, 2 n_sessions + 1)."""
        member = np.eye(int(self.session.max()) + 1)[self.session]
        middle = (member * self.order[:, None]).sum(axis=0) / member.sum(axis=0)
        along = member * (self.order - middle[self.session])[:, None]
        return np.column_stack([member, along, self.blocks()])

    def prior_u(self, scale: float = 1.0) -> FloatArray:
        """Return the prior standard uncertainty of each column's size."""
        count = int(self.session.max()) + 1
        own = [U_SESSION] * count + [scale * U_DRIFT_RUN] * count + [scale * U_SOAK_RUN]
        return np.asarray(own)


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderDrift:
    """What in ln(after/before) of a pair is drift and scatter of its runs, by model (1).

    The measured change less `value` is that of the configurations, with the standard uncertainty
    `u` (k = 1) and `dof`: less than the plain scatter where the order shows the drift, more where
    it cannot tell. `told` says which; `slope` and `u_slope` are the drift from run to run within a
    block, as a fraction.
    """

    value: float
    u: float
    dof: float
    told: bool
    slope: float
    u_slope: float


def drift_in_change(
    levels: FloatArray, laid: Laid, weights: FloatArray, *, run: float, dof: float
) -> OrderDrift:
    """Return how much of a change of configurations is drift.

    Parameters
    ----------
    levels : ndarray, shape (n_flows, n_runs)
        ln(flow) of every run, the mean over one window: indicated air first, then each route. All
        see the engine's drift alike, so that what they disagree in widens the answer.
    laid : Laid
    weights : ndarray, shape (n_runs,)
        Those that make the change out of the levels; they add to zero.
    run, dof : float
        Declared run-to-run scatter and its degrees of freedom; the repeats update it.
    """
    columns = laid.columns()
    lever = np.asarray(weights @ columns)
    step = np.zeros(lever.size)
    step[-1] = 1.0
    step[laid.session.max() + 1 : -1] = 1.0 / (laid.session.max() + 1)
    changes, steps, degrees = [], [], []
    for row in levels:
        s, own = _scatter(row, laid, columns, run, dof)
        changes.append(_sizes(row, laid, _Wanted(columns, lever, weights), s))
        steps.append(_sizes(row, laid, _Wanted(columns, step, 0.0 * weights), s))
        degrees.append(own)
    value, apart = _together(changes)
    slope, slopes_apart = _together(steps)
    u_slope = float(np.hypot(steps[0][1], slopes_apart))
    return OrderDrift(
        value=value,
        u=float(np.hypot(changes[0][1], apart)),
        dof=float(degrees[0]),
        told=tells_drift(laid, weights),
        slope=slope,
        u_slope=u_slope,
    )


def tells_drift(laid: Laid, weights: FloatArray) -> bool:
    """Return whether an order tells drift from the configuration in a change.

    It does not where no session holds both configurations, not where the configurations follow
    each other in blocks (what a swap lets cool down cannot be told from what goes on), and not
    where drift would have to be followed farther than either configuration reaches.
    """
    if not _shares_session(laid, weights):
        return False
    columns = laid.columns()
    lever = np.asarray(weights @ columns)
    count = int(laid.session.max()) + 1
    lever[:count] = 0.0
    gap = float(np.abs(lever[count:-1]).sum())
    if gap <= SAME_PLACE:
        return True
    if gap > max(_reach(laid, sign * weights) for sign in (1.0, -1.0)):
        return False
    wanted = _Wanted(columns, lever, np.zeros(laid.cell.size))
    _, u, _ = _posterior(np.zeros(laid.cell.size), laid, wanted, PERFECT, 1.0)
    return u <= MOST_LEFT * U_DRIFT_RUN * gap


def _shares_session(laid: Laid, weights: FloatArray) -> bool:
    used = [set(laid.session[sign * weights > 0.0].tolist()) for sign in (1, -1)]
    return bool(used[0] & used[1])


def _reach(laid: Laid, weights: FloatArray) -> float:
    """Return over how many runs the runs of positive weight are spread within their sessions."""
    own = weights > 0.0
    orders = [laid.order[own & (laid.session == k)] for k in np.unique(laid.session[own])]
    return float(max(np.ptp(order) for order in orders))


def _scatter(
    row: FloatArray, laid: Laid, columns: FloatArray, run: float, dof: float
) -> tuple[float, float]:
    """Return the run-to-run scatter with its degrees of freedom."""
    matrix = np.column_stack([np.eye(int(laid.cell.max()) + 1)[laid.cell], columns])
    fitted, _, rank, _ = np.linalg.lstsq(matrix, row, rcond=1e-10)
    left = row - matrix @ fitted
    free = row.size - int(rank)
    return float(np.sqrt((dof * run**2 + left @ left) / (dof + free))), dof + free


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A combination of sizes (by `lever`) and of the runs' own scatter (by `weights`)."""

    columns: FloatArray
    lever: FloatArray
    weights: FloatArray


def _sizes(row: FloatArray, laid: Laid, wanted: _Wanted, s: float) -> tuple[float, float]:
    """Return mean and standard uncertainty of what is wanted, over the prior's tail."""
    rows = [_posterior(row, laid, wanted, s, scale) for scale in SCALES]
    log_weight = np.log(SCALE_PRIOR) + np.array([r[2] for r in rows])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ [r[0] for r in rows])
    variance = float(weight @ [r[1] ** 2 + (r[0] - mean) ** 2 for r in rows])
    return mean, float(np.sqrt(variance))


def _posterior(
    row: FloatArray, laid: Laid, wanted: _Wanted, s: float, scale: float
) -> tuple[float, float, float]:
    """Return mean, standard uncertainty and log evidence, in closed form."""
    member = np.eye(int(laid.cell.max()) + 1)[laid.cell]
    prior = laid.prior_u(scale) ** 2
    columns = wanted.columns
    covariance = (
        s**2 * np.eye(row.size) + WIDE**2 * member @ member.T + (columns * prior) @ columns.T
    )
    shared = columns @ (prior * wanted.lever) + s**2 * wanted.weights
    own = float(prior @ wanted.lever**2) + s**2 * float(wanted.weights @ wanted.weights)
    factor = np.linalg.cholesky(covariance)
    y = np.linalg.solve(factor, row - row.mean())
    x = np.linalg.solve(factor, shared)
    evidence = -0.5 * float(y @ y) - float(np.log(np.diag(factor)).sum())
    return float(x @ y), float(np.sqrt(max(own - float(x @ x), 0.0))), evidence


def _together(found: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean of what flows say of one thing, and how far they are apart.

    Their scatter is mostly the engine's own and so the same in all: it does not average.
    """
    value, u = np.array(found).T
    weight = 1.0 / np.maximum(u, 1e-9) ** 2
    weight /= weight.sum()
    mean = float(weight @ value)
    return mean, float(np.sqrt(weight @ (value - mean) ** 2))
