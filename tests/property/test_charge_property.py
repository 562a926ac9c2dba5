"""Charge temperature: bounds and directions, and where a sensor sits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from airsense.physics.align import first_order_lag
from airsense.physics.charge import (
    after_cooler_temperature_k,
    compressor_outlet_temperature_k,
    estimate_charge_temperature_k,
    infer_place,
)

temperatures = st.floats(240.0, 330.0)
ratios = st.floats(1.0, 4.0)
parts = st.floats(0.05, 1.0)


@given(temperatures, ratios, parts)
def test_compression_heats_and_inefficiency_heats_more(t, ratio, eta):
    """Isentropic efficiency of a compressor: Moran and Shapiro."""
    hot = compressor_outlet_temperature_k(t, ratio, eta)
    assert hot >= t
    assert compressor_outlet_temperature_k(t, ratio + 0.1, eta) > hot
    assert compressor_outlet_temperature_k(t, ratio, 0.5 * eta) >= hot


@given(temperatures, ratios, parts)
def test_heating_is_in_proportion_to_inlet_temperature(t, ratio, eta):
    """T2/T1 depends on p2/p1 alone: Moran and Shapiro, isentropic processes."""
    factor = compressor_outlet_temperature_k(300.0, ratio, eta) / 300.0
    assert compressor_outlet_temperature_k(t, ratio, eta) == pytest.approx(t * factor, rel=1e-12)


@given(temperatures, st.floats(0.0, 200.0), st.floats(0.0, 1.0))
def test_cooler_stays_between_its_streams(cold, more, eps):
    """Effectiveness lies between 0 and 1: Kays and London."""
    out = float(after_cooler_temperature_k(cold + more, cold, eps))
    assert cold - 1e-9 <= out <= cold + more + 1e-9


@given(temperatures, ratios)
def test_estimate_lies_between_ambient_and_compressor_outlet(t, ratio):
    got = estimate_charge_temperature_k(t, t, ratio * 1e5, 1e5)
    assert t - 1e-9 <= got.t_charge_k <= compressor_outlet_temperature_k(t, ratio, 0.6)
    assert got.u_k >= 5.0
    more = estimate_charge_temperature_k(t, t, (ratio + 0.1) * 1e5, 1e5)
    assert more.t_charge_k > got.t_charge_k
    assert more.u_k > got.u_k


AMBIENT_K = 293.0


def log_of_sweeps(
    *,
    seed=0,
    left=0.0,
    sensor_s=3.0,
    metal_s=0.0,
    soak_k=5.0,
    ratio=2.4,
    seconds=8.0,
    sweeps=2,
    recirculation=0.0,
    resolution=1.0,
):
    """Time, reading, manifold pressure: sweeps with rest between; `left` is what a cooler leaves.

    Independent of the code under test in its efficiency, its noise and the thermal mass of the
    cooler.
    """
    rng = np.random.default_rng(seed)
    rest, period = 20.0, seconds + 40.0
    t = np.arange(0.0, sweeps * period, 0.1)
    phase = t % period
    boost = np.interp(
        phase,
        [rest, rest + 2.0, rest + seconds, rest + seconds + 1.0],
        [1.0, 0.95 * ratio, ratio, 1.0],
    )
    rise = AMBIENT_K * (boost**0.2857 - 1.0) / 0.74
    gas = AMBIENT_K + soak_k + left * first_order_lag(t, rise, metal_s)
    gas = gas + recirculation * first_order_lag(t, rise, 5.0)
    reading = first_order_lag(t, gas, sensor_s) + rng.normal(0.0, 0.1, t.size)
    reading = np.round(reading / resolution) * resolution
    return t, reading, boost * 99e3 * (1.0 + rng.normal(0.0, 0.004, t.size))


def guess(ambient=AMBIENT_K, timed=True, **case):
    t, reading, p = log_of_sweeps(**case)
    return infer_place(reading, ambient, p, 99e3, time_s=t if timed else None)


CASES = [
    {},
    {"sensor_s": 1.0},
    {"sensor_s": 8.0},
    {"soak_k": 18.0},
    {"ratio": 1.7},
    {"ratio": 1.6, "seconds": 60.0},
    {"sweeps": 1},
    {"resolution": 0.1},
]


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("ambient", [AMBIENT_K, None])
@pytest.mark.parametrize("seed", range(3))
def test_sensor_behind_the_cooler(case, ambient, seed):
    got = guess(ambient, left=0.25, seed=seed, **case)
    assert got.place == "after_cooler"
    assert got.probability > 0.9
    assert "cooler" in got.reason
    assert got.slope == pytest.approx(0.25 * 0.70 / 0.74, abs=0.08)


@pytest.mark.parametrize("case", CASES, ids=str)
@pytest.mark.parametrize("ambient", [AMBIENT_K, None])
@pytest.mark.parametrize("seed", range(3))
def test_sensor_ahead_of_the_compressor(case, ambient, seed):
    got = guess(ambient, seed=seed, **case)
    assert got.place == "before_compressor"
    assert got.probability < 0.1
    assert abs(got.slope) < 0.05


@pytest.mark.parametrize("left", [0.0, 0.08, 0.1, 0.15, 0.25, 0.4])
@pytest.mark.parametrize("metal_s", [0.0, 10.0, 25.0])
@pytest.mark.parametrize("recirculation", [0.0, 0.04])
def test_never_wrongly_behind_the_cooler_and_seldom_in_doubt(left, metal_s, recirculation):
    # A cold cooler hides the heat of a short sweep; hot air under load feigns some.
    got = guess(left=left, metal_s=metal_s, recirculation=recirculation)
    if left == 0.0:
        assert got.place == "before_compressor"
    elif left >= 0.25 and metal_s <= 10.0:
        assert got.place == "after_cooler"
    elif left >= 0.15:
        assert got.place != "before_compressor"


def test_strong_recirculation_of_hot_air_is_in_doubt_not_behind_the_cooler():
    assert guess(recirculation=0.09).place != "after_cooler"


def test_a_stopped_engines_hot_soak_does_not_count():
    t, reading, p = log_of_sweeps(sweeps=4)
    hot = (t > 150.0) & (t < 165.0)
    reading[hot] += 60.0
    got = infer_place(reading, AMBIENT_K, p, 99e3, time_s=t)
    assert got.place == "before_compressor"


@pytest.mark.parametrize("left", [0.0, 0.25, 0.35])
@pytest.mark.parametrize("soak_k", [30.0, 50.0])
@pytest.mark.parametrize("ambient", [AMBIENT_K, None])
def test_heat_soak_that_blows_away_within_a_sweep_never_makes_a_cooler(left, soak_k, ambient):
    # One sweep only, from idle: the reading falls as boost sets in.
    t, reading, p = log_of_sweeps(left=left, sweeps=1)
    falling = soak_k * np.exp(-np.clip(t - 20.0, 0.0, None) / 3.0)
    got = infer_place(np.round(reading + falling), ambient, p, 99e3, time_s=t)
    if left == 0.0:
        assert got.place != "after_cooler"
    if ambient is None:
        assert got.place != "after_cooler"
        assert got.slope < 0.1


def test_reading_that_falls_with_boost_is_unknown():
    t, reading, p = log_of_sweeps(left=0.0)
    soak = 60.0 * np.exp(-np.clip(t % 48.0 - 20.0, 0.0, None) / 3.0)
    got = infer_place(np.round(reading + soak), None, p, 99e3, time_s=t)
    assert got.place == "unknown"
    assert "heat soak" in got.reason


def test_excess_that_contradicts_the_slope_is_unknown():
    # 60 K over ambient, yet no answer to boost: neither place explains it.
    got = guess(left=0.0, soak_k=60.0, sweeps=4)
    assert got.place == "unknown"
    assert "heat soak" in got.reason
    assert got.boosted_excess_k == pytest.approx(60.0, abs=1.0)


def test_odds_before_the_behaviour_multiply_those_of_the_behaviour():
    t, reading, p = log_of_sweeps(left=0.11, sweeps=2)
    even = infer_place(reading, AMBIENT_K, p, 99e3, time_s=t).probability
    for odds in (0.2, 1.0, 8.0):
        got = infer_place(reading, AMBIENT_K, p, 99e3, time_s=t, odds_after=odds).probability
        assert got / (1.0 - got) == pytest.approx(odds * even / (1.0 - even), rel=1e-9)


@pytest.mark.parametrize("sweeps", [1, 8])
def test_stored_heat_may_hide_a_slope_in_one_sweep_more_than_in_many(sweeps):
    """The probability by hand: a share of the drawn coolers shows 0.10 +- 0.10, or nothing."""
    t, reading, p = log_of_sweeps(left=0.0, sweeps=sweeps)
    got = infer_place(reading, None, p, 99e3, time_s=t)
    share = 0.15 / (1.0 + (t[-1] - t[0]) / 120.0)
    seen = norm.pdf(got.slope, 0.25, np.hypot(got.u_slope, 0.3 / 12.0**0.5))
    wide = np.hypot(got.u_slope, 0.10)
    after = (1.0 - share) * seen + share * norm.pdf(got.slope, 0.10, wide)
    before = norm.pdf(got.slope, 0.03, np.hypot(got.u_slope, 0.03))
    before = (1.0 - share) * before + share * norm.pdf(got.slope, 0.03, wide)
    assert got.probability == pytest.approx(after / (after + before), rel=1e-6)
    assert got.place == "before_compressor"


def test_without_a_cooler_it_is_not_behind_one():
    got = guess(left=0.95, sweeps=3)
    assert got.place == "unknown"
    assert "more than any cooler leaves" in got.reason


@pytest.mark.parametrize("ratio", [1.0, 1.2, 1.45])
def test_too_little_boost(ratio):
    got = guess(left=0.25, ratio=ratio)
    assert got.place == "unknown"
    assert "1.5" in got.reason
    assert got.boosted_samples == 0
    assert got.probability == 0.5
    assert np.isnan(got.slope)


def test_boost_too_steady():
    t = np.arange(0.0, 60.0, 0.1)
    got = infer_place(np.full(t.size, 330.0), 293.0, np.full(t.size, 2e5), 1e5, time_s=t)
    assert got.place == "unknown"
    assert "too steady" in got.reason
    assert got.boosted_samples == t.size


def test_boost_too_short_for_the_sensor():
    t = np.arange(0.0, 30.0, 0.05)
    p = np.where((t > 10.0) & (t < 11.0), 1.75e5, 1e5)
    got = infer_place(np.full(t.size, 293.0), 293.0, p, 1e5, time_s=t)
    assert got.place == "unknown"
    assert "too short" in got.reason


def test_settled_samples_need_no_time():
    ratio = np.repeat([1.0, 1.4, 1.8, 2.2, 2.4], 30)
    rise = 293.0 * (ratio**0.2857 - 1.0) / 0.7
    behind = infer_place(np.round(298.0 + 0.25 * rise), 293.0, ratio * 1e5, 1e5)
    ahead = infer_place(np.round(298.0 + 0.0 * rise), 293.0, ratio * 1e5, 1e5)
    assert (behind.place, ahead.place) == ("after_cooler", "before_compressor")
    assert behind.boosted_samples == 90
    assert behind.boosted_rise_k == pytest.approx(float(np.median(rise[60:])), rel=1e-3)
    assert behind.boosted_excess_k == pytest.approx(5.0 + 0.25 * np.median(rise[60:]), abs=0.6)
    assert np.isnan(infer_place(298.0 + 0.0 * rise, None, ratio * 1e5, 1e5).boosted_excess_k)


def settled(left, offset_k=5.0):
    """Ratios of 1 to 2.4 in steps, 90 of 150 samples boosted, and an exact reading."""
    ratio = np.repeat([1.0, 1.4, 1.8, 2.2, 2.4], 30)
    rise = 293.0 * (ratio ** (2.0 / 7.0) - 1.0) / 0.7
    return ratio, rise, 293.0 + offset_k + left * rise


@pytest.mark.parametrize("left", [0.02, 0.08, 0.12, 0.2, 0.35])
@pytest.mark.parametrize("with_ambient", [True, False])
def test_slope_its_uncertainty_and_the_odds_are_the_ones_stated(left, with_ambient):
    # An exact line leaves the least scatter, 0.3 K, and a tenth of the samples independent.
    ratio, rise, reading = settled(left, 7.0)
    got = infer_place(reading, 293.0 if with_ambient else None, ratio * 1e5, 1e5)
    slope, u_slope = left, np.hypot(0.3 / (np.std(rise) * np.sqrt(15.0)), 0.02)
    if with_ambient:
        felt = np.median(rise[60:])
        level, u_level = (7.0 + left * felt - 6.0) / felt, 8.0 / felt
        weights = np.array([u_slope**-2, u_level**-2])
        slope = float(weights @ [slope, level] / weights.sum())
        u_slope = weights.sum() ** -0.5
    else:
        # The inlet is then taken for the median reading, which scales the rise.
        scale = np.median(reading) / 293.0
        slope, u_slope = left / scale, np.hypot(0.3 / (scale * np.std(rise) * 15.0**0.5), 0.02)
    assert got.slope == pytest.approx(slope, rel=1e-6)
    assert got.u_slope == pytest.approx(u_slope, rel=1e-6)
    after = norm.pdf(slope, 0.25, np.hypot(u_slope, 0.3 / 12.0**0.5))
    before = norm.pdf(slope, 0.03, np.hypot(u_slope, 0.03))
    assert got.probability == pytest.approx(after / (after + before), rel=1e-6)
    wanted = "after_cooler" if got.probability >= 0.9 else "before_compressor"
    assert got.place == (wanted if abs(got.probability - 0.5) >= 0.4 else "unknown")
    assert f"{100.0 * slope:.0f} %" in got.reason


def test_reason_ends_as_the_place_demands():
    endings = {
        "before_compressor": "; behind a cooler it would be 10 to 40 %",
        "after_cooler": ", as behind a charge cooler",
        "unknown": ", which fits neither place well enough",
    }
    for left, place in ((0.02, "before_compressor"), (0.3, "after_cooler"), (0.11, "unknown")):
        ratio, _, reading = settled(left)
        got = infer_place(reading, None, ratio * 1e5, 1e5)
        assert got.place == place
        assert got.reason.startswith("it follows ")
        assert got.reason.endswith("under boost" + endings[place])


def test_slow_drift_of_the_weather_and_the_engine_bay_is_no_answer_to_boost():
    # The engine bay warms by 30 K over an hour in which boost grows as well.
    t, reading, p = log_of_sweeps(sweeps=8)
    growth = t / t[-1]
    p = 99e3 + (p - 99e3) * (0.4 + 0.6 * growth)
    got = infer_place(np.round(reading + 30.0 * growth), None, p, 99e3, time_s=t)
    assert got.place == "before_compressor"
    assert abs(got.slope) < 0.03


def test_outliers_count_alike_however_far_they_are():
    """A bounded influence, after Huber."""
    t, reading, p = log_of_sweeps(left=0.25, sweeps=4)
    struck = (np.arange(t.size) % 97) == 50
    near, far = (
        infer_place(np.where(struck, reading + k, reading), None, p, 99e3, time_s=t)
        for k in (40.0, 120.0)
    )
    assert near.place == far.place == "after_cooler"
    assert near.slope == pytest.approx(far.slope, abs=0.02)


@pytest.mark.parametrize(("count", "place"), [(9, "unknown"), (10, "after_cooler")])
def test_ten_boosted_samples_are_the_least(count, place):
    ratio = np.concatenate([np.ones(40), np.full(count, 2.2)])
    rise = 293.0 * (ratio ** (2.0 / 7.0) - 1.0) / 0.7
    got = infer_place(298.0 + 0.25 * rise, 293.0, ratio * 1e5, 1e5)
    assert got.place == place


def test_boost_of_exactly_the_least_ratio_counts():
    ratio = np.repeat([1.0, 1.5], 40)
    rise = 293.0 * (ratio ** (2.0 / 7.0) - 1.0) / 0.7
    assert infer_place(298.0 + 0.25 * rise, 293.0, ratio * 1e5, 1e5).boosted_samples == 40


@pytest.mark.parametrize(("left", "place"), [(0.25, "after_cooler"), (0.0, "before_compressor")])
def test_a_long_log_is_thinned_and_tells_the_same(left, place):
    t, reading, p = log_of_sweeps(left=left, sweeps=150)
    assert t.size > 70_000
    long = infer_place(reading, AMBIENT_K, p, 99e3, time_s=t)
    assert long.place == place
    assert long.slope == pytest.approx(guess(left=left, sweeps=3).slope, abs=0.04)
    share = 79 / 480
    assert long.boosted_samples == pytest.approx(share * t.size / 4, rel=0.05)


def test_dead_pressure_is_no_sample():
    ratio, _, reading = settled(0.25)
    ratio = ratio.copy()
    ratio[:5] = 0.0
    assert infer_place(reading, 293.0, ratio * 1e5, 1e5).place == "after_cooler"


def test_missing_samples_are_left_out():
    t, reading, p = log_of_sweeps(left=0.25)
    whole = infer_place(reading, AMBIENT_K, p, 99e3, time_s=t)
    reading[::9], p[::11] = np.nan, np.nan
    ambient = np.full(t.size, AMBIENT_K)
    ambient[::13] = np.nan
    holed = infer_place(reading, ambient, p, 99e3, time_s=t)
    assert holed.place == whole.place == "after_cooler"
    assert holed.slope == pytest.approx(whole.slope, abs=0.03)
    assert holed.boosted_samples < whole.boosted_samples


def test_all_missing_is_unknown():
    blank = np.full(100, np.nan)
    assert infer_place(blank, None, blank, 1e5).place == "unknown"
