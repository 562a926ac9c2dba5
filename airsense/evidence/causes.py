"""Posterior odds of the causes, and which of them the data at hand cannot tell apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.evidence.inference import Posterior
from airsense.evidence.priors import Cause
from airsense.results import Interval

# Below a Bayes factor of ten the data do not tell two causes apart.
SEPARATING_LOG_FACTOR = float(np.log(10.0))
# A cause whose own likelihood is this far below the best single cause is excluded by the data.
EXCLUDED_LOG_FACTOR = float(np.log(100.0))
# Routes that differ by more than chance allows at this level contradict each other.
DISAGREEMENT_LEVEL = 0.01
CLEAR_PROBABILITY = 0.9
SHOWN_PROBABILITY = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseResult:
    """One cause: posterior probability, size if it is at work, and its look-alikes."""

    cause: Cause
    probability: float
    size: Interval | None
    not_separable_from: tuple[Cause, ...]


def unexplained(posterior: Posterior, routes_agree: float) -> bool:
    """Return whether the routes contradict each other and no single fault is clearly behind it.

    Parameters
    ----------
    posterior : Posterior
        The weighed hypotheses.
    routes_agree : float
        Probability of a larger chi-square of the routes if all were sound.
    """
    if routes_agree >= DISAGREEMENT_LEVEL:
        return False
    faults = {f.hypothesis.fault for f in posterior.fits} - {Cause.NONE}
    return max((posterior.probability(f) for f in faults), default=0.0) < CLEAR_PROBABILITY


def rank_causes(posterior: Posterior) -> tuple[CauseResult, ...]:
    """Return the causes, most probable first, each with those that it cannot be told from."""
    likelihood = _single_cause_likelihood(posterior)
    best = max(likelihood.values())
    alive = {c: v for c, v in likelihood.items() if v > best - EXCLUDED_LOG_FACTOR}
    rows = []
    for cause in likelihood:
        probability = posterior.probability(cause)
        alike = tuple(
            other
            for other in alive
            if other is not cause
            and cause in alive
            and abs(alive[other] - alive[cause]) < SEPARATING_LOG_FACTOR
        )
        if probability >= SHOWN_PROBABILITY or alike:
            rows.append(
                CauseResult(
                    cause=cause,
                    probability=probability,
                    size=_size(posterior, cause),
                    not_separable_from=alike,
                )
            )
    return tuple(sorted(rows, key=lambda r: -r.probability))


def _single_cause_likelihood(posterior: Posterior) -> dict[Cause, float]:
    """Return each cause's own log likelihood: the best of the hypotheses where it acts alone."""
    found: dict[Cause, float] = {}
    for fit, value in zip(posterior.fits, posterior.log_likelihood, strict=True):
        if len(fit.hypothesis.causes) == 1:
            (cause,) = fit.hypothesis.causes
            found[cause] = max(float(value), found.get(cause, -np.inf))
    return found


def _size(posterior: Posterior, cause: Cause) -> Interval | None:
    """Return the size of a cause in its most probable hypothesis."""
    holding = [
        (w, f)
        for w, f in zip(posterior.weights, posterior.fits, strict=True)
        if cause in f.hypothesis.causes and f.sizes.size
    ]
    if not holding or cause is Cause.NONE:
        return None
    _, fit = max(holding, key=lambda pair: pair[0])
    index = fit.first_column(cause)
    u = 1.96 * float(fit.u_sizes[index])
    value = float(fit.sizes[index])
    return Interval(value, value - u, value + u)
