"""What each route says alone, whether the routes agree, and what the surplus rests on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import fdtrc

from airsense.estimates import maf
from airsense.evidence.arrays import FloatArray
from airsense.evidence.matched import DECLARED_DOF, Matched
from airsense.jobs.comparison.result import BudgetRow, EstimateRow
from airsense.jobs.observe import Observations

LEAST_SHARE = 0.001
WHY = "does not use the sensor under test"


def estimate_rows(seen: Observations, matched: Matched | None) -> tuple[EstimateRow, ...]:
    """Return one row a route, used or not, with its own change at matched full load."""
    rows = []
    for name, per_run in seen.estimates.items():
        change = surplus = None
        if matched is not None and _filled(matched, name):
            budget = per_run[0].budget
            change = matched.route(name, budget).interval()
            apart = matched.table.ln[maf.METHOD] - matched.table.ln[name]
            run = float(np.sqrt(sum((i.sensitivity * i.run) ** 2 for i in budget)))
            between = float(np.sqrt(sum((i.sensitivity * i.between) ** 2 for i in budget)))
            surplus = matched.change_of(
                apart,
                run=float(np.hypot(run, seen.sizes.mass_air_flow.run)),
                between=between,
                dof=DECLARED_DOF,
            ).interval()
        valid = bool(np.isfinite(seen.cells.ln_route[seen.cells.routes.index(name)]).any())
        rows.append(
            EstimateRow(
                method=name,
                change=change,
                surplus=surplus,
                used=valid,
                reason=WHY if valid else "valid in 0 % of the samples",
            )
        )
    unused = (
        EstimateRow(method=u.method, change=None, surplus=None, used=False, reason=u.reason)
        for u in seen.unused
    )
    return (*rows, *unused)


def _filled(matched: Matched, name: str) -> bool:
    ln = matched.table.ln[name][:, matched.filled]
    return bool(np.count_nonzero(np.isfinite(ln).all(axis=0)) >= 1)


def routes_agree(seen: Observations, matched: Matched | None) -> float | None:
    """Return the probability of a larger disagreement of sound routes; None with one route.

    Hotelling's T2 of the routes' changes against each other, with declared covariance of few
    degrees of freedom: an F test.
    """
    names = [n for n in seen.estimates if matched is not None and _filled(matched, n)]
    if matched is None or len(names) < 2:
        return None
    means = np.array([np.nanmean(matched.table.ln[n][:, matched.filled], axis=1) for n in names])
    if not np.isfinite(means).all():
        return None
    rows = [list(seen.estimates).index(n) for n in names]
    change = means @ matched.weights
    weight = float(np.sum(matched.weights**2))
    covariance = seen.budget.covariance("between") + weight * seen.budget.covariance("run")
    covariance = covariance[np.ix_(rows, rows)]
    contrast = np.column_stack([-np.ones(len(names) - 1), np.eye(len(names) - 1)])
    apart = contrast @ change
    t2 = float(apart @ np.linalg.solve(contrast @ covariance @ contrast.T, apart))
    count = len(names) - 1
    dof = DECLARED_DOF + max(matched.after.size - 2, 0)
    return float(fdtrc(count, dof, t2 / count))


def budget_rows(
    seen: Observations, numbers: Sequence[int], is_after: Sequence[bool]
) -> tuple[BudgetRow, ...]:
    """Return what the surplus rests on, largest first, for the best weights of the routes."""
    n_after = max(sum(is_after), 1)
    n_before = max(len(numbers) - n_after, 1)
    weight = 1.0 / n_before + 1.0 / n_after
    covariance = seen.budget.covariance("between") + weight * seen.budget.covariance("run")
    inverse = np.linalg.inv(covariance)
    best: FloatArray = inverse.sum(axis=0) / inverse.sum()
    rows = []
    for part in seen.budget.parts:
        moved = abs(float(best @ part.sensitivity))
        u = moved * float(np.sqrt(part.between**2 + weight * part.run**2))
        averages = weight * part.run**2 > part.between**2
        rows.append(BudgetRow(label=part.label, u=u, averages_over_runs=averages))
    total = sum(r.u**2 for r in rows)
    shown = [r for r in rows if r.u**2 >= LEAST_SHARE * total]
    return tuple(sorted(shown, key=lambda r: -r.u))
