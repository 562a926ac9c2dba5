"""Curves on knots: what lies between and beyond them, and the process that is their prior."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.evidence.splines import REACH, basis_over, process_precision


@pytest.mark.parametrize("amplitude", [0.005, 0.04])
def test_the_process_has_the_deviation_and_the_reach_that_it_says(amplitude):
    basis = basis_over(-4.0, 4.0)
    rows = basis.design(basis.knots)
    covariance = rows @ np.linalg.inv(process_precision(basis, amplitude)) @ rows.T
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), amplitude, rtol=1e-3)
    # Rasmussen & Williams (2006), eq. 4.17, written out anew
    middle = basis.size // 2
    for k in (middle + 1, middle + 4, basis.size - 1):
        d = np.sqrt(3.0) * (basis.knots[k] - basis.knots[middle]) / REACH
        want = (1.0 + d) * np.exp(-d)
        assert covariance[middle, k] / amplitude**2 == pytest.approx(want, abs=1e-3)


@given(st.floats(0.2, 6.0), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
def test_a_straight_line_through_the_knots_stays_straight(width, slope, offset):
    basis = basis_over(0.0, width)
    x = np.linspace(0.0, width, 57)
    line = basis.design(x) @ (slope * basis.knots + offset)
    np.testing.assert_allclose(line, slope * x + offset, atol=1e-9)
    np.testing.assert_allclose(basis.design(x).sum(axis=1), 1.0, atol=1e-12)


def test_beyond_its_ends_a_curve_keeps_its_end_value():
    basis = basis_over(1.0, 3.0)
    values = np.random.default_rng(1).normal(0.0, 1.0, basis.size)
    inside, outside = basis.design([1.0, 3.0]), basis.design([-5.0, 9.0])
    np.testing.assert_array_equal(inside @ values, outside @ values)
