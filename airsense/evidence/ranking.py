"""Which of several intakes is best, how surely, and what a kilowatt of it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from airsense.evidence.student import Mixture
from airsense.results import Interval

FloatArray = NDArray[np.float64]

DRAWS = 20_000
SEED = 1
GRID = 2001
TAIL = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Contender:
    """An intake against the baseline at one tune.

    `change` is the posterior of ln(true air) against the baseline; `weights` (n_runs,) are those
    of the runs in it, which tell how much of its error it shares with the other contenders.
    """

    intake: str
    change: Mixture
    airflow_change: Interval
    weights: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RankRow:
    """An intake's place at one tune, by the air that the engine truly breathes."""

    tune: str
    place: int
    intake: str
    probability_best: float
    mean_place: float
    airflow_change: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class PricePerPower:
    """What a kilowatt gained over the baseline costs, in the currency of the campaign file.

    `price_per_kw` is None where a gain of power is not shown; `at_least` is then the price of a
    kilowatt if the gain were at the top of its interval (None where that is no gain either).
    """

    tune: str
    intake: str
    price: float
    brake_power_gain_w: Interval | None
    price_per_kw: Interval | None
    at_least: float | None
    note: str


def rank(
    tune: str,
    baseline: str,
    contenders: Sequence[Contender],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> tuple[RankRow, ...]:
    """Rank the intakes of a tune, the baseline among them.

    Parameters
    ----------
    tune, baseline : str
        Names.
    contenders : sequence of Contender
        All but the baseline.
    draws, seed : int
        Of the Monte Carlo; the same seed gives the same answer.

    Notes
    -----
    The changes are drawn jointly with a Gaussian copula: each keeps its own mixture, and two of
    them share as much as their run weights do, since both are measured against the same
    baseline runs (one half for equal numbers of runs).
    """
    change = joint_draws(contenders, draws=draws, seed=seed)
    change = np.column_stack([np.zeros(draws), change])
    place = np.argsort(np.argsort(-change, axis=1), axis=1) + 1
    names = [baseline, *(c.intake for c in contenders)]
    shown = [Interval(0.0, 0.0, 0.0), *(c.airflow_change for c in contenders)]
    mean_place = place.mean(axis=0)
    return tuple(
        RankRow(
            tune=tune,
            place=position,
            intake=names[k],
            probability_best=float(np.mean(place[:, k] == 1)),
            mean_place=float(mean_place[k]),
            airflow_change=shown[k],
        )
        for position, k in enumerate(np.argsort(mean_place, kind="stable"), start=1)
    )


def joint_draws(contenders: Sequence[Contender], *, draws: int, seed: int) -> FloatArray:
    """Return joint draws of the logarithmic changes, shape (draws, n_contenders)."""
    rng = np.random.default_rng(seed)
    rows = np.array([c.weights / np.linalg.norm(c.weights) for c in contenders])
    z = rng.standard_normal((draws, rows.shape[1])) @ rows.T
    return np.column_stack([_quantiles(c.change, ndtr(z[:, k])) for k, c in enumerate(contenders)])


def _quantiles(mixture: Mixture, probability: FloatArray) -> FloatArray:
    low, high = (float(mixture.quantile(p)) for p in (TAIL, 1.0 - TAIL))
    grid = np.linspace(low, high, GRID)
    return np.interp(probability, mixture.cdf(grid), grid)


def price_per_power(
    *, tune: str, intake: str, price: float, power_change: Interval | None, baseline_w: float
) -> PricePerPower:
    """Return the price of a kilowatt gained.

    Parameters
    ----------
    tune, intake : str
        Names.
    price : float
        Of the intake.
    power_change : Interval or None
        Change of brake power against the baseline, as a fraction; None if it was not logged.
    baseline_w : float
        Mean brake power of the baseline over the window. [W]
    """
    if power_change is None:
        return PricePerPower(
            tune=tune,
            intake=intake,
            price=price,
            brake_power_gain_w=None,
            price_per_kw=None,
            at_least=None,
            note="no brake power was logged",
        )
    gain = Interval(
        baseline_w * power_change.value,
        baseline_w * power_change.low,
        baseline_w * power_change.high,
    )
    shown = gain.low > 0.0
    return PricePerPower(
        tune=tune,
        intake=intake,
        price=price,
        brake_power_gain_w=gain,
        price_per_kw=_per_kw(price, gain) if shown else None,
        at_least=1e3 * price / gain.high if gain.high > 0.0 else None,
        note="" if shown else "a gain of power is not shown",
    )


def _per_kw(price: float, gain_w: Interval) -> Interval:
    """The dearest kilowatt goes with the smallest gain."""
    value, high, low = (1e3 * price / w for w in (gain_w.value, gain_w.low, gain_w.high))
    return Interval(value, low, high)
