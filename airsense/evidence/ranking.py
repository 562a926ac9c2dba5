"""Which of several intakes is best, how surely, and what a kilowatt of it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from airsense.arrays import FloatArray
from airsense.evidence.verdict import weighted_quantiles
from airsense.results import K_95, Interval

# Enough for a probability to half a percent; any seed, always the same.
DRAWS = 20_000
SEED = 1
# Power that a percent of air from elsewhere is worth: none where fuel stays, more than one where
# friction and fuelling go with it. Our choice.
POWER_OF_AIR = (0.0, 1.2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contender:
    """An intake against the baseline at one tune.

    `change` (n,) are draws of ln(1 + intake's part) with their `weight`; `of_baseline` is the share
    of their variance that comes from the scatter of the baseline's runs, which all contenders have
    in common.
    """

    intake: str
    change: FloatArray
    weight: FloatArray
    airflow_change: Interval
    of_baseline: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RankRow:
    """An intake's place at one tune; `airflow_change` is the intake's part of the engine's air."""

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
    The changes are drawn jointly with a Gaussian copula: each keeps its own distribution, and two
    of them share the scatter of the baseline's runs. What else they may share (the law of boost
    control, a cause) is left out, which makes places look less sure than they are.
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
    common = rng.standard_normal(draws)
    columns = []
    for c in contenders:
        share = float(np.clip(c.of_baseline, 0.0, 1.0))
        own = rng.standard_normal(draws)
        z = np.sqrt(share) * common + np.sqrt(1.0 - share) * own
        columns.append(weighted_quantiles(c.change, c.weight, ndtr(z)))
    return np.column_stack(columns)


def power_of_intake(
    power_change: Interval, elsewhere: FloatArray, weight: FloatArray, *, seed: int = SEED
) -> Interval:
    """Return the change of brake power that is the intake's.

    Parameters
    ----------
    power_change : Interval
        As measured, as a fraction.
    elsewhere, weight : ndarray, shape (n,)
        Draws of ln(1 + change of air) that weather, demand and feedback gave, and their weights.

    Notes
    -----
    What air from elsewhere is worth in power is drawn from `POWER_OF_AIR`.
    """
    rng = np.random.default_rng(seed)
    low, middle, high = np.log1p([power_change.low, power_change.value, power_change.high])
    measured = middle + (high - low) / (2.0 * K_95) * rng.standard_normal(elsewhere.size)
    left = measured - rng.uniform(*POWER_OF_AIR, elsewhere.size) * elsewhere
    value, bottom, top = np.expm1(weighted_quantiles(left, weight, [0.5, 0.025, 0.975]))
    return Interval(float(value), float(bottom), float(top))


def price_per_power(  # one argument a column of the table
    *,
    tune: str,
    intake: str,
    price: float,
    power_change: Interval | None,
    baseline_w: float,
    why_not: str = "",
) -> PricePerPower:
    """Return the price of a kilowatt gained.

    Parameters
    ----------
    tune, intake : str
        Names.
    price : float
        Of the intake.
    power_change : Interval or None
        Change of power that is the intake's, as a fraction; None if power was not logged.
    baseline_w : float
        Mean power of the baseline over the window. [W]
    why_not : str
        Why there is no price although power was logged; empty if there may be one.
    """
    if power_change is None:
        return PricePerPower(
            tune=tune,
            intake=intake,
            price=price,
            brake_power_gain_w=None,
            price_per_kw=None,
            at_least=None,
            note="no power was logged",
        )
    gain = Interval(
        baseline_w * power_change.value,
        baseline_w * power_change.low,
        baseline_w * power_change.high,
    )
    note = why_not or ("" if gain.low > 0.0 else "a gain of power is not shown")
    return PricePerPower(
        tune=tune,
        intake=intake,
        price=price,
        brake_power_gain_w=gain,
        price_per_kw=None if note else _per_kw(price, gain),
        at_least=1e3 * price / gain.high if gain.high > 0.0 else None,
        note=note,
    )


def _per_kw(price: float, gain_w: Interval) -> Interval:
    """The dearest kilowatt goes with the smallest gain."""
    value, high, low = (1e3 * price / w for w in (gain_w.value, gain_w.low, gain_w.high))
    return Interval(value, low, high)
