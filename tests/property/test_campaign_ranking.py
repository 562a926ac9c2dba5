"""Ranking by joint draws, and the price of a kilowatt."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from airsense.evidence.ranking import (
    Contender,
    joint_draws,
    power_of_intake,
    price_per_power,
    rank,
)
from airsense.evidence.verdict import weighted_quantiles
from airsense.results import Interval

DRAWS = 4_001
WIDE = Interval(0.0, -1.0, 1.0)


def contender(name: str, mean: float, u: float) -> Contender:
    """Return an intake that shares half of its variance with the others: the baseline's runs."""
    draws = mean + u * ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    weight = np.full(DRAWS, 1.0 / DRAWS)
    return Contender(intake=name, change=draws, weight=weight, airflow_change=WIDE, of_baseline=0.5)


def test_two_alike_share_the_first_place_with_what_the_baseline_leaves() -> None:
    rows = rank("t", "A", [contender("B", 0.03, 0.005), contender("C", 0.03, 0.005)])
    found = {r.intake: r for r in rows}
    assert found["B"].probability_best == pytest.approx(0.5, abs=0.02)
    assert found["B"].probability_best + found["C"].probability_best == pytest.approx(1.0, abs=1e-3)
    assert found["A"].place == 3
    assert found["A"].airflow_change == Interval(0.0, 0.0, 0.0)


def test_three_equal_to_the_baseline_are_equally_likely_best() -> None:
    # Four independent levels of one distribution: each is best with probability 1/4.
    rows = rank("t", "A", [contender(n, 0.0, 0.01) for n in "BCD"])
    assert [r.probability_best for r in rows] == pytest.approx([0.25] * 4, abs=0.015)
    assert sum(r.mean_place for r in rows) == pytest.approx(10.0)


def test_the_shared_baseline_makes_differences_sharper() -> None:
    # With correlation 1/2 the difference of two changes has the scatter of one change.
    pair = [contender("B", 0.02, 0.01), contender("C", 0.01, 0.01)]
    draws = joint_draws(pair, draws=40_000, seed=2)
    assert np.corrcoef(draws.T)[0, 1] == pytest.approx(0.5, abs=0.02)
    better = float(np.mean(draws[:, 0] > draws[:, 1]))
    assert better == pytest.approx(float(ndtr(0.01 / 0.01)), abs=0.01)


def test_each_keeps_its_own_distribution() -> None:
    rng = np.random.default_rng(5)
    values = np.concatenate([rng.normal(0.0, 0.01, 3000), rng.normal(0.1, 0.02, 1000)])
    weight = np.concatenate([np.full(3000, 0.7 / 3000), np.full(1000, 0.3 / 1000)])
    given = Contender(
        intake="B", change=values, weight=weight, airflow_change=WIDE, of_baseline=0.3
    )
    draws = joint_draws([given], draws=40_000, seed=3)[:, 0]
    for probability in (0.05, 0.5, 0.9):
        at = weighted_quantiles(values, weight, [probability])[0]
        assert float(np.mean(draws < at)) == pytest.approx(probability, abs=0.01)


def test_the_answer_is_repeatable() -> None:
    contenders = [contender("B", 0.01, 0.01), contender("C", 0.0, 0.02)]
    assert rank("t", "A", contenders) == rank("t", "A", contenders)


def test_the_best_is_first_whoever_it_is() -> None:
    rows = rank("t", "A", [contender("B", -0.05, 0.004), contender("C", -0.02, 0.004)])
    assert [r.intake for r in rows] == ["A", "C", "B"]
    assert rows[0].probability_best > 0.999


def test_the_price_of_a_kilowatt_turns_the_interval_round() -> None:
    row = price_per_power(
        tune="t", intake="B", price=500.0, power_change=Interval(0.05, 0.02, 0.10), baseline_w=1e5
    )
    assert row.brake_power_gain_w is not None
    assert row.brake_power_gain_w.value == pytest.approx(5e3)
    assert row.price_per_kw is not None
    assert row.price_per_kw.value == pytest.approx(100.0)
    assert row.price_per_kw.low == pytest.approx(50.0)
    assert row.price_per_kw.high == pytest.approx(250.0)
    assert row.note == ""


@pytest.mark.parametrize(
    ("change", "at_least"),
    [
        (Interval(0.01, -0.01, 0.04), 125.0),
        (Interval(-0.03, -0.05, -0.01), None),
        (None, None),
    ],
)
def test_no_price_of_a_gain_that_is_not_shown(
    change: Interval | None, at_least: float | None
) -> None:
    row = price_per_power(tune="t", intake="B", price=500.0, power_change=change, baseline_w=100e3)
    assert row.price_per_kw is None
    assert row.at_least == (None if at_least is None else pytest.approx(at_least))
    assert row.note


def test_what_weather_gave_is_no_power_of_the_intake() -> None:
    measured = Interval(0.05, 0.04, 0.06)
    weight = np.full(DRAWS, 1.0 / DRAWS)
    alone = power_of_intake(measured, np.zeros(DRAWS), weight)
    assert (alone.value, alone.low) == pytest.approx((0.05, 0.04), abs=0.002)
    shared = power_of_intake(measured, np.full(DRAWS, 0.05), weight)
    # Anything from none of it to a little more than all of it.
    assert shared.low < -0.005
    assert shared.high > 0.045
    assert 0.01 < shared.value < 0.03


def test_a_reason_keeps_the_price_away_though_power_is_gained() -> None:
    row = price_per_power(
        tune="t",
        intake="B",
        price=500.0,
        power_change=Interval(0.05, 0.02, 0.10),
        baseline_w=1e5,
        why_not="the order of the runs cannot tell drift from the intake",
    )
    assert row.price_per_kw is None
    assert row.brake_power_gain_w is not None
    assert "drift" in row.note
