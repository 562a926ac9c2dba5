"""What is believed of the parts beforehand: the densities are those of the draws."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import kstest, norm, t

from airsense.evidence.parts.priors import (
    DEPRESSION_LN_SCATTER,
    DEPRESSION_MEDIAN_PA,
    DROOP_MOST,
    DROOP_NONE_PROBABILITY,
    FUEL_FIXED_PROBABILITY,
    FUEL_FOLLOWS_PROBABILITY,
    HEAVY_TAIL_DOF,
    RELIEF_HIGH,
    RELIEF_LOW,
    draw_depression_pa,
    draw_droop,
    draw_fuelling,
    draw_relief,
    log_density_relief,
    log_normal,
    log_student,
)

SHAPE = (40_000, 1)
SHARE = np.full(SHAPE, 0.04)


def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def density(relief_ln: float, share: float = 0.04) -> float:
    return float(np.exp(log_density_relief(np.array([[relief_ln]]), np.array([[share]]))[0, 0]))


@pytest.mark.parametrize("share", [0.01, 0.04, 0.09])
def test_the_density_of_relief_is_one(share: float) -> None:
    unit = share / (1.0 - share)
    ends = [np.log1p(x * unit) for x in (-8.0, RELIEF_LOW, -0.2, 0.0, 0.2, RELIEF_HIGH, 8.0)]
    parts = [quad(density, a, b, args=(share,))[0] for a, b in pairwise(ends)]
    assert sum(parts) == pytest.approx(1.0, abs=2e-3)


def test_draws_of_relief_follow_their_density() -> None:
    drawn = draw_relief(rng(), SHARE)[:, 0]
    at = np.linspace(-0.06, 0.06, 4001)
    steps = np.exp(log_density_relief(at[:, None], np.full((at.size, 1), 0.04))[:, 0])
    below = np.concatenate([[0.0], np.cumsum(0.5 * (steps[1:] + steps[:-1]) * np.diff(at))])
    inside = drawn[(drawn > at[0]) & (drawn < at[-1])]
    found = kstest(inside, lambda x: np.interp(x, at, below / below[-1]))
    assert found.statistic < 0.02


def test_most_of_what_relief_gives_lies_between_half_as_much_again_and_all() -> None:
    share = np.expm1(draw_relief(rng(), SHARE)) * (1.0 - SHARE) / SHARE
    inside = (share > RELIEF_LOW) & (share < RELIEF_HIGH)
    assert 0.97 < float(np.mean(inside)) < 1.0


def test_an_unmeasured_depression_is_log_normal_with_its_ends_cut() -> None:
    z = np.log(draw_depression_pa(rng(), SHAPE)[:, 0] / DEPRESSION_MEDIAN_PA)
    z = z / DEPRESSION_LN_SCATTER
    assert np.max(np.abs(z)) <= 2.5 + 1e-12
    assert kstest(z[np.abs(z) < 2.5], norm.cdf).statistic < 0.02


def test_logarithms_of_densities_are_those_of_scipy() -> None:
    x = np.array([-3.0, -0.2, 0.0, 0.7, 5.0])
    assert log_normal(x, 0.7) == pytest.approx(norm.logpdf(x, scale=0.7), abs=1e-12)
    exact = t.logpdf(x, HEAVY_TAIL_DOF, scale=0.7)
    assert log_student(x, 0.7) == pytest.approx(exact, abs=1e-3)


def test_half_of_the_controls_let_nothing_through_and_none_more_than_some() -> None:
    droop = draw_droop(rng(), SHAPE)
    assert float(np.mean(droop == 0.0)) == pytest.approx(DROOP_NONE_PROBABILITY, abs=0.01)
    assert droop.min() == 0.0
    assert droop.max() == DROOP_MOST


def test_fuel_stands_follows_or_does_something_between() -> None:
    made = draw_fuelling(rng(), SHAPE, np.full(SHAPE, 0.05))
    follows = made.follows
    assert float(np.mean(follows == 0.0)) == pytest.approx(FUEL_FIXED_PROBABILITY, abs=0.01)
    assert float(np.mean(follows == 1.0)) == pytest.approx(FUEL_FOLLOWS_PROBABILITY, abs=0.01)
    assert np.all((follows >= 0.0) & (follows <= 1.0))
    # What the reading adds is in proportion to its surplus, and nothing where fuel stands.
    assert np.all(made.added[follows == 0.0] == 0.0)
    assert made.added.max() == pytest.approx(0.05)
    assert np.all(made.added <= 0.05 * follows + 1e-15)
