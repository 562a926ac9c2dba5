"""May the table be changed? Not where something else than the table may well be at work."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.cause import Cause
from airsense.evidence.posterior import Posterior
from airsense.evidence.priors import LEAK_CAUSES, PRESSURE_CAUSES, PriorTable
from airsense.evidence.verdict import LIVE
from airsense.transfer.correction import quantiles

# What no table mends, and what moves a route as a wrong table would: a table may not hide it.
BESIDE_TABLE: dict[str, tuple[Cause, ...]] = {
    "leak": LEAK_CAUSES,
    "pulsation": (Cause.PULSATION,),
    "pressure": PRESSURE_CAUSES,
    "temperature": (Cause.CHARGE_TEMPERATURE,),
    "recirculation": (Cause.RECIRCULATION,),
}
# A difference of the cells below this does not matter, however well it is known: our choice, half
# of the margin of a comparison.
MIN_MOVE_LN = 0.005


class Decision(Enum):
    """What to do with the table."""

    LEAVE_IT = "leave_it"
    CHANGE = "change"
    REFUSED = "refused"


class Model(Enum):
    """What the data support: one factor, or a correction that changes with flow."""

    SCALE = "scale"
    SHAPE = "shape"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Something beside the table that the data leave alive, and what it would change.

    `move` is the root mean square over the measured breakpoints of ln(correction) with it, less
    that without it; infinite where the data leave nothing without it.
    """

    name: str
    cause: Cause
    probability: float
    move: float
    refuses: bool


def causes_beside_the_table() -> tuple[Cause, ...]:
    """Return all causes that a table must not hide."""
    return tuple(cause for causes in BESIDE_TABLE.values() for cause in causes)


def table_alone(table: PriorTable) -> PriorTable:
    """Return the priors under which nothing beside the table can be at work, as the user swears."""
    return table.without(causes_beside_the_table())


def model_of(posterior: Posterior) -> Model:
    """Return whether one factor serves, or a bend is likelier."""
    bent = posterior.probability(Cause.SENSOR_SHAPE) >= 0.5
    return Model.SHAPE if bent else Model.SCALE


def doubts(posterior: Posterior, rows: FloatArray) -> tuple[Doubt, ...]:
    """Return what beside the table is alive, likeliest first.

    Parameters
    ----------
    posterior : Posterior
    rows : ndarray, shape (k, c)
        Corrections at the measured breakpoints.
    """
    other = posterior.with_causes(*causes_beside_the_table())
    alone = _weight(posterior, ~other)
    found = []
    for name, causes in BESIDE_TABLE.items():
        probability = posterior.probability(*causes)
        if probability < LIVE:
            continue
        own = _weight(posterior, posterior.with_causes(*causes))
        move, doubt = np.inf, 0.0
        if alone is not None and own is not None:
            move, doubt = _moved(posterior, rows, alone, own)
        found.append(
            Doubt(
                name=name,
                cause=max(causes, key=posterior.probability),
                probability=probability,
                move=move,
                refuses=move > max(doubt, MIN_MOVE_LN),
            )
        )
    return tuple(sorted(found, key=lambda d: (d.refuses, d.probability), reverse=True))


def _weight(posterior: Posterior, chosen: BoolArray) -> FloatArray | None:
    weight = posterior.draws.weight * chosen[posterior.draws.hypothesis]
    total = float(weight.sum())
    return weight / total if total > 0.0 else None


def _moved(
    posterior: Posterior, rows: FloatArray, alone: FloatArray, own: FloatArray
) -> tuple[float, float]:
    """Return how far the cells move, and their half-width without the cause; both rms."""
    moves, halves = [], []
    for row in rows:
        without, within = quantiles(posterior.draws.sizes @ row, [alone, own])
        moves.append(within[0] - without[0])
        spread = quantiles(posterior.draws.spread @ row, [alone])[0]
        halves.append(0.5 * (spread[2] - spread[1]))
    return _rms(moves), _rms(halves)


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))
