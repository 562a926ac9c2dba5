"""What to measure next where one configuration's level is open, from the routes' budget."""

from __future__ import annotations

import numpy as np

from airsense.evidence.budget import LEAST_SHARE, Part, RouteBudget
from airsense.evidence.level import CheckVerdict, Level
from airsense.evidence.level_routes import Recirculation
from airsense.evidence.next_measurement import CHEAP, COSTS, DEAR, FREE, WORTH, NextMeasurement
from airsense.evidence.rest import Rest, RestKind
from airsense.jobs.comparison.result import BudgetRow


def _proposal(key: str, cost: str, measurement: str, reason: str) -> NextMeasurement:
    return NextMeasurement(
        key=key, cost=cost, measurement=measurement, reason=reason, toml="", worth=float("nan")
    )


UNDER_LOAD = _proposal(
    "drive_under_load",
    FREE,
    "Log full-load pulls, steady holds under load, or half an hour of brisk driving, with the "
    "ignition on for five seconds before the start.",
    "nothing under load could be held against a route",
)
RECIRCULATION = _proposal(
    "recirculation",
    CHEAP,
    "Log the recirculation rate or the valve's position, or shut the valve for the test where law "
    "and engine allow it.",
    "recirculated gas fills the cylinders but does not pass the sensor",
)
SECOND_ROUTE = _proposal(
    "lambda_sensor",
    DEAR,
    "Fit a wide-band lambda sensor in the exhaust and log it together with the fuel quantity.",
    "fuel x lambda is a second route to the air, with errors of its own",
)
# What each component of the budget would be measured with.
_BY_PART = {
    "manifold_pressure": _proposal(
        "still_seconds",
        FREE,
        "Switch the ignition on and log five seconds before the engine is started, with a "
        "barometer reading. The pressure sensor then has to show the barometer.",
        "the level of speed density follows the pressure sensor",
    ),
    "charge_temperature": _proposal(
        "charge_thermometer",
        CHEAP,
        "Log the charge temperature behind the cooler, and hold a thermometer beside the sensor "
        "once.",
        "the level of speed density follows the charge temperature",
    ),
    "volumetric_efficiency": _proposal(
        "volumetric_efficiency",
        DEAR,
        "Measure the engine's volumetric efficiency with a sensor that is known to be sound, and "
        "declare it, or fit a wide-band lambda sensor and log it together with the fuel quantity.",
        "what the engine breathes at one manifold state is known to about 5 %",
    ),
    "fuel": _proposal(
        "fuel_by_weight",
        DEAR,
        "Weigh the fuel over a long steady hold and compare it with the logged fuel.",
        "commanded fuel is not measured fuel",
    ),
    "lambda": _proposal(
        "lambda_reference",
        DEAR,
        "Compare lambda with a second analyser on a steady hold.",
        "one lambda sensor cannot vouch for itself",
    ),
}


def level_budget(budget: RouteBudget, runs: int) -> tuple[BudgetRow, ...]:
    """Return what the level rests on, largest first, for the best weights of the routes."""
    weights = _best(budget)
    rows = [(part, _variances(part, weights, runs)) for part in budget.parts]
    total = sum(common + own for _, (common, own) in rows)
    shown = [
        BudgetRow(label=part.label, u=float(np.sqrt(common + own)), averages_over_runs=own > common)
        for part, (common, own) in rows
        if common + own >= LEAST_SHARE * total
    ]
    return tuple(sorted(shown, key=lambda r: -r.u))


def _best(budget: RouteBudget) -> np.ndarray:
    inverse = np.linalg.inv(budget.covariance("absolute") + budget.covariance("run"))
    return np.asarray(inverse.sum(axis=0) / inverse.sum())


def _variances(part: Part, weights: np.ndarray, runs: int) -> tuple[float, float]:
    """Return the variance that all runs share, and that which their number takes down."""
    moved = float(weights @ part.sensitivity) ** 2
    return moved * (part.absolute**2 + part.between**2), moved * part.run**2 / max(runs, 1)


def propose_for_level(
    level: Level, budget: RouteBudget, rest: Rest, *, recirculation: Recirculation, runs: int
) -> NextMeasurement:
    """Return the one measurement that settles most for its cost."""
    if level.sensor_error is None:
        return UNDER_LOAD
    low = level.sensor_error.high < 0.0 and level.verdict is CheckVerdict.UNDETERMINED
    if low and recirculation is not Recirculation.EXCLUDED:
        return RECIRCULATION
    found = [c for c in _candidates(budget, runs) if c.worth >= WORTH[c.cost]]
    if rest.count(RestKind.STILL):
        found = [c for c in found if c.key != "still_seconds"]
    if not found:
        return SECOND_ROUTE
    return min(found, key=lambda m: (COSTS.index(m.cost), -m.worth))


def _candidates(budget: RouteBudget, runs: int) -> list[NextMeasurement]:
    weights = _best(budget)
    shares = {part.key: sum(_variances(part, weights, runs)) for part in budget.parts}
    total = sum(shares.values())
    return [
        NextMeasurement(
            key=known.key,
            cost=known.cost,
            measurement=known.measurement,
            reason=known.reason,
            toml=known.toml,
            worth=shares[key] / total,
        )
        for key, known in _BY_PART.items()
        if key in shares and total > 0.0
    ]
