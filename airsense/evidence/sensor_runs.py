"""The sensor's own scatter from run to run, as routes show it: no change of the engine's air.

What a sensor reads too much in one run stands in the indicated change and in the surplus alike; in
the engine's change, the one less the other, it cancels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.evidence.budget import RouteBudget
from airsense.evidence.matched import ENGINE_RUN, LnChange
from airsense.evidence.posterior import Posterior


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRuns:
    """What scatter of the sensor adds to a change of run means, given the sizes of the causes.

    In ln: ``level - slope @ sizes`` with standard uncertainty `u`; `slope` (c,). `engine_share` is
    the share of the engine in the declared scatter of the reading, as standard uncertainties.
    """

    level: float
    slope: FloatArray
    u: float
    engine_share: float

    def air(self, indicated: LnChange) -> LnChange:
        """Return the indicated change less the sensor's scatter.

        Less ``(row - slope) @ sizes`` it is the engine's, where `row` makes the surplus.
        """
        engine = self.engine_share * indicated.u
        u = float(np.hypot(engine, self.u))
        # JCGM 100 G.4.1: what the routes leave of the sensor's scatter is as good as known.
        dof = indicated.dof * (u / engine) ** 4 if engine > 0.0 else indicated.dof
        return LnChange(value=indicated.value - self.level, u=u, dof=dof)


def sensor_runs(posterior: Posterior, budget: RouteBudget, weight: FloatArray) -> SensorRuns:
    """Return the sensor's scatter in a weighted sum of runs.

    Parameters
    ----------
    posterior : Posterior
    budget : RouteBudget
        Of the routes, in the order of the cells.
    weight : ndarray, shape (n_runs,)
        By the number of the run in the cells.

    Notes
    -----
    A run effect e of all routes holds the sensor's with variance M: its mean given e is
    ``M 1' C^-1 e``. What the observations say of e at given sizes is Gaussian elimination, at the
    middle of the common factors.
    """
    own = next(p for p in budget.parts if p.key == "mass_air_flow")
    gain = own.run**2 * np.linalg.solve(budget.covariance("run"), own.sensitivity)
    factor = posterior.set_factor * posterior.run_factor
    left = factor * own.run * float(np.sqrt(max(1.0 - float(gain @ own.sensitivity), 0.0)))
    level, slope, u = posterior.reduced.of_runs(
        weight[:, None] * gain, posterior.set_factor, posterior.run_factor
    )
    return SensorRuns(
        level=level,
        slope=slope,
        u=float(np.hypot(u, left * np.linalg.norm(weight))),
        engine_share=ENGINE_RUN / float(np.hypot(ENGINE_RUN, own.run)),
    )
