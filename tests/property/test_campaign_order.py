"""Drift by run order: what the order shows is taken out, what it cannot tell stays as doubt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.evidence.run_order import (
    U_DRIFT_RUN,
    U_SOAK_RUN,
    Laid,
    drift_in_change,
    tells_drift,
)

RUN, DOF = 0.005, 4.0
T95 = 2.2


def laid_out(plan: str, sessions: str = "") -> Laid:
    names = sorted(set(plan))
    where = sessions or "1" * len(plan)
    days = sorted(set(where))
    return Laid(
        cell=np.array([names.index(c) for c in plan]),
        session=np.array([days.index(d) for d in where]),
        order=np.arange(1.0, len(plan) + 1.0),
    )


def contrast(laid: Laid, before: int = 0, after: int = 1) -> np.ndarray:
    weights = np.zeros(laid.cell.size)
    for cell, sign in ((before, -1.0), (after, 1.0)):
        weights[laid.cell == cell] = sign / np.count_nonzero(laid.cell == cell)
    return weights


@pytest.mark.parametrize(
    ("plan", "told"),
    [
        ("ABA", True),
        ("ABBA", True),
        ("AABBAA", True),
        ("AAABBBAAA", True),
        ("ABABAB", True),
        ("AB", False),
        ("AABB", False),
        ("AAABBB", False),
        ("AAABBBCCC", False),
    ],
)
def test_which_orders_tell_drift_from_the_intake(plan: str, told: bool) -> None:
    laid = laid_out(plan)
    assert tells_drift(laid, contrast(laid)) is told


def test_drift_is_not_followed_far_beyond_what_shows_it() -> None:
    laid = laid_out("ABABCCC")
    assert tells_drift(laid, contrast(laid))
    assert not tells_drift(laid, contrast(laid, after=2))
    back = laid_out("ABABCCCA")
    assert tells_drift(back, contrast(back, after=2))


def test_two_sessions_without_a_common_one_tell_nothing() -> None:
    apart = laid_out("AAABBB", "111222")
    assert not tells_drift(apart, contrast(apart))
    twice = laid_out("ABAABA", "111222")
    assert tells_drift(twice, contrast(twice))


@settings(max_examples=40)
@given(
    plan=st.sampled_from(["ABABAB", "AABBAA", "AAABBBAAA", "ABBAABBA"]),
    change=st.floats(-0.1, 0.1),
    slope=st.floats(-0.02, 0.02),
    level=st.floats(-3.0, 3.0),
)
def test_a_steady_drift_hardly_moves_the_answer_where_the_order_tells(
    plan: str, change: float, slope: float, level: float
) -> None:
    laid = laid_out(plan)
    values = level + change * laid.cell + slope * laid.order
    weights = contrast(laid)
    drift = drift_in_change(values[None], laid, weights, run=0.001, dof=DOF)
    freed = float(weights @ values) - drift.value
    assert abs(freed - change) < max(0.25 * abs(slope), 3.0 * drift.u)


def test_a_soak_that_a_swap_cools_is_no_drift_of_the_change() -> None:
    # Runs heat up within each block and cool at each swap: block means are all moved alike.
    laid = laid_out("AAABBBCCC")
    values = 0.05 * (laid.cell == 1) - 0.018 * laid.blocks()
    weights = contrast(laid)
    drift = drift_in_change(values[None], laid, weights, run=RUN, dof=DOF)
    assert float(weights @ values) == pytest.approx(0.05)
    assert abs(0.05 - (float(weights @ values) - drift.value)) < T95 * drift.u
    # It is a doubt, and most of it is not taken for a correction.
    assert drift.u > 0.005
    assert abs(drift.value) < 0.5 * 3 * 0.018


def test_an_order_that_tells_is_narrower_than_the_plain_scatter_of_drifting_runs() -> None:
    rng = np.random.default_rng(4)
    laid = laid_out("ABABABAB")
    weights = contrast(laid)
    values = 0.03 * laid.cell - 0.01 * laid.order + rng.normal(0.0, 0.003, laid.order.size)
    freed = drift_in_change(values[None], laid, weights, run=RUN, dof=DOF)
    per = [values[laid.cell == k] for k in (0, 1)]
    left = sum(float(np.sum((p - p.mean()) ** 2)) for p in per)
    plain = np.sqrt((DOF * RUN**2 + left) / (DOF + 6.0) * 0.5)
    assert freed.u < 0.6 * plain


def test_the_doubt_of_blocks_grows_with_the_runs_between_them() -> None:
    short, long = (laid_out("A" * n + "B" * n) for n in (2, 5))
    u = [
        drift_in_change(np.zeros((1, laid.cell.size)), laid, contrast(laid), run=1e-5, dof=400.0).u
        for laid in (short, long)
    ]
    prior = 2.0 * U_DRIFT_RUN * U_SOAK_RUN / np.hypot(U_DRIFT_RUN, U_SOAK_RUN)
    assert u[0] >= 0.9 * prior
    assert u[1] > 2.0 * u[0]


def test_flows_that_disagree_about_the_drift_widen_it() -> None:
    laid = laid_out("AABBAABB")
    weights = contrast(laid)
    same = np.tile(0.004 * laid.order, (2, 1))
    torn = np.array([0.004 * laid.order, -0.004 * laid.order])
    alike, apart = (drift_in_change(v, laid, weights, run=RUN, dof=DOF) for v in (same, torn))
    assert apart.u > alike.u


def test_intervals_hold_what_they_should_over_drawn_campaigns() -> None:
    rng = np.random.default_rng(7)
    for plan in ("ABA", "AABBAA", "AAABBB", "AAABBBCCC"):
        laid = laid_out(plan)
        weights, columns = contrast(laid), laid.columns()
        covered = 0
        for _ in range(200):
            sizes = rng.normal(0.0, laid.prior_u()) * rng.choice([1.0, 2.0, 4.0])
            values = 0.03 * laid.cell + columns @ sizes + rng.normal(0.0, RUN, laid.cell.size)
            drift = drift_in_change(values[None], laid, weights, run=RUN, dof=DOF)
            error = float(weights @ values) - drift.value - 0.03
            covered += abs(error) <= T95 * drift.u
        # 95 % of 200, less three standard deviations.
        assert covered >= 181, plan
