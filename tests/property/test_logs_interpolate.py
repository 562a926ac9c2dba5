"""Interpolation at other times, and the error it admits to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.logs.interpolate import interpolate
from airsense.logs.log import Channel


def channel(time: np.ndarray, value: np.ndarray) -> Channel:
    return Channel(name="engine_speed", header="n", unit_read="rpm", time_s=time, value=value)


@given(st.floats(-50, 50), st.floats(-50, 50), st.floats(-50, 50), st.integers(4, 30))
def test_the_error_of_a_parabola_is_the_one_stated(a: float, b: float, c: float, n: int) -> None:
    time = np.linspace(0.0, 9.0, n)
    wanted = np.linspace(0.0, 9.0, 101)
    got = interpolate(channel(time, a + b * time + c * time**2), wanted)
    error = np.abs(got.value - (a + b * wanted + c * wanted**2))
    assert np.allclose(error, got.u, atol=1e-7 * (1.0 + abs(a) + abs(b) + abs(c)))


def test_a_fast_signal_admits_its_error() -> None:
    time = np.arange(0.0, 60.0, 0.9)
    wanted = np.arange(1.0, 58.0, 0.05)
    for period_s in (4.0, 8.0, 20.0):
        got = interpolate(channel(time, np.sin(2 * np.pi * time / period_s)), wanted)
        error = np.abs(got.value - np.sin(2 * np.pi * wanted / period_s))
        assert np.mean(error <= got.u + 1e-12) > 0.68
        assert np.mean(error <= 2.0 * got.u + 1e-12) > 0.95
    slow = interpolate(channel(time, np.sin(time / 30.0) + 2.0), wanted)
    assert slow.trusted(0.01).all()


def test_samples_themselves_are_as_they_are() -> None:
    time = np.arange(10.0)
    got = interpolate(channel(time, time**2), time)
    assert np.allclose(got.value, time**2)
    assert (got.u == 0.0).all()


def test_values_near_zero_are_judged_by_a_floor() -> None:
    time = np.arange(10.0)
    got = interpolate(channel(time, 0.01 * (time - 5.0) ** 2), time + 0.5)
    assert not got.trusted(0.01)[4]
    assert got.trusted(0.01, floor=1.0)[4]


def test_outside_and_in_gaps_there_is_nothing() -> None:
    time = np.array([0.0, 1.0, 2.0, 20.0, 21.0])
    got = interpolate(channel(time, time), np.array([-1.0, 0.5, 2.0, 10.0, 20.0, 22.0]))
    assert np.isnan(got.value).tolist() == [True, False, False, True, False, True]
    assert np.isnan(got.u).tolist() == [True, False, False, True, False, True]
    assert not got.trusted(0.5)[3]


@pytest.mark.parametrize("size", [1, 2])
def test_too_few_samples_are_never_trusted(size: int) -> None:
    time = np.arange(float(size))
    got = interpolate(channel(time, time + 1.0), time)
    assert np.allclose(got.value, time + 1.0)
    assert not got.trusted(0.5).any()
