"""What each route says alone, whether the routes agree, and what the surplus rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from airsense.arrays import FloatArray
from airsense.estimates import maf
from airsense.evidence.budget import LEAST_SHARE
from airsense.evidence.matched import DECLARED_DOF, Matched
from airsense.evidence.reconcile import reconcile
from airsense.jobs.comparison.result import BudgetRow, EstimateRow
from airsense.jobs.observe import Observations

# Below this probability routes disagree: a test at one per cent.
AGREE_AT = 0.01
WHY = "does not use the sensor under test"


def estimate_rows(
    seen: Observations, matched: Matched | None, agreed: Agreement | None = None
) -> tuple[EstimateRow, ...]:
    """Return one row a route, used or not, with its own change at matched full load."""
    rows = []
    odd = () if agreed is None else agreed.apart
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
                reason=_reason(valid=valid, apart=name in odd),
            )
        )
    unused = (
        EstimateRow(method=u.method, change=None, surplus=None, used=False, reason=u.reason)
        for u in seen.unused
    )
    return (*rows, *unused)


def _reason(*, valid: bool, apart: bool) -> str:
    if not valid:
        return "valid in 0 % of the samples"
    return f"{WHY}; disagrees with the other routes" if apart else WHY


def _filled(matched: Matched, name: str) -> bool:
    ln = matched.table.ln[name][:, matched.filled]
    return bool(np.count_nonzero(np.isfinite(ln).all(axis=0)) >= 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Probability of a larger disagreement of sound routes, and the routes that stand apart.

    Of two that disagree, both are named: which of them is off cannot be told.
    """

    probability: float
    apart: tuple[str, ...] = ()


def agreement(seen: Observations, matched: Matched | None) -> Agreement | None:
    """Return whether the routes' changes agree; None with one route.

    The sum of squares that reconciliation leaves, with a declared covariance of few degrees of
    freedom: Hotelling's T2, an F test. The route of the largest measurement test is named.
    """
    names = [n for n in seen.estimates if matched is not None and _filled(matched, n)]
    if matched is None or len(names) < 2:
        return None
    means = np.array([np.nanmean(matched.table.ln[n][:, matched.filled], axis=1) for n in names])
    if not np.isfinite(means).all():
        return None
    rows = [list(seen.estimates).index(n) for n in names]
    weight = float(np.sum(matched.weights**2))
    covariance = seen.budget.covariance("between") + weight * seen.budget.covariance("run")
    contrast = np.column_stack([-np.ones(len(names) - 1), np.eye(len(names) - 1)])
    found = reconcile(means @ matched.weights, covariance[np.ix_(rows, rows)], contrast)
    dof = DECLARED_DOF + max(matched.after.size - 2, 0)
    probability = float(fdtrc(found.dof, dof, found.chi_square / found.dof))
    if probability >= AGREE_AT:
        return Agreement(probability=probability)
    size = np.abs(found.z)
    most = size >= size.max() * (1.0 - 1e-9)
    return Agreement(
        probability=probability, apart=tuple(n for n, m in zip(names, most, strict=True) if m)
    )


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
