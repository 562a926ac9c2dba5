"""The normal equations of all observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.evidence.cells import Cells
from airsense.evidence.rest import Rest

# What a run, and all runs of a configuration alike, have of their own at one state beside what the
# model knows (k = 1): however long a state is driven, it tells no more. Our choice.
U_STATE_RUN, U_STATE_CONFIGURATION = 0.003, 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """X'WX and X'Wy of all columns, and y'Wy."""

    xwx: FloatArray
    xwy: FloatArray
    ywy: float


def normal_equations(
    x_cells: FloatArray, x_rest: FloatArray, mean: FloatArray, cells: Cells, rest: Rest
) -> Normal:
    """Return the normal equations of the coefficients less their prior `mean`.

    Routes share the noise of the sensor in a cell: k routes of correlation r are worth
    k / (1 + (k-1) r), with r = 1/2 for sensors and routes of like noise (our choice).
    """
    size = x_cells.shape[2]
    xwx, xwy, ywy = np.zeros((size, size)), np.zeros(size), 0.0
    number = np.isfinite(cells.residual).sum(axis=0)
    shared = 1.0 + 0.5 * np.maximum(number - 1, 0)
    own = U_STATE_RUN**2 + U_STATE_CONFIGURATION**2 * _runs_alike(cells)
    for k in range(len(cells.routes)):
        y = cells.residual[k] - x_cells[k] @ mean
        use = np.isfinite(y)
        x, y = x_cells[k][use], y[use]
        weight = 1.0 / ((cells.u_noise[k][use] ** 2 + own[use]) * shared[use])
        weighted = weight[:, None] * x
        xwx += weighted.T @ x
        xwy += weighted.T @ y
        ywy += float(weight @ y**2)
    if rest.size:
        weight = 1.0 / np.maximum(rest.u_noise, 1e-4) ** 2
        weighted = weight[:, None] * x_rest
        xwx += weighted.T @ x_rest
        xwy += weighted.T @ rest.value
        ywy += float(weight @ rest.value**2)
    return Normal(xwx=xwx, xwy=xwy, ywy=ywy)


def _runs_alike(cells: Cells) -> FloatArray:
    """Return how many runs of its configuration each cell stands beside."""
    per = np.array([np.unique(cells.run[cells.after == a]).size for a in (False, True)])
    return np.asarray(per[cells.after.astype(np.int64)], dtype=np.float64)
