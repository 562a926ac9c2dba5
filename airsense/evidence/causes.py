"""Posterior odds of the causes, and which of them the data at hand cannot tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from airsense.evidence.inference import Posterior
from airsense.evidence.priors import Cause
from airsense.evidence.reconcile import RouteTests
from airsense.evidence.student import COVERAGE
from airsense.evidence.verdict import LIVE_FAULT, Doubt
from airsense.results import Interval

# Below a Bayes factor of ten the data do not tell two causes apart.
SEPARATING_LOG_FACTOR = float(np.log(10.0))
# A cause whose own likelihood is this far below the best single cause is excluded by the data.
EXCLUDED_LOG_FACTOR = float(np.log(100.0))
# Routes that differ by more than chance allows at this level contradict each other.
DISAGREEMENT_LEVEL = 0.01
# A cause that may be at work alone with this probability is open.
OPEN_PROBABILITY = 0.05
CLEAR_PROBABILITY = 0.9
SHOWN_PROBABILITY = 0.002
LIKELY_LEAK = 0.5
_LEAKS = {
    Cause.LEAK_AFTER_COMPRESSOR: "a leak after the compressor",
    Cause.LEAK_BEFORE_COMPRESSOR: "a leak before the compressor",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseResult:
    """One cause: posterior probability, size if it is at work, and its look-alikes."""

    cause: Cause
    probability: float
    size: Interval | None
    not_separable_from: tuple[Cause, ...]


def leak_sentence(causes: Sequence[CauseResult]) -> str:
    """Return what is said of air that neither the engine nor the sensor accounts for, or ""."""
    found = next((c for c in causes if c.cause in _LEAKS), None)
    if found is None or found.probability < LIKELY_LEAK:
        return ""
    likely = "> 99 %" if found.probability > 0.99 else f"{100.0 * found.probability:.0f} %"
    return f" What is left over is most likely {_LEAKS[found.cause]} (probability {likely})."


def doubt_about(posterior: Posterior, tests: RouteTests) -> Doubt:
    """Return what speaks against taking the posterior at its word.

    Parameters
    ----------
    posterior : Posterior
        The weighed hypotheses.
    tests : RouteTests
        How the routes stand against each other.
    """
    faults = {f.hypothesis.fault for f in posterior.fits} - {Cause.NONE}
    suspect = max((posterior.probability(f) for f in faults), default=0.0)
    contradicted = tests.probability < DISAGREEMENT_LEVEL
    return Doubt(
        unexplained=contradicted and suspect < CLEAR_PROBABILITY,
        unsupported=tests.dof == 0 or posterior.probability_of_no_fault() < 1.0 - LIVE_FAULT,
    )


def rank_causes(posterior: Posterior) -> tuple[CauseResult, ...]:
    """Return the causes, most probable first, each with those that it cannot be told from."""
    likelihood = _single_cause_likelihood(posterior)
    causes = list(likelihood)
    at_work = np.array([[c in f.hypothesis.causes for f in posterior.fits] for c in causes])
    probability = at_work @ posterior.weights
    # Probability that the cause of the row is at work and that of the column is not.
    without = (at_work * posterior.weights) @ ~at_work.T
    open_both = np.minimum(without, without.T) > OPEN_PROBABILITY
    own = np.array([likelihood[c] for c in causes])
    alive = own > own.max() - EXCLUDED_LOG_FACTOR
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
    value, u = float(fit.sizes[index]), posterior.inflation * float(fit.u_sizes[index])
    half = u * float(stdtrit(posterior.dof, 0.5 * (1.0 + COVERAGE)))
    return Interval(value, value - half, value + half)
