"""How far the reading lies off the true flow, before and after a correction."""

from __future__ import annotations

import numpy as np

from airsense.arrays import FloatArray
from airsense.evidence.cells import CHARGE_STEP, SPEED_STEP, Cells


def disagreement(cells: Cells, ln_correction: FloatArray) -> tuple[float, float]:
    """Return the root mean square of ln(true / indicated) with the old table and a corrected one.

    Parameters
    ----------
    cells : Cells
        Each route's own error is what the baseline shows at states nearby; without a baseline,
        nothing is taken off.
    ln_correction : ndarray, shape (m,)
        At each cell.
    """
    known = np.asarray(np.isfinite(cells.ln_route).any(axis=0))
    cells = cells.pick(known)
    own = cells.residual
    base = np.isfinite(own) & ~cells.after
    charge = cells.ln_maf - np.log(cells.speed_rpm)
    apart = (np.subtract.outer(np.log(cells.speed_rpm), np.log(cells.speed_rpm)) / SPEED_STEP) ** 2
    apart += (np.subtract.outer(charge, charge) / CHARGE_STEP) ** 2
    near = np.exp(-0.5 * np.minimum(apart, 60.0))
    usual = np.zeros_like(own)
    for k, here in enumerate(base):
        if here.any():
            weight = near[:, here]
            usual[k] = weight @ own[k, here] / weight.sum(axis=1)
    left = np.nan_to_num(own - usual, nan=0.0).sum(axis=0) / np.isfinite(own).sum(axis=0)
    left, length = -left[cells.after], cells.length_s[cells.after]
    after = left - ln_correction[known][cells.after]
    before, rest = (float(np.sqrt(length @ x**2 / length.sum())) for x in (left, after))
    return before, rest
