"""The spline and its penalty, held to scipy's own smoothing spline."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import make_smoothing_spline

from airsense.transfer.basis import KAPPA, basis_on, basis_over, process_precision


def penalized(x: np.ndarray, y: np.ndarray, lam: float) -> np.ndarray:
    """Least squares with `lam` times the roughness, on a basis with a knot on each point."""
    basis = basis_on(x)
    rows = basis.design(x)
    return rows @ np.linalg.solve(rows.T @ rows + lam * basis.penalty(0.0), rows.T @ y)


# JCGM 100:2008, table H.6: readings of a thermometer and their corrections, in degC (H.3).
GUM_T = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
GUM_B = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])


@pytest.mark.parametrize("lam", [1e-3, 0.1, 1.0, 30.0])
def test_the_penalized_spline_is_scipys_on_the_guides_thermometer(lam):
    theirs = make_smoothing_spline(GUM_T, GUM_B, lam=lam)(GUM_T)
    np.testing.assert_allclose(penalized(GUM_T, GUM_B, lam), theirs, atol=2e-9)


@given(st.integers(0, 10_000), st.floats(-4.0, 1.0))
def test_the_penalized_spline_is_scipys_on_any_data(seed, ln_lam):
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0.0, 5.0, 25)) + 0.02 * np.arange(25)
    y = rng.normal(0.0, 1.0, 25)
    theirs = make_smoothing_spline(x, y, lam=10.0**ln_lam)(x)
    np.testing.assert_allclose(penalized(x, y, 10.0**ln_lam), theirs, atol=1e-6)


@pytest.mark.parametrize("amplitude", [0.005, 0.04])
def test_the_process_has_the_deviation_and_the_reach_that_it_says(amplitude):
    basis = basis_over(-10.0, 10.0)
    rows = basis.design(np.array([0.0, 1.0 / KAPPA, 4.0]))
    covariance = rows @ np.linalg.inv(process_precision(basis, amplitude)) @ rows.T
    assert np.sqrt(covariance[0, 0]) == pytest.approx(amplitude, rel=0.02)
    # Matern process of order 3/2: correlation (1 + d) exp(-d) at d = kappa * distance
    correlation = covariance[0, 1] / covariance[0, 0]
    assert correlation == pytest.approx(2.0 * np.exp(-1.0), rel=0.02)
    assert abs(covariance[0, 2] / covariance[0, 0]) < 0.01


def test_beyond_its_ends_a_curve_keeps_its_end_value():
    basis = basis_over(1.0, 3.0)
    coefficients = np.random.default_rng(1).normal(0.0, 1.0, basis.size)
    inside, outside = basis.design([1.0, 3.0]), basis.design([-5.0, 9.0])
    np.testing.assert_array_equal(inside @ coefficients, outside @ coefficients)


@given(st.floats(0.1, 6.0))
def test_the_splines_add_up_to_one(width):
    basis = basis_over(0.0, width)
    rows = basis.design(np.linspace(0.0, width, 57))
    np.testing.assert_allclose(rows.sum(axis=1), 1.0, atol=1e-12)
