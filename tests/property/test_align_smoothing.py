"""Lag and smoothing against scipy: a linear system driven by a signal, and a Gaussian filter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lsim

from airsense.physics.align import KERNEL_REACH, NARROWEST_KERNEL, _smoothed, first_order_lag


@given(st.integers(30, 400), st.floats(2.0, 30.0), st.sampled_from([0, 1]), st.integers(0, 99))
def test_away_from_the_ends_it_is_the_filter_of_scipy(
    size: int, width: float, order: int, seed: int
) -> None:
    x = np.cumsum(np.random.default_rng(seed).normal(size=size))
    reach = int(KERNEL_REACH * width) + 1
    inner = slice(reach, max(size - reach, reach))
    exact = gaussian_filter1d(x, width, order=order, radius=reach)
    assert np.allclose(_smoothed(x, width, order=order)[inner], exact[inner], rtol=0, atol=1e-9)


@pytest.mark.parametrize("size", [6, 40])
def test_a_ramp_keeps_value_and_slope_to_its_ends(size: int) -> None:
    ramp = 3.0 + 0.5 * np.arange(size)
    assert np.allclose(_smoothed(ramp, NARROWEST_KERNEL, order=0), ramp)
    assert np.allclose(_smoothed(ramp, NARROWEST_KERNEL, order=1), 0.5, rtol=1e-3)


@given(st.floats(0.05, 20.0), st.sampled_from([0.02, 0.1, 0.5]), st.integers(0, 99))
def test_a_lag_is_the_linear_system_of_scipy(tau: float, step: float, seed: int) -> None:
    """1 / (tau s + 1), driven by a signal that is linear between its samples."""
    t = step * np.arange(200)
    x = 300.0 + np.cumsum(np.random.default_rng(seed).normal(size=t.size))
    _, exact, _ = lsim(([1.0], [tau, 1.0]), x - x[0], t)
    assert np.allclose(first_order_lag(t, x, tau), exact + x[0], rtol=0, atol=1e-6)
