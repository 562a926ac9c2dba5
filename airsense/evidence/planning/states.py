"""The states of a planned test: one run's, repeated for each run of both configurations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.defaults import Defaults
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.design import U_APART_RUN
from airsense.evidence.normal import U_STATE_RUN
from airsense.evidence.rest import Rest

# Any seed, always the same.
SEED = 4_111


class PlannedQuantity(Enum):
    """What a test can be planned for."""

    AIRFLOW_CHANGE = "airflow_change"
    INDICATED_SURPLUS = "indicated_surplus"
    SENSOR_SKEW = "sensor_skew"
    BRAKE_POWER_CHANGE = "brake_power_change"


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """One run of the test: its states, its readings at rest, and what is known of its routes.

    `cells` and `rest` are those of one run, `u_noise` the noise of its samples alone; `run_factor`
    is what pilot runs show of run effects over their declared size, `indicated` the scatter of the
    indicated air from run to run and its degrees of freedom; `power` whether power is measured.
    """

    cells: Cells
    rest: Rest
    budget: RouteBudget
    sizes: Defaults
    run_factor: float = 1.0
    indicated: tuple[float, float] | None = None
    power: bool = True

    def can(self, quantity: PlannedQuantity) -> bool:
        """Whether the test says anything about a quantity."""
        if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
            return self.power
        return self.cells.size > 0


def synthetic(template: Template, runs: int, surplus_ln: float) -> tuple[Cells, Rest]:
    """Return the observations of a test: `runs` runs of each configuration.

    Parameters
    ----------
    template : Template
    runs : int
    surplus_ln : float
        ln(1 + surplus) of the reading in the second configuration.

    Notes
    -----
    Run effects and noise have their declared size and, over the runs of a configuration, a mean of
    zero: what is expected, neither lucky nor unlucky.
    """
    rng = np.random.default_rng(SEED)
    own = template.cells
    covariance = template.run_factor**2 * template.budget.covariance("run")
    root = np.linalg.cholesky(covariance)
    idle = ~own.laden
    parts, rests = [], []
    for after in (False, True):
        run_effects = _fair(rng, runs, (len(own.routes),)) @ root.T
        noises = _fair(rng, runs, own.u_noise.shape) * np.sqrt(own.u_noise**2 + U_STATE_RUN**2)
        apart = U_APART_RUN * _fair(rng, runs, (len(own.routes),))
        at_rest = _fair(rng, runs, (template.rest.size,)) * template.rest.u_noise
        for k in range(runs):
            residual = run_effects[k][:, None] + noises[k] + apart[k][:, None] * idle
            residual = residual + surplus_ln * after
            shown = replace(own, ln_maf=own.ln_maf + surplus_ln * after)
            parts.append(_one_run(shown, k + runs * after, residual, after=after))
            rests.append(
                replace(
                    template.rest,
                    run=np.full(template.rest.size, k + runs * after),
                    after=np.full(template.rest.size, after),
                    value=at_rest[k],
                )
            )
    return _joined_cells(parts), _joined_rest(rests)


def _one_run(own: Cells, number: int, residual: FloatArray, *, after: bool) -> Cells:
    """Return the cells of one run, with ln(MAF) - ln(route) as given."""
    known = np.isfinite(own.ln_route)
    return replace(
        own,
        run=np.full(own.size, number),
        after=np.full(own.size, after),
        ln_route=np.where(known, own.ln_maf - residual, np.nan),
    )


def _fair(rng: np.random.Generator, runs: int, shape: tuple[int, ...]) -> FloatArray:
    """Return draws of unit size with a mean of zero over the runs, (runs, *shape)."""
    z = rng.standard_normal((runs, *shape))
    if runs == 1:
        return np.zeros_like(z)
    z = z - z.mean(axis=0)
    return np.asarray(z / np.sqrt((z**2).sum(axis=0) / (runs - 1)))


def _joined_cells(parts: Sequence[Cells]) -> Cells:
    names = [f.name for f in fields(Cells) if f.name != "routes"]
    joined = {n: np.concatenate([getattr(p, n) for p in parts], axis=-1) for n in names}
    return Cells(routes=parts[0].routes, **joined)


def _joined_rest(parts: Sequence[Rest]) -> Rest:
    names = [f.name for f in fields(Rest) if f.name != "missing"]
    joined = {n: np.concatenate([getattr(p, n) for p in parts]) for n in names}
    return Rest(**joined, missing=parts[0].missing)
