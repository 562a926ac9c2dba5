"""The curves of full load: means and ends of repeats, units by hand, the engine's air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.estimates.load_steps import LoadStep
from airsense.evidence.spool_up import _build_up
from airsense.jobs.comparison.full_load import full_load
from airsense.jobs.comparison.result import FullLoadRow, SpeedRow
from airsense.results import Interval
from tests.evidence_inputs import setup_of
from tests.property.test_evidence_matched import matched, sweep

ENGINE = setup_of(cylinders=4).engine


def rows_of(quantity: str, rows: tuple[FullLoadRow, ...]) -> list[FullLoadRow]:
    return [r for r in rows if r.quantity == quantity]


def test_each_quantity_has_its_mean_between_lowest_and_highest_repeat() -> None:
    before = [sweep(gain) for gain in (-0.01, 0.0, 0.01)]
    found = full_load(matched(before, [sweep(0.05)]), (), ENGINE)
    for row in rows_of("air_shown", found):
        flow = 5e-5 * row.engine_speed_rpm
        assert row.before.low == pytest.approx(flow * np.exp(-0.01), rel=1e-3)
        assert row.before.high == pytest.approx(flow * np.exp(0.01), rel=1e-3)
        assert row.after.low == row.after.value == row.after.high


def test_fuel_a_stroke_and_torque_by_hand() -> None:
    """2.5e-6 kg/s per rpm over n/60 x 2 strokes a turn: 75 mg; 60 kW at 3000 rpm: 191 N m."""
    runs = [replace(sweep(), power_w=20.0 * sweep().speed_rpm) for _ in range(2)]
    found = full_load(matched(runs[:1], runs[1:]), (), ENGINE)
    for row in rows_of("fuel_per_stroke", found):
        assert row.unit == "kg"
        assert row.before.value == pytest.approx(2.5e-6 * 60.0 / 2.0, rel=2e-3)
    for row in rows_of("torque", found):
        assert row.after.value == pytest.approx(20.0 * 60.0 / (2.0 * np.pi), rel=2e-3)
    assert not rows_of("wheel_power", found)


def test_wheel_power_is_called_so() -> None:
    runs = [replace(sweep(), wheel_power_w=18.0 * sweep().speed_rpm) for _ in range(2)]
    found = {r.quantity for r in full_load(matched(runs[:1], runs[1:]), (), ENGINE)}
    assert {"wheel_power", "wheel_torque"} <= found
    assert not {"power", "torque"} & found


def test_the_engines_air_is_the_reading_before_raised_by_its_change() -> None:
    pair = matched([sweep()] * 2, [sweep(0.08)] * 2)
    change = Interval(0.03, 0.01, 0.05)
    rows = tuple(
        SpeedRow(
            engine_speed_rpm=float(speed),
            airflow_change_indicated=0.083,
            airflow_change=change,
            indicated_surplus=Interval(0.05, 0.03, 0.07),
            sensor_skew=Interval(0.05, 0.03, 0.07),
            samples=9,
        )
        for speed in pair.speed_rpm
    )
    for row in rows_of("engine_air", full_load(pair, rows, ENGINE)):
        assert row.after.value / row.before.value == pytest.approx(1.03)
        assert row.after.high / row.before.value == pytest.approx(1.05)


def test_without_matched_full_load_there_is_no_curve() -> None:
    assert full_load(None, (), ENGINE) == ()


def test_boost_builds_up_over_the_time_that_all_repeats_last() -> None:
    def step(tau_s: float, length_s: float) -> LoadStep:
        time = np.arange(0.0, length_s, 0.05)
        return LoadStep(
            run=sweep(),
            start_s=0.0,
            end_s=length_s,
            speed_rpm=1500.0,
            p_start_pa=1e5,
            time_s=time,
            p_manifold_pa=1e5 + 1e5 * (1.0 - np.exp(-time / tau_s)),
            u_time_s=0.01,
        )

    rows = _build_up([step(1.0, 4.0), step(1.2, 3.0)], [step(0.8, 5.0)])
    assert rows[-1].time_s == pytest.approx(2.8)
    at = rows[5]
    assert at.before.low == pytest.approx(2e5 - 1e5 * np.exp(-at.time_s / 1.2), rel=1e-3)
    assert at.before.high == pytest.approx(2e5 - 1e5 * np.exp(-at.time_s), rel=1e-3)
    assert at.after.value == pytest.approx(2e5 - 1e5 * np.exp(-at.time_s / 0.8), rel=1e-3)
