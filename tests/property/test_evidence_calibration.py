"""Simulation-based calibration: ranks of prior draws, and how true a printed probability is.

A few hundred draws here, a few thousand in `tests/bench/calibration.py`.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from airsense.evidence.hypotheses import hypotheses, library_of
from airsense.evidence.priors import NEW_LEAK_SHARE
from airsense.evidence.signatures import observed
from tests.bench.calibration import (
    RANK_BINS,
    TABLE,
    Outcome,
    designs,
    draw_sizes,
    sign_bins,
    study,
    uniform_probability,
)

pytestmark = pytest.mark.slow

DRAWS = 200
SEED = 31
NAMES = [d.name for d in designs()]


@cache
def outcomes(name: str) -> tuple[Outcome, ...]:
    number = NAMES.index(name)
    return study(designs()[number], DRAWS, SEED + number)


@pytest.mark.parametrize("name", NAMES)
def test_ranks_of_the_truth_are_uniform(name: str) -> None:
    """Chi-square over 20 bins; a wrong inference shows as p below 1e-6, a right one once in 500."""
    rows = outcomes(name)
    assert uniform_probability([r.surplus for r in rows]) > 0.002
    assert uniform_probability([r.skew for r in rows]) > 0.002


def test_a_printed_sign_is_as_often_true_as_printed() -> None:
    rows = [r for name in NAMES for r in outcomes(name)]
    claimed = [b for b in sign_bins(rows) if b.count]
    assert sum(b.count for b in claimed) > 60
    for b in claimed:
        assert abs(b.true - b.printed) < 0.03 + 2.6 * b.u, b


@pytest.mark.parametrize("name", NAMES)
def test_an_interval_holds_the_truth_at_least_as_often_as_it_says(name: str) -> None:
    """It may hold more: what is taken to be unchanged is spread as if it were free."""
    held = np.mean([r.held for r in outcomes(name)])
    assert held > 0.95 - 2.6 * np.sqrt(0.95 * 0.05 / DRAWS)


@pytest.mark.parametrize("name", NAMES)
def test_a_cause_at_the_sensor_is_as_often_there_as_printed(name: str) -> None:
    rows = outcomes(name)
    printed = np.array([r.sensor for r in rows])
    true = np.array([r.is_sensor for r in rows], dtype=float)
    u = np.sqrt(np.sum(printed * (1.0 - printed))) / DRAWS
    assert abs(true.mean() - printed.mean()) < 3.0 * u


# The judge itself


def test_a_histogram_that_is_not_uniform_is_found_out() -> None:
    rng = np.random.default_rng(1)
    even = rng.random(DRAWS)
    narrow = rng.beta(0.5, 0.5, DRAWS)  # an interval that is too narrow: truths at the ends
    wide = rng.beta(2.0, 2.0, DRAWS)
    shifted = rng.beta(2.0, 1.0, DRAWS)
    assert uniform_probability(even.tolist()) > 0.01
    for wrong in (narrow, wide, shifted):
        assert uniform_probability(wrong.tolist()) < 0.01
    exact = (np.arange(10 * RANK_BINS) + 0.5) / (10 * RANK_BINS)
    assert uniform_probability(exact.tolist()) == pytest.approx(1.0)


def test_a_sign_that_is_printed_too_surely_is_found_out() -> None:
    def row(printed: float, sign: int) -> Outcome:
        return Outcome(
            surplus=0.5,
            skew=0.5,
            higher=printed,
            lower=1.0 - printed,
            sign=sign,
            held=True,
            sensor=1.0,
            is_sensor=True,
        )

    bold = [row(0.96, 1 if k % 100 < 73 else -1) for k in range(300)]
    (found,) = [b for b in sign_bins(bold) if b.count]
    assert (found.low, found.high) == (0.95, 0.98)
    assert found.true == pytest.approx(0.73)
    assert abs(found.true - found.printed) > 0.03 + 2.6 * found.u


def test_leaks_are_drawn_with_the_sign_that_their_prior_says() -> None:
    design = designs()[0]
    library = library_of(TABLE, observed(design.cells, design.rest))
    leak = next(h for h in hypotheses(TABLE, library) if h.sensor.one_sided)
    rng = np.random.default_rng(2)
    first = [draw_sizes(leak, library, rng)[leak.sensor.columns[0]] for _ in range(2000)]
    share = float(np.mean(np.array(first) > 0.0))
    assert share == pytest.approx(NEW_LEAK_SHARE, abs=0.03)
    expected = 1.0 / np.sqrt(leak.sensor.precision[0, 0])
    assert np.sqrt(np.mean(np.square(first))) == pytest.approx(expected, rel=0.06)
