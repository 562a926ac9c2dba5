"""With one route only: did the reading change, or only the route?

If the sensor shows the same flow at the same speed as before, and only the route moved, then the
sensor's error would have to cancel a change of the air exactly. A fault of the route is simpler.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.transfer.basis import basis_over
from airsense.transfer.samples import Blocks

MIN_SCALE_LN = 0.04
STEADY_SHARE = 0.25
STEADY_LN = 0.012
# Scatter of ln(flow) at one speed beyond which the runs are no repeats of one sweep.
MAX_SCATTER_LN = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingChange:
    """ln of the present reading over the baseline's at the same engine speed, and its scatter."""

    change_ln: float
    scatter_ln: float

    def leaves_it_to_the_route(self, ln_correction: float) -> bool:
        """Return whether the reading stood still while the route moved."""
        limit = max(STEADY_LN, STEADY_SHARE * abs(ln_correction))
        return (
            self.scatter_ln < MAX_SCATTER_LN
            and abs(ln_correction) > MIN_SCALE_LN
            and abs(self.change_ln) < limit
        )


def reading_change(blocks: Blocks) -> ReadingChange | None:
    """Compare the readings at the same speed; None without a baseline."""
    present = blocks.present
    if not np.any(present) or np.all(present):
        return None
    ln_speed = np.log(blocks.speed_rpm)
    low = max(float(np.min(ln_speed[present])), float(np.min(ln_speed[~present])))
    high = min(float(np.max(ln_speed[present])), float(np.max(ln_speed[~present])))
    inside = (ln_speed >= low) & (ln_speed <= high)
    if high <= low or np.count_nonzero(inside & present) < 3:
        return None
    curve = basis_over(low, high).design(ln_speed[inside])
    columns = np.column_stack([curve, present[inside].astype(np.float64)])
    solution, *_ = np.linalg.lstsq(columns, blocks.axis[inside], rcond=None)
    left = blocks.axis[inside] - columns @ solution
    return ReadingChange(change_ln=float(solution[-1]), scatter_ln=float(np.std(left)))
