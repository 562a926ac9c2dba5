"""A window of engine speed that was asked for has to hold something that was driven."""

from __future__ import annotations

import numpy as np

from airsense.errors import InputError
from airsense.evidence.cells import Cells


def require_driven(cells: Cells, rpm: tuple[float, float] | None) -> None:
    """Refuse a window in which nothing was driven.

    Raises
    ------
    InputError
        With the speeds that the logs hold.
    """
    speed = cells.speed_rpm
    if rpm is None or not speed.size or np.any((speed >= rpm[0]) & (speed <= rpm[1])):
        return
    raise InputError(
        "no window of engine speed: nothing was driven in the one asked for",
        where="--rpm",
        got=f"{rpm[0]:g} to {rpm[1]:g} rpm",
        allowed=f"a part of {speed.min():.0f} to {speed.max():.0f} rpm, which the logs hold",
        fix="widen the window, or leave --rpm out",
    )
