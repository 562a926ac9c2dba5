"""Budgets of the routes as covariances: what they share is one error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate, Influence

# A smaller part of the variance is not worth a line.
LEAST_SHARE = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One component of a budget: how much it moves ln(MAF) - ln(route) of each route (k = 1)."""

    key: str
    label: str
    sensitivity: FloatArray
    absolute: float
    between: float
    run: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteBudget:
    """Components over the routes, largest first; sensitivities of shape (n_routes,)."""

    parts: tuple[Part, ...]

    def covariance(self, kind: str) -> FloatArray:
        """Return the covariance over the routes of `absolute`, `between` or `run`."""
        size = self.parts[0].sensitivity.size
        total = 1e-10 * np.eye(size)
        for part in self.parts:
            s = getattr(part, kind) * part.sensitivity
            total = total + np.outer(s, s)
        return total


def route_budget(estimates: Mapping[str, Sequence[Estimate]], sizes: Defaults) -> RouteBudget:
    """Return the joint budget of the routes and the sensor.

    Parameters
    ----------
    estimates : mapping of str to sequence of Estimate
        Per route, one estimate a run: each component is that of the run that is worst known.
    sizes : Defaults
        For the sensor under test, whose run-to-run error all rows share.
    """
    names = list(estimates)
    worst: dict[str, list[Influence | None]] = {}
    for row, name in enumerate(names):
        for item in (i for e in estimates[name] for i in e.budget):
            own = worst.setdefault(item.key, [None] * len(names))
            before = own[row]
            if before is None or item.total() > before.total():
                own[row] = item
    parts = [_part(key, rows) for key, rows in worst.items()]
    maf = sizes.mass_air_flow
    parts.append(
        Part(
            key="mass_air_flow",
            label=maf.label,
            sensitivity=np.ones(len(names)),
            absolute=0.0,
            between=0.0,
            run=maf.run,
        )
    )
    return RouteBudget(parts=tuple(sorted(parts, key=_size, reverse=True)))


def _part(key: str, rows: Sequence[Influence | None]) -> Part:
    known = [r for r in rows if r is not None]
    largest = max(known, key=lambda r: r.total())
    return Part(
        key=key,
        label=largest.label,
        sensitivity=np.array([0.0 if r is None else -r.sensitivity for r in rows]),
        absolute=max(r.absolute for r in known),
        between=max(r.between for r in known),
        run=max(r.run for r in known),
    )


def _size(part: Part) -> float:
    return float(np.hypot(part.between, part.run) * np.max(np.abs(part.sensitivity)))
