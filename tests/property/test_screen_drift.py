"""Suspicion and drift: against hand calculation, scipy, and simulated vehicles."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from airsense.estimates.defaults import DEFAULT_DOF
from airsense.evidence.design import INLET_SLOPE
from airsense.evidence.level_routes import State
from airsense.evidence.screening import (
    LEVEL,
    DriftLine,
    DriftVerdict,
    Levels,
    against_others,
    at_one_state,
    fit_drift,
    judge_drifts,
    suspicion,
)
from airsense.results import Interval

DAYS = np.array([0.0, 40.0, 95.0, 160.0, 260.0, 300.0])
value = st.floats(-0.5, 0.5, allow_subnormal=False)
width = st.floats(1e-3, 0.5)


def line(change: Interval, p: float) -> DriftLine:
    return DriftLine(
        change=change, days=100.0, first=0.0, last=0.0, scatter=1.0, degrees_of_freedom=8.0, p=p
    )


@given(value, width, width)
def test_suspicion_exceeds_one_just_where_the_interval_excludes_zero(
    middle: float, below: float, above: float
) -> None:
    error = Interval(middle, middle - below, middle + above)
    assert (suspicion(error) > 1.0) == (not error.contains(0.0))


@given(value.filter(lambda v: abs(v) > 1e-3), width)
def test_suspicion_falls_with_the_width_and_not_with_the_sign(middle: float, half: float) -> None:
    narrow = suspicion(Interval(middle, middle - half, middle + half))
    wide = suspicion(Interval(middle, middle - 2.0 * half, middle + 2.0 * half))
    mirrored = suspicion(Interval(-middle, -middle - half, -middle + half))
    assert narrow == pytest.approx(2.0 * wide)
    assert narrow == pytest.approx(mirrored)


def test_an_interval_without_width_has_no_suspicion() -> None:
    assert math.isnan(suspicion(Interval(0.1, 0.1, 0.1)))


def test_the_line_is_the_weighted_least_squares_one() -> None:
    rng = np.random.default_rng(4)
    u = rng.uniform(0.005, 0.02, DAYS.size)
    y = 0.02 - 1e-4 * DAYS + rng.normal(0.0, u)
    slope, start = np.polyfit(DAYS, y, 1, w=1.0 / u)
    found = fit_drift(DAYS, y, u)
    assert found is not None
    assert found.change.value == pytest.approx(math.expm1(slope * 300.0), rel=1e-9)
    assert found.first == pytest.approx(math.expm1(start), rel=1e-9)
    assert found.last == pytest.approx(math.expm1(start + 300.0 * slope), rel=1e-9)


def test_the_interval_is_student_with_the_declared_sizes_as_prior() -> None:
    u = np.full(4, 0.01)
    days = np.array([0.0, 100.0, 200.0, 300.0])
    y = np.array([0.01, -0.01, -0.01, 0.01])  # no slope; residuals of exactly one u
    found = fit_drift(days, y, u)
    assert found is not None
    dof = DEFAULT_DOF + 2.0
    scatter = (DEFAULT_DOF + 4.0) / dof
    u_change = 300.0 * 0.01 * math.sqrt(scatter / 50_000.0)
    assert found.degrees_of_freedom == pytest.approx(dof)
    assert found.scatter == pytest.approx(math.sqrt(scatter))
    half = stats.t.ppf(0.975, dof) * u_change
    assert found.change.high == pytest.approx(math.expm1(half), rel=1e-6)
    assert found.change.low == pytest.approx(math.expm1(-half), rel=1e-6)
    assert found.p == pytest.approx(1.0)


@pytest.mark.parametrize("days", [[], [0.0, 9.0], [0.0, 0.2, 0.9]])
def test_too_few_logs_or_one_day_give_no_line(days: list[float]) -> None:
    at = np.array(days)
    assert fit_drift(at, np.zeros(at.size), np.full(at.size, 0.01)) is None


def test_intervals_cover_a_true_drift_and_what_is_common_cancels() -> None:
    """95 % intervals, with an offset that all logs share and is never declared."""
    rng = np.random.default_rng(11)
    truth = math.log(0.97)
    u = np.full(DAYS.size, 0.01)
    hits = 0
    for _ in range(1000):
        offset = rng.normal(0.0, 0.05)
        # What the sizes really are scatters about what is declared, as the prior says.
        size = 0.01 * math.sqrt(DEFAULT_DOF / rng.chisquare(DEFAULT_DOF))
        y = offset + truth * DAYS / 300.0 + rng.normal(0.0, size, DAYS.size)
        found = fit_drift(DAYS, y, u)
        assert found is not None
        hits += found.change.contains(math.expm1(truth))
    # Binomial, n = 1000, p = 0.95: four standard deviations are 28.
    assert 922 <= hits <= 978


@given(st.lists(st.floats(1e-6, 1.0), min_size=1, max_size=30))
def test_drifts_shown_are_those_that_benjamini_and_hochberg_keep(p: list[float]) -> None:
    wide = Interval(0.05, 0.02, 0.08)
    kept = stats.false_discovery_control(p) <= LEVEL * (1.0 + 1e-12)
    verdicts = judge_drifts([line(wide, each) for each in p])
    assert [v is DriftVerdict.DRIFTS for v in verdicts] == list(kept)


def test_steady_needs_an_interval_inside_the_margin_not_a_failed_test() -> None:
    inside = line(Interval(0.001, -0.006, 0.008), 0.7)
    wide = line(Interval(0.001, -0.03, 0.03), 0.9)
    real_but_small = line(Interval(0.004, 0.002, 0.006), 0.001)
    assert judge_drifts([inside, wide, None, real_but_small]) == (
        DriftVerdict.STEADY,
        DriftVerdict.UNDETERMINED,
        DriftVerdict.UNDETERMINED,
        DriftVerdict.STEADY,
    )


def levels_of(
    *, n: int = 11, seed: int = 2, slope: float = 0.0, u: float = 0.01, odd: float = 0.0
) -> tuple[Levels, np.ndarray]:
    """Return levels over the seasons, the first of them off by `odd`, and their temperatures."""
    rng = np.random.default_rng(seed)
    t = rng.uniform(270.0, 305.0, n)
    y = -0.1 + slope * np.log(t / 290.0) + rng.normal(0.0, u, n)
    y[0] += odd
    states = tuple(
        State(t_k=float(k), t_is_inlet=True, p_manifold_pa=1.9e5, speed_rpm=2000.0) for k in t
    )
    return Levels(ln_ratio=y, u=np.full(n, u), states=states), t


@pytest.mark.parametrize("odd", [0.06, -0.06, 0.26])
def test_the_odd_log_is_the_farthest_from_the_others_with_its_size(odd: float) -> None:
    levels, _ = levels_of(odd=odd, slope=0.9)
    found = against_others(levels)
    scores = [0.0 if c is None else abs(c.value) / c.u for c in found]
    assert int(np.argmax(scores)) == 0
    assert found[0] is not None
    assert found[0].interval().contains(math.expm1(odd))
    # Nor does it make the others look odd.
    assert max(scores[1:]) < 3.0


@pytest.mark.parametrize("slope", [INLET_SLOPE[0], 0.3, 1.0])
def test_the_seasons_make_no_log_odd(slope: float) -> None:
    outside = 0
    for seed in range(40):
        levels, _ = levels_of(slope=slope, seed=seed)
        outside += sum(c is None or not c.interval().contains(0.0) for c in against_others(levels))
    # 440 intervals of 95 %: 22 outside, with a standard deviation of about 5.
    assert outside <= 37


def test_the_slope_over_temperature_is_taken_out_before_a_drift() -> None:
    levels, t = levels_of(slope=1.0, u=0.002, n=30)
    y, u = at_one_state(levels)
    assert abs(np.polyfit(np.log(t), y, 1)[0]) < 0.1 * abs(
        np.polyfit(np.log(t), levels.ln_ratio, 1)[0]
    )
    assert np.all(u >= levels.u)


def test_two_logs_are_not_held_against_each_other() -> None:
    levels, _ = levels_of(n=2, odd=0.3)
    assert against_others(levels) == (None, None)


def test_two_odd_logs_of_seven_do_not_hide_each_other() -> None:
    levels, _ = levels_of(n=9)
    y = levels.ln_ratio.copy()
    y[:2] += 0.2
    found = against_others(Levels(ln_ratio=y, u=levels.u, states=levels.states))
    scores = np.array([0.0 if c is None else c.value / c.u for c in found])
    assert set(np.argsort(-scores)[:2]) == {0, 1}
    assert found[0] is not None
    assert found[0].interval().contains(math.expm1(0.2))
