"""Posterior probability of the causes, and which of them the data at hand cannot tell apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.evidence.posterior import Posterior
from airsense.evidence.verdict import TAILS, weighted_quantiles
from airsense.results import Interval

# Below a Bayes factor of ten the data do not tell two causes apart.
SEPARATING_LOG_FACTOR = float(np.log(10.0))
# A cause whose own likelihood is this far below the best single cause is excluded by the data.
EXCLUDED_LOG_FACTOR = float(np.log(100.0))
# A cause that may be at work alone with this probability is open.
OPEN_PROBABILITY = 0.05
SHOWN_PROBABILITY = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseResult:
    """One cause: posterior probability, size if it is at work, and its look-alikes.

    `size` is a fraction of the flow or, for a temperature, in kelvin.
    """

    cause: Cause
    probability: float
    size: Interval | None
    not_separable_from: tuple[Cause, ...]


def rank_causes(posterior: Posterior) -> tuple[CauseResult, ...]:
    """Return the causes, most probable first, each with those that it cannot be told from."""
    likelihood = _single_cause_likelihood(posterior)
    causes = list(likelihood)
    at_work = np.array([posterior.with_causes(c) for c in causes])
    probability = at_work @ posterior.weights
    # Probability that the cause of the row is at work and that of the column is not.
    without = (at_work * posterior.weights) @ ~at_work.T
    open_both = np.minimum(without, without.T) > OPEN_PROBABILITY
    own = np.array([likelihood[c] for c in causes])
    alive = own > posterior.ln_evidence.max() - EXCLUDED_LOG_FACTOR
    close = (np.abs(own[:, None] - own) < SEPARATING_LOG_FACTOR) & alive & alive[:, None]
    alike = (open_both | close) & ~np.eye(len(causes), dtype=bool)
    rows = [
        CauseResult(
            cause=cause,
            probability=float(probability[k]),
            size=_size(posterior, cause),
            not_separable_from=tuple(c for c, same in zip(causes, alike[k], strict=True) if same),
        )
        for k, cause in enumerate(causes)
        if probability[k] >= SHOWN_PROBABILITY or alike[k].any()
    ]
    return tuple(sorted(rows, key=lambda r: -r.probability))


def _single_cause_likelihood(posterior: Posterior) -> dict[Cause, float]:
    """Return each cause's own log likelihood: its forms averaged where it acts alone."""
    per: dict[Cause, list[tuple[float, float]]] = {}
    for h, value in zip(posterior.candidates, posterior.ln_evidence, strict=True):
        if len(h.causes) == 1:
            (cause,) = h.causes
            per.setdefault(cause, []).append((float(value), h.probability))
    return {cause: _mean_likelihood(np.array(rows)) for cause, rows in per.items()}


def _mean_likelihood(rows: FloatArray) -> float:
    share = rows[:, 1] / rows[:, 1].sum() if rows[:, 1].sum() > 0.0 else rows[:, 1]
    with np.errstate(divide="ignore"):
        return float(np.logaddexp.reduce(rows[:, 0] + np.log(share)))


SECOND = (Cause.MANIFOLD_PRESSURE_OFFSET, Cause.SENSOR_SCALE)


def _size(posterior: Posterior, cause: Cause) -> Interval | None:
    """Return the size of a cause where it is at work: its first column."""
    if cause is Cause.NONE:
        return None
    first = np.full(len(posterior.candidates), -1)
    for k, h in enumerate(posterior.candidates):
        side = next((s for s in (h.sensor, h.fault) if cause in s.causes), None)
        if side is not None and side.columns.size:
            # Of two that stand together the second one's column is the last.
            second = len(side.causes) > 1 and cause in SECOND
            first[k] = side.columns[-1 if second else 0]
    column = first[posterior.draws.hypothesis]
    here = column >= 0
    if not here.any():
        return None
    values = posterior.draws.sizes[np.flatnonzero(here), column[here]]
    middle, low, high = weighted_quantiles(values, posterior.draws.weight[here], TAILS)
    return Interval(float(middle), float(low), float(high))
