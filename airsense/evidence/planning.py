"""What a planned test can resolve: the interval of a change before a single run is made.

A change is a weighted sum of rows (the sensor, the routes, brake power), each moved by the same
effects that `compare` carries. The variance of an effect in the change of n runs each is

    u_between^2 / swaps + (2 / n) u_run^2                                       (1)

`swaps` is 1 when all runs of one configuration come first, and n when the configurations
alternate, because what drifts is then drawn anew for each pair; an effect that belongs to the
configuration itself (its breathing) does not average either way. Routes are weighted by
generalized least squares; degrees of freedom follow Welch and Satterthwaite (JCGM 100, G.4.1)
and grow with the repeats as those of a scaled inverse chi-square prior do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from airsense.evidence.effects import Effect, bin_correlation
from airsense.evidence.student import welch_satterthwaite

FloatArray = NDArray[np.float64]

MAX_RUNS = 30
# A sweep of an unknown engine, in bins of 200 rpm.
USUAL_SPEEDS_RPM = tuple(float(n) for n in range(1700, 3800, 200))
# Effects that a configuration has of itself: alternating does not draw them anew.
TIED_TO_CONFIGURATION = frozenset({"volumetric_efficiency", "brake_efficiency", "bore"})


class PlannedQuantity(Enum):
    """What a test can be planned for."""

    AIRFLOW_CHANGE = "airflow_change"
    SENSOR_SKEW = "sensor_skew"
    BRAKE_POWER_CHANGE = "brake_power_change"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is wanted: the change, the probability of seeing it, the confidence of the interval."""

    change: float = 0.01
    power: float = 0.90
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """The rows of a plan. `effects` have sensitivities of shape (n_rows,), in `names`' order.

    `routes` are the positions of the routes to the true flow, `sensor` and `power` those of the
    sensor under test and of brake power (None if it is not measured). `speed_rpm` are the
    centres of the speed bins of the sweep: what is not the same at all speeds averages over them.
    """

    names: tuple[str, ...]
    effects: tuple[Effect, ...]
    routes: tuple[int, ...]
    sensor: int
    power: int | None
    speed_rpm: tuple[float, ...] = USUAL_SPEEDS_RPM

    @property
    def over_speeds(self) -> float:
        """Part of an effect's variance that is left in the mean over the speed bins."""
        return float(np.mean(bin_correlation(np.asarray(self.speed_rpm))))

    def can(self, quantity: PlannedQuantity) -> bool:
        """Whether the rows say anything about a quantity."""
        if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
            return self.power is not None
        return bool(self.routes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One effect's part of a planned change, as a standard uncertainty (k = 1)."""

    label: str
    u: float
    share: float
    averages_over_runs: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Standard uncertainty of a planned change, its degrees of freedom and its budget."""

    runs: int
    u: float
    dof: float
    components: tuple[Component, ...]

    def half_width(self, confidence: float = 0.95) -> float:
        """Return the half-width of the interval of the change."""
        return float(stdtrit(self.dof, 0.5 * (1.0 + confidence))) * self.u

    def detectable(self, wish: Wish) -> float:
        """Return the smallest true change whose interval misses zero with the wanted power.

        The usual sum of the two quantiles; the exact noncentral value differs by < 1 % above
        10 degrees of freedom.
        """
        quantile = stdtrit(self.dof, 0.5 * (1.0 + wish.confidence)) + stdtrit(self.dof, wish.power)
        return float(quantile) * self.u


def weights_of(
    rows: Rows, quantity: PlannedQuantity, runs: int, *, alternating: bool
) -> FloatArray:
    """Return the weight of each row in the estimate of a quantity, shape (n_rows,)."""
    weights = np.zeros(len(rows.names))
    if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
        weights[rows.power] = 1.0
        return weights
    routes = list(rows.routes)
    covariance = np.zeros((len(routes), len(routes)))
    for effect in rows.effects:
        s = effect.sensitivity[routes]
        covariance += np.outer(s, s) * sum(_variances(effect, runs, alternating=alternating))
    # A ridge far below any sensor keeps routes apart that a perfect plan would make alike.
    inverse = np.linalg.inv(covariance + 1e-12 * np.eye(len(routes)))
    best = inverse.sum(axis=0) / inverse.sum()
    if quantity is PlannedQuantity.AIRFLOW_CHANGE:
        weights[routes] = best
    else:
        weights[rows.sensor] = 1.0
        weights[routes] -= best
    return weights


def forecast(
    rows: Rows, quantity: PlannedQuantity, runs: int, *, alternating: bool = True
) -> Forecast:
    """Return what `runs` runs of each configuration would give.

    Parameters
    ----------
    rows : Rows
        Sensor, routes and their effects.
    quantity : PlannedQuantity
        One that `rows.can` give.
    runs : int
        Runs of each configuration.
    alternating : bool
        Whether the configurations alternate (ABBA ...) or come one after the other.
    """
    weights = weights_of(rows, quantity, runs, alternating=alternating)
    moved = [float(e.sensitivity @ weights) ** 2 for e in rows.effects]
    pairs = [_variances(e, runs, alternating=alternating) for e in rows.effects]
    between = rows.over_speeds * np.array([m * p[0] for m, p in zip(moved, pairs, strict=True)])
    run = rows.over_speeds * np.array([m * p[1] for m, p in zip(moved, pairs, strict=True)])
    total = float(between.sum() + run.sum())
    drift_dof = np.array([e.dof for e in rows.effects])
    run_dof = np.array([e.dof_of_run for e in rows.effects])
    gained = (2.0 * runs - 2.0) * run / max(float(run.sum()), 1e-300)
    dof = welch_satterthwaite(
        np.concatenate([between, run]), np.concatenate([drift_dof, run_dof + gained])
    )
    components = [
        Component(
            label=e.label,
            u=math.sqrt(b + r),
            share=(b + r) / total,
            averages_over_runs=b == 0.0 or (alternating and e.key not in TIED_TO_CONFIGURATION),
        )
        for e, b, r in zip(rows.effects, between, run, strict=True)
        if b + r > 1e-6 * total
    ]
    return Forecast(
        runs=runs,
        u=math.sqrt(total),
        dof=dof,
        components=tuple(sorted(components, key=lambda c: -c.u)),
    )


def runs_needed(
    rows: Rows, quantity: PlannedQuantity, wish: Wish, *, alternating: bool = True
) -> int | None:
    """Return the fewest runs of each configuration that meet a wish; None beyond `MAX_RUNS`."""
    for runs in range(1, MAX_RUNS + 1):
        if forecast(rows, quantity, runs, alternating=alternating).detectable(wish) <= wish.change:
            return runs
    return None


def _variances(effect: Effect, runs: int, *, alternating: bool) -> tuple[float, float]:
    """Return the between and the run part of equation (1)."""
    swaps = runs if alternating and effect.key not in TIED_TO_CONFIGURATION else 1
    return effect.between**2 / swaps, 2.0 / runs * effect.run**2


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOrder:
    """An order of runs, and the false change that a steady drift leaves in it.

    `drift_left` is in units of the drift from one run to the next: a drift of 0.1 % a run turns
    a value of 3 into a false change of 0.3 %.
    """

    name: str
    order: str
    drift_left: float


def run_orders(runs: int) -> tuple[RunOrder, ...]:
    """Return the usual orders of `runs` runs of each configuration, best first."""
    blocks = "A" * runs + "B" * runs
    alternating = "AB" * runs
    # ABBA ABBA ...: each half of the list mirrors the other, so that a steady drift cancels.
    mirrored = "".join("ABBA"[k % 4] for k in range(2 * runs))
    orders = [
        RunOrder(name=name, order=" ".join(order), drift_left=_drift_left(order))
        for name, order in (
            ("counterbalanced (ABBA)", mirrored),
            ("alternating (ABAB)", alternating),
            ("one after the other", blocks),
        )
    ]
    return tuple(sorted(orders, key=lambda o: abs(o.drift_left)))


def _drift_left(order: Sequence[str]) -> float:
    after = np.array([name == "B" for name in order])
    place = np.arange(after.size, dtype=np.float64)
    return float(place[after].mean() - place[~after].mean())
