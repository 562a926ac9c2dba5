"""Delay and lag: found, made and undone, at any rate, with noise, rounding and gaps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.physics.align import first_order_lag, lag_s, shift, undo_first_order_lag
from airsense.physics.charge import undo_thermistor_lag

rates = st.sampled_from([2.0, 5.0, 10.0, 50.0])


def sweep(t):
    """Spool-up, slow rise, ripple: what boost does in a pull."""
    return 1.0 / (1.0 + np.exp(-(t - 5.0) / 0.6)) + 0.035 * t + 0.03 * np.sin(2.0 * t)


def grid(rate, seconds=16.0):
    return np.arange(0.0, seconds, 1.0 / rate)


@given(rates, st.floats(-0.8, 0.8))
@settings(max_examples=60, deadline=None)
def test_a_clean_delay_is_found_below_the_sample_step(rate, delay):
    """A delay is where the cross-correlation peaks: Bendat and Piersol, time delay."""
    t = grid(rate)
    found = lag_s(t, 3.0 * sweep(t - delay) + 7.0, sweep(t), 2.0)
    assert found.lag_s == pytest.approx(delay, abs=0.02)
    assert found.quality > 0.99


@given(rates, st.floats(-0.8, 0.8))
@settings(max_examples=40, deadline=None)
def test_swapping_the_signals_turns_the_sign(rate, delay):
    """R_xy(t) = R_yx(-t): Bendat and Piersol, cross-correlation."""
    t = grid(rate)
    a, b = sweep(t - delay), sweep(t)
    there, back = lag_s(t, a, b, 2.0), lag_s(t, b, a, 2.0)
    assert there.lag_s == pytest.approx(-back.lag_s, abs=1e-6)
    assert there.quality == pytest.approx(back.quality, abs=1e-9)


@pytest.mark.parametrize(("rate", "largest"), [(20.0, 0.12), (10.0, 0.15), (4.0, 0.3)])
def test_noise_of_a_percent_moves_it_little(rate, largest):
    t = grid(rate)
    errors = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        noise = 1.0 + rng.normal(0.0, 0.01, (2, t.size))
        errors.append(lag_s(t, sweep(t - 0.3) * noise[0], sweep(t) * noise[1], 2.0).lag_s - 0.3)
    assert np.max(np.abs(errors)) < largest
    assert abs(np.mean(errors)) < 0.25 * largest


def test_uneven_times_and_missing_samples():
    rng = np.random.default_rng(3)
    t = np.sort(rng.uniform(0.0, 16.0, 160))
    a, b = sweep(t - 0.4), sweep(t)
    a[::7] = np.nan
    assert lag_s(t, a, b, 2.0).lag_s == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize("delay", [-1.93, 1.93])
def test_delays_are_found_up_to_the_range(delay):
    t = grid(10.0, 24.0)
    assert lag_s(t, sweep(t - 6.0 - delay), sweep(t - 6.0), 2.0).lag_s == pytest.approx(
        delay, abs=0.03
    )


def test_four_times_the_range_is_just_long_enough():
    t = 500.0 + np.arange(0.0, 8.01, 0.125)
    assert t[-1] - t[0] == 8.0
    assert np.isfinite(lag_s(t, sweep(t - 500.2), sweep(t - 500.0), 2.0).lag_s)
    assert np.isnan(lag_s(t[:-1], sweep(t - 500.2)[:-1], sweep(t - 500.0)[:-1], 2.0).lag_s)


def test_first_order_lag_shows_as_its_time_constant():
    """A slow signal comes late by the time constant: Ogata, unit-ramp response."""
    t = grid(20.0, 30.0)
    slow = first_order_lag(t, sweep(t), 0.4)
    assert lag_s(t, slow, sweep(t), 2.0).lag_s == pytest.approx(0.4, rel=0.2)


@pytest.mark.parametrize(
    ("signal", "why"),
    [
        (np.zeros_like, "does not move"),
        (lambda t: np.full_like(t, np.nan), "is missing"),
        (lambda t: -sweep(t), "moves the other way"),
        (lambda t: sweep(t - 3.0), "lags beyond the range"),
    ],
)
def test_no_lag_is_reported_where_there_is_none(signal, why):
    t = grid(10.0, 24.0)
    found = lag_s(t, signal(t), sweep(t), 2.0)
    assert np.isnan(found.lag_s), why
    assert found.quality == 0.0


def test_too_short_a_record_has_no_lag():
    t = grid(10.0, 7.9)
    assert np.isnan(lag_s(t, sweep(t - 0.3), sweep(t), 2.0).lag_s)
    t = grid(10.0, 8.2)
    assert lag_s(t, sweep(t - 0.3), sweep(t), 2.0).lag_s == pytest.approx(0.3, abs=0.05)
    late = 1000.0 + grid(10.0, 7.9)
    assert np.isnan(lag_s(late, sweep(late - 1000.3), sweep(late - 1000.0), 2.0).lag_s)
    assert np.isnan(lag_s([0.0, 10.0, 20.0], [0.0, 1.0, 0.0], [0.0, 1.0, 0.0], 2.0).lag_s)


def test_unrelated_signals_have_low_quality():
    """White noises have no common peak: Bendat and Piersol, cross-correlation."""
    t = grid(10.0, 120.0)
    rng = np.random.default_rng(5)
    found = lag_s(t, rng.normal(size=t.size), rng.normal(size=t.size), 2.0)
    assert found.quality < 0.5


@given(st.floats(-2.0, 2.0))
def test_shift_undoes_a_delay(delay):
    t = grid(50.0)
    back = shift(t, sweep(t - delay), delay)
    inside = (t > 2.5) & (t < 13.0)
    assert back[inside] == pytest.approx(sweep(t)[inside], abs=2e-4)


def test_shift_knows_nothing_beyond_the_record():
    t = np.arange(5.0)
    assert np.isnan(shift(t, t, 2.0)).tolist() == [False, False, False, True, True]
    assert shift(t, t, 2.0)[:3].tolist() == [2.0, 3.0, 4.0]
    assert np.isnan(shift(t, t, -1.0)).tolist() == [True, False, False, False, False]


@given(st.floats(0.05, 20.0), rates)
def test_step_response(tau, rate):
    """1 - exp(-t/tau): Ogata, unit-step response of a first-order system."""
    # A step between two samples is a steep ramp, so start from the ramp's own exact solution.
    t = grid(rate)
    x = np.where(t >= 1.0, 1.0, 0.0)
    y = first_order_lag(t, x, tau)
    after = t >= 1.0
    first = float(y[np.argmax(after)])
    expected = 1.0 - (1.0 - first) * np.exp(-(t[after] - 1.0) / tau)
    assert y[after] == pytest.approx(expected, abs=1e-9)
    assert np.all(y[t < 1.0 - 1e-9] == 0.0)
    step = 1.0 / rate
    ramp_end = 1.0 - tau / step * (1.0 - np.exp(-step / tau))
    assert first == pytest.approx(ramp_end, abs=1e-9)


@given(st.floats(0.05, 20.0))
def test_ramp_response_on_uneven_times(tau):
    """t - tau (1 - exp(-t/tau)): Ogata, unit-ramp response of a first-order system."""
    t = np.cumsum(np.tile([0.05, 0.2, 0.6], 20))
    x = 3.0 * (t - t[0]) + 1.0
    exact = x - 3.0 * tau * (1.0 - np.exp(-(t - t[0]) / tau))
    assert first_order_lag(t, x, tau) == pytest.approx(exact, rel=1e-9)


def test_lag_bridges_gaps_and_leaves_them_open():
    t = np.arange(10.0)
    x = 2.0 * t
    holed = x.copy()
    holed[4] = np.nan
    y = first_order_lag(t, holed, 1.5)
    assert np.isnan(y).tolist() == [k == 4 for k in range(10)]
    keep = np.arange(10) != 4
    assert y[keep] == pytest.approx(first_order_lag(t, x, 1.5)[keep], rel=1e-12)
    assert np.isnan(first_order_lag(t, np.full(10, np.nan), 1.0)).all()


def test_zero_time_constant_changes_nothing():
    t, x = np.arange(6.0), np.array([1.0, 5.0, np.nan, 2.0, 8.0, 1.0])
    for function in (first_order_lag, undo_first_order_lag):
        out = function(t, x, 0.0)
        assert np.array_equal(out, x, equal_nan=True)
        assert out is not x
        assert function([0.0], [3.0], 2.0).tolist() == [3.0]


@given(st.floats(0.5, 3.0), st.sampled_from([10.0, 50.0]))
@settings(max_examples=30, deadline=None)
def test_undoing_a_lag_brings_a_slow_signal_back(tau, rate):
    t = grid(rate, 60.0)
    x = 300.0 + 20.0 * np.exp(-(((t - 30.0) / 8.0) ** 2))
    back = undo_first_order_lag(t, first_order_lag(t, x, tau), tau)
    assert np.max(np.abs(back - x)[5:-5]) < 0.25


def thermistor_sweep(tau, rate, seed):
    """Charge that warms by 23 K in 8 s and cools down again, read with 1 K resolution."""
    t = np.arange(0.0, 40.0, 1.0 / rate)
    x = 298.0 + 25.0 * (1.0 - np.exp(-np.clip(t - 10.0, 0.0, 8.0) / 3.0)) * np.where(
        t > 18.0, np.exp(-(t - 18.0) / 4.0), 1.0
    )
    reading = first_order_lag(t, x, tau) + np.random.default_rng(seed).normal(0.0, 0.05, t.size)
    return t, x, np.round(reading)


@pytest.mark.parametrize("tau", [1.5, 3.0, 6.0])
@pytest.mark.parametrize("rate", [2.0, 10.0])
def test_sweep_of_a_rounded_thermistor(tau, rate):
    raw, freed = [], []
    for seed in range(5):
        t, x, reading = thermistor_sweep(tau, rate, seed)
        during = (t > 9.0) & (t < 24.0)
        raw.append(np.sqrt(np.mean((reading - x)[during] ** 2)))
        back = undo_thermistor_lag(t, reading, tau)
        freed.append(np.sqrt(np.mean((back - x)[during] ** 2)))
    assert np.mean(raw) > 3.5
    assert np.mean(freed) < 1.0


@pytest.mark.parametrize("tau", [1.5, 3.0, 6.0])
def test_rounding_does_not_grow(tau):
    # 25.5 C, where the last digit flickers: the worst case.
    t = np.arange(0.0, 60.0, 0.1)
    rng = np.random.default_rng(11)
    reading = np.round(298.5 + rng.normal(0.0, 0.2, t.size))
    back = undo_thermistor_lag(t, reading, tau)
    plain = reading + tau * np.gradient(reading, t)
    assert np.std(back) < 1.0
    assert np.std(plain) > 8.0 * np.std(back)


def test_undoing_keeps_gaps_and_length():
    """A ramp is read late by tau: Ogata, unit-ramp response."""
    t = np.arange(0.0, 20.0, 0.25)
    reading = 300.0 + t
    reading[[5, 6, 40]] = np.nan
    back = undo_first_order_lag(t, reading, 2.0)
    assert np.isnan(back).tolist() == np.isnan(reading).tolist()
    # A ramp read with lag tau is late by tau: 1 K/s times 2 s.
    inner = back[10:-10]
    assert inner[np.isfinite(inner)] == pytest.approx(
        (300.0 + t + 2.0)[10:-10][np.isfinite(inner)], abs=2e-3
    )


def test_the_ends_of_a_record_are_undone_too():
    """A ramp is read late by tau: Ogata, unit-ramp response."""
    t = 100.0 + np.arange(0.0, 20.0, 0.25)
    ramp = 300.0 + 2.0 * (t - 100.0)
    back = undo_first_order_lag(t, ramp - 4.0, 2.0)
    assert back == pytest.approx(ramp, abs=5e-3)


def test_a_jump_in_time_does_not_eat_the_memory():
    t = np.concatenate([np.arange(0.0, 20.0, 0.1), 1e9 + np.arange(0.0, 20.0, 0.1)])
    back = undo_first_order_lag(t, np.full(t.size, 300.0), 2.0)
    assert back == pytest.approx(np.full(t.size, 300.0))


@pytest.mark.parametrize("t", [[0.0, 0.0, 1.0], [0.0, 2.0, 1.0], [0.0, np.nan, 1.0]])
def test_time_must_increase(t):
    for call in (
        lambda: lag_s(t, t, t, 1.0),
        lambda: shift(t, t, 0.1),
        lambda: first_order_lag(t, t, 1.0),
        lambda: undo_first_order_lag(t, t, 1.0),
    ):
        with pytest.raises(InputError, match="step of time_s"):
            call()


def test_other_impossible_arguments():
    t = np.arange(10.0)
    with pytest.raises(InputError, match="tau_s"):
        first_order_lag(t, t, -1.0)
    with pytest.raises(InputError, match="tau_s"):
        undo_first_order_lag(t, t, -1.0)
    with pytest.raises(InputError, match="max_lag_s"):
        lag_s(t, t, t, 0.0)
    with pytest.raises(InputError, match=r"^time_s is not a sequence") as info:
        shift(np.zeros((2, 2)), np.zeros((2, 2)), 0.1)
    assert info.value.where == "argument time_s"
    assert info.value.got == "an array of 2 dimensions"
