"""What can move several logged quantities together, and the covariance of a change it makes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.estimates.estimate import Influence
from airsense.evidence.student import welch_satterthwaite

FloatArray = NDArray[np.float64]

# Share of an effect's variance that is the same at all speeds; the rest varies smoothly with
# ln(speed) over this length. Our choice: sensor drifts are mostly offsets.
CONSTANT_SHARE = 0.7
SHAPE_LENGTH = 0.15
ENGINE_KEY = "engine"
ENGINE_LABEL = "engine's own run-to-run variation"


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One physical cause of scatter: how much it moves each route's ln(flow).

    `sensitivity` has shape (n_routes,); `run` and `between` are standard uncertainties (k = 1)
    of one run, and of the difference between the configurations. `dof` is how well the declared
    sizes are known; `run_dof` how well that of a run is once repeats have been seen.
    """

    key: str
    label: str
    sensitivity: FloatArray
    absolute: float
    run: float
    between: float
    dof: float
    run_dof: float | None = None

    @property
    def dof_of_run(self) -> float:
        """Degrees of freedom of `run`."""
        return self.dof if self.run_dof is None else self.run_dof


def collect_effects(budgets: Mapping[str, Sequence[Influence]]) -> tuple[Effect, ...]:
    """Merge the budgets of the routes: components of one key are one effect.

    Parameters
    ----------
    budgets : mapping of str to sequence of Influence
        Per route, in the order of the rows of the data.
    """
    names = list(budgets)
    merged: dict[str, Effect] = {}
    for row, name in enumerate(names):
        for item in budgets[name]:
            if item.key not in merged:
                merged[item.key] = Effect(
                    key=item.key,
                    label=item.label,
                    sensitivity=np.zeros(len(names)),
                    absolute=item.absolute,
                    run=item.run,
                    between=item.between,
                    dof=item.dof,
                )
            merged[item.key].sensitivity[row] = item.sensitivity
    return tuple(merged.values())


def engine_effect(n_routes: int, run: float, between: float, dof: float) -> Effect:
    """Return the true variation of the flow beside the intake's: all routes see it alike."""
    return Effect(
        key=ENGINE_KEY,
        label=ENGINE_LABEL,
        sensitivity=np.ones(n_routes),
        absolute=0.0,
        run=run,
        between=between,
        dof=dof,
    )


def bin_correlation(centre_rpm: FloatArray, constant_share: float = CONSTANT_SHARE) -> FloatArray:
    """Return the correlation of an effect between speed bins, shape (n_bins, n_bins)."""
    ln_n = np.log(centre_rpm)
    distance = (ln_n[:, None] - ln_n[None, :]) / SHAPE_LENGTH
    smooth = np.exp(-0.5 * distance**2)
    return constant_share + (1.0 - constant_share) * smooth


def change_variance(effect: Effect, run_weight: float) -> float:
    """Return the variance that an effect gives to a change.

    Parameters
    ----------
    effect : Effect
        The effect.
    run_weight : float
        Sum of the squared weights of the runs in the change (1/n_before + 1/n_after).
    """
    return effect.between**2 + run_weight * effect.run**2


def change_dof(effect: Effect, run_weight: float) -> float:
    """Return the degrees of freedom of `change_variance`.

    Repeats teach how large the run-to-run part is, not how far the configurations drift apart.
    """
    variance = np.array([effect.between**2, run_weight * effect.run**2])
    return welch_satterthwaite(variance, np.array([effect.dof, effect.dof_of_run]))


def spread(effect: Effect, correlation: FloatArray, variance: float) -> FloatArray:
    """Return the covariance over (route, bin), flattened route-major."""
    routes = np.outer(effect.sensitivity, effect.sensitivity)
    return np.asarray(variance * np.kron(routes, correlation), dtype=np.float64)


def with_run(effect: Effect, run: float, between: float, run_dof: float) -> Effect:
    """Return the effect with updated sizes."""
    return replace(effect, run=run, between=between, run_dof=run_dof)
