"""Drift with run order: in the design where the order can tell it from the intake."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.evidence.change import Design, design_from
from airsense.evidence.scatter import residual_degrees, residuals
from airsense.evidence.student import COVERAGE, single
from airsense.results import Interval

FloatArray = NDArray[np.float64]

# A covariate that multiplies the variance of a change by more than this is told from the intake
# only by what little the order varies within one configuration. Our choice: first all of one,
# then all of the other gives 4 or more; any A-B-A or alternating order less than 2.
MAX_INFLATION = 3.0
MIN_RESIDUAL_DOF = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedDesign:
    """The design of one pair within a campaign.

    `inflation` is the variance of the change with drift in the model over that without; infinite
    where the repeats leave nothing to estimate drift from. `adjusted` says that it is in.
    """

    design: Design
    adjusted: bool
    inflation: float


def design_of_pair(
    cell: NDArray[np.intp],
    order: FloatArray | None,
    *,
    before: int,
    after: int,
    drifts: bool = False,
) -> OrderedDesign:
    """Return the least-squares design of one pair from all runs of a campaign.

    Parameters
    ----------
    cell : ndarray of int, shape (n_runs,)
        Which configuration (intake at a tune) each run shows, from 0.
    order : ndarray, shape (n_runs,), optional
        When each run was made, in any unit that drift may be linear in.
    before, after : int
        The two configurations.
    drifts : bool
        Whether a drift is seen: then it is in the model at any price in width, since a narrow
        interval around a drifted change would be wrong.
    """
    plain = _indicators(cell)
    contrast = np.zeros(plain.shape[1])
    contrast[before], contrast[after] = -1.0, 1.0
    without = design_from(plain, contrast)
    if order is None or not _estimable(plain, order):
        return OrderedDesign(design=without, adjusted=False, inflation=float("inf"))
    matrix = np.column_stack([plain, _scaled(order)])
    drifting = design_from(matrix, np.append(contrast, 0.0))
    inflation = drifting.run_weight / without.run_weight
    adjusted = drifts or inflation <= MAX_INFLATION
    return OrderedDesign(
        design=drifting if adjusted else without, adjusted=adjusted, inflation=inflation
    )


def drift_per_run(
    run_means: FloatArray, cell: NDArray[np.intp], order: FloatArray
) -> Interval | None:
    """Return the drift with order as a fraction per unit of order; None if it cannot be told.

    Parameters
    ----------
    run_means : ndarray, shape (n_runs,)
        Logarithm of a flow, mean over the window.
    cell, order
        As for `design_of_pair`.
    """
    plain = _indicators(cell)
    if not _estimable(plain, order):
        return None
    slope = residuals(order[:, None], plain)[:, 0]
    weight = slope / float(slope @ slope)
    matrix = np.column_stack([plain, _scaled(order)])
    dof = residual_degrees(matrix)
    left = residuals(run_means[:, None], matrix)[:, 0]
    u = float(np.sqrt(left @ left / dof * (weight @ weight)))
    return single(float(weight @ run_means), u, float(dof)).interval(COVERAGE)


def _indicators(cell: NDArray[np.intp]) -> FloatArray:
    return np.asarray(np.eye(int(cell.max()) + 1)[cell], dtype=np.float64)


def _scaled(order: FloatArray) -> FloatArray:
    """Return the order centred and of unit span, so that the design is well conditioned."""
    return np.asarray((order - order.mean()) / max(float(np.ptp(order)), 1e-12))


def _estimable(plain: FloatArray, order: FloatArray) -> bool:
    """Whether order varies within a configuration, with a repeat to spare."""
    matrix = np.column_stack([plain, _scaled(order)])
    more = int(np.linalg.matrix_rank(matrix)) > int(np.linalg.matrix_rank(plain))
    return more and residual_degrees(matrix) >= MIN_RESIDUAL_DOF
