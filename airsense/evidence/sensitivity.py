"""How the verdict moves when the prior odds of the causes are halved or doubled."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.evidence.causes import doubt_about
from airsense.evidence.hypotheses import Conditions, hypotheses
from airsense.evidence.inference import Posterior
from airsense.evidence.reconcile import RouteTests
from airsense.evidence.verdict import Verdict, decide
from airsense.results import Interval

FACTORS = (0.5, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorRun:
    """The answer with all prior odds of a cause against none multiplied by `factor`."""

    factor: float
    verdict: Verdict
    airflow_change: Interval
    sensor_skew: Interval


def prior_sensitivity(
    posterior: Posterior, conditions: Conditions, margin: float, tests: RouteTests
) -> tuple[PriorRun, ...]:
    """Return the answers with halved and doubled prior odds."""
    rows = []
    for factor in FACTORS:
        moved = posterior.reweighed(hypotheses(conditions, factor))
        true, skew = moved.mixture("true"), moved.mixture("skew")
        rows.append(
            PriorRun(
                factor=factor,
                verdict=decide(true, skew, margin, doubt_about(moved, tests)),
                airflow_change=true.interval(),
                sensor_skew=skew.interval(),
            )
        )
    return tuple(rows)
