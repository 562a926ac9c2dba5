"""The one further measurement that settles most for its cost.

A measurement shows a linear function of the causes' sizes with a noise of its own. What it is
worth is the share of the variance of the wanted quantity that it would take away, by regression
over the draws of the posterior. Free ones come before cheap, cheap before dear.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray

FREE, CHEAP, DEAR = "free", "cheap", "dear"
COSTS = (FREE, CHEAP, DEAR)
# Share of the variance that makes a measurement worth its cost: our choice.
WORTH = {FREE: 0.05, CHEAP: 0.10, DEAR: 0.15}


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMeasurement:
    """What to measure next; `toml` holds the lines to fill in and paste, empty if there are none.

    `worth` is the share of the variance of the open quantity that it is expected to take away.
    """

    key: str
    cost: str
    measurement: str
    reason: str
    toml: str
    worth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A measurement with what it would show in each draw, (n,), and its noise (k = 1)."""

    measurement: NextMeasurement
    shows: FloatArray
    u: float


def worth_of(shows: FloatArray, u: float, wanted: FloatArray, weight: FloatArray) -> float:
    """Return the share of the variance of `wanted` that a look at `shows` would take away.

    Parameters
    ----------
    shows, wanted, weight : ndarray, shape (n,)
        Draws and their weights, which sum to one.
    u : float
        Noise of the look.
    """
    x = shows - weight @ shows
    y = wanted - weight @ wanted
    total = float(weight @ y**2)
    seen = float(weight @ x**2) + u**2
    if total <= 0.0 or seen <= 0.0:
        return 0.0
    return float((weight @ (x * y)) ** 2 / (seen * total))


def propose(
    candidates: Sequence[Candidate], wanted: FloatArray, weight: FloatArray
) -> tuple[NextMeasurement, ...]:
    """Return the measurements that are worth it, cheapest first, of one cost the best first."""
    rows = []
    for c in candidates:
        worth = worth_of(c.shows, c.u, wanted, weight)
        m = c.measurement
        if worth >= WORTH[m.cost]:
            rows.append(
                NextMeasurement(
                    key=m.key,
                    cost=m.cost,
                    measurement=m.measurement,
                    reason=m.reason,
                    toml=m.toml,
                    worth=worth,
                )
            )
    return tuple(sorted(rows, key=lambda m: (COSTS.index(m.cost), -m.worth)))


def more_pulls(reason: str) -> NextMeasurement:
    """Return the proposal of more repeats."""
    return NextMeasurement(
        key="more_pulls",
        cost=FREE,
        measurement="Repeat the pulls, changing back and forth between the two intakes: one "
        "with the first, two with the second, one with the first again.",
        reason=reason,
        toml="",
        worth=float(np.nan),
    )
