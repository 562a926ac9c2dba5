"""Drift by run order: least squares frees a change of it where the order allows, and only there."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.evidence.run_order import MAX_INFLATION, design_of_pair, drift_per_run


def laid_out(plan: str) -> tuple[np.ndarray, np.ndarray]:
    names = sorted(set(plan))
    return np.array([names.index(c) for c in plan]), np.arange(1.0, len(plan) + 1.0)


@given(
    plan=st.text("ABC", min_size=5, max_size=14).filter(lambda p: set(p) >= {"A", "B"}),
    change=st.floats(-0.1, 0.1),
    slope=st.floats(-0.02, 0.02),
    level=st.floats(-3.0, 3.0),
)
def test_a_linear_drift_leaves_no_trace_where_it_is_in_the_model(
    plan: str, change: float, slope: float, level: float
) -> None:
    cell, order = laid_out(plan)
    ordered = design_of_pair(cell, order, before=0, after=1, drifts=True)
    values = level + change * (cell == 1) + 0.3 * (cell == 2) + slope * order
    found = float(ordered.design.weights @ values)
    if ordered.adjusted:
        assert found == pytest.approx(change, abs=1e-9)
    else:
        gap = order[cell == 1].mean() - order[cell == 0].mean()
        assert found == pytest.approx(change + slope * gap, abs=1e-9)


@given(plan=st.text("ABC", min_size=4, max_size=14).filter(lambda p: set(p) >= {"A", "B"}))
def test_the_weights_are_a_contrast_of_the_two_configurations(plan: str) -> None:
    cell, order = laid_out(plan)
    for given_order in (None, order):
        weights = design_of_pair(cell, given_order, before=0, after=1).design.weights
        sums = [weights[cell == k].sum() for k in range(int(cell.max()) + 1)]
        assert sums == pytest.approx([-1.0, 1.0, 0.0][: len(sums)], abs=1e-9)


@pytest.mark.parametrize(
    ("plan", "adjusted"),
    [
        ("ABA", False),  # three runs, three parameters: nothing left to judge by
        ("AB", False),
        ("ABAB", True),
        ("AABBAA", True),
        ("ABABAB", True),
        ("AABB", False),
        ("AAABBB", False),
        ("AAABBBA", True),
        ("AAAAABBBBB", False),
    ],
)
def test_which_orders_tell_drift_from_the_intake(plan: str, adjusted: bool) -> None:
    cell, order = laid_out(plan)
    assert design_of_pair(cell, order, before=0, after=1).adjusted is adjusted


def test_the_inflation_is_that_of_textbook_least_squares() -> None:
    # Var(b1 - b0) = s2 (1/n0 + 1/n1 + gap^2 / SS_within): analysis of covariance.
    cell, order = laid_out("AAABBB")
    within = sum(np.sum((order[cell == k] - order[cell == k].mean()) ** 2) for k in (0, 1))
    expected = (1 / 3 + 1 / 3 + 3.0**2 / within) / (1 / 3 + 1 / 3)
    ordered = design_of_pair(cell, order, before=0, after=1)
    assert ordered.inflation == pytest.approx(expected)
    assert expected > MAX_INFLATION


def test_a_seen_drift_is_taken_in_at_the_price_of_width() -> None:
    cell, order = laid_out("AAABBB")
    plain = design_of_pair(cell, order, before=0, after=1)
    taken = design_of_pair(cell, order, before=0, after=1, drifts=True)
    assert not plain.adjusted
    assert taken.adjusted
    assert taken.design.run_weight > 4.0 * plain.design.run_weight


def test_the_drift_is_found_with_its_scatter() -> None:
    cell, order = laid_out("ABABABAB")
    rng = np.random.default_rng(4)
    covered = 0
    for _ in range(400):
        values = 0.03 * cell - 0.004 * order + rng.normal(0.0, 0.003, order.size)
        drift = drift_per_run(values, cell, order)
        assert drift is not None
        covered += drift.contains(float(np.expm1(-0.004)))
    # Binomial: 95 % of 400 is 380, standard deviation 4.4.
    assert 366 <= covered <= 394


def test_no_drift_without_repeats() -> None:
    cell, order = laid_out("AB")
    assert drift_per_run(np.array([0.0, 0.1]), cell, order) is None
