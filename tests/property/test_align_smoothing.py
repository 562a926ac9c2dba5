"""The smoothing inside the inverse lag is the Gaussian filter that scipy has."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from airsense.physics.align import KERNEL_REACH, NARROWEST_KERNEL, _smoothed


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
