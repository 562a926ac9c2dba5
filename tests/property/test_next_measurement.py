"""What a further measurement is worth: the share of the variance that a regression explains."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import linregress

from airsense.evidence.next_measurement import (
    CHEAP,
    DEAR,
    FREE,
    WORTH,
    Candidate,
    NextMeasurement,
    propose,
    worth_of,
)

N = 4096
EVEN = np.full(N, 1.0 / N)


def draws(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(N)
    return x, 0.7 * x + 0.5 * rng.standard_normal(N)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_without_noise_it_is_the_coefficient_of_determination_of_scipy(seed: int) -> None:
    x, y = draws(seed)
    assert worth_of(x, 0.0, y, EVEN) == pytest.approx(linregress(x, y).rvalue ** 2, rel=1e-9)


def test_noise_of_the_look_takes_from_it_as_noise_on_x_does() -> None:
    x, y = draws(4)
    noisy = x + 0.8 * np.random.default_rng(5).standard_normal(N)
    worth = worth_of(x, 0.8, y, EVEN)
    assert worth == pytest.approx(linregress(noisy, y).rvalue ** 2, abs=0.02)
    assert worth < worth_of(x, 0.0, y, EVEN)


def test_weights_count_as_repeats_would() -> None:
    x, y = draws(6)
    weight = np.where(np.arange(N) < N // 2, 2.0, 1.0)
    twice = np.concatenate([x[: N // 2], x]), np.concatenate([y[: N // 2], y])
    even = np.full(twice[0].size, 1.0 / twice[0].size)
    assert worth_of(x, 0.3, y, weight / weight.sum()) == pytest.approx(
        worth_of(twice[0], 0.3, twice[1], even), rel=1e-9
    )


def test_what_never_moves_shows_nothing() -> None:
    x, y = draws(7)
    assert worth_of(np.full(N, 3.0), 0.0, y, EVEN) == 0.0
    assert worth_of(x, 0.1, np.full(N, 2.0), EVEN) == 0.0


def candidate(key: str, cost: str, shows: np.ndarray) -> Candidate:
    asked = NextMeasurement(
        key=key, cost=cost, measurement=key, reason="it shows it", toml="", worth=0.0
    )
    return Candidate(measurement=asked, shows=shows, u=0.01)


def test_cheaper_ones_come_first_and_of_one_cost_the_better() -> None:
    x, y = draws(8)
    poor = x + 1.5 * np.random.default_rng(9).standard_normal(N)
    asked = [
        candidate("dear", DEAR, y),
        candidate("poor", CHEAP, poor),
        candidate("cheap", CHEAP, x),
        candidate("free", FREE, x),
    ]
    assert [m.key for m in propose(asked, y, EVEN)] == ["free", "cheap", "poor", "dear"]


@pytest.mark.parametrize("cost", [FREE, CHEAP, DEAR])
def test_what_takes_too_little_away_for_its_cost_is_not_proposed(cost: str) -> None:
    x, _ = draws(10)
    y = np.random.default_rng(11).standard_normal(N)
    share = np.sqrt(WORTH[cost])
    for factor, told in ((0.6, 0), (1.5, 1)):
        part = min(factor * share, 1.0)
        shows = part * y / y.std() + np.sqrt(1.0 - part**2) * x
        exact = replace(candidate("look", cost, shows), u=0.0)
        assert len(propose([exact], y, EVEN)) == told
