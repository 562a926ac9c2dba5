"""Logs that repeat old values: the true sample times come back, and free-running logs are left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from airsense.logs.polling import change_rows, find_drift, find_rhythm
from airsense.logs.read import read_log
from tests.log_writing import Columns, drive, save, text

NAMES = {
    "Engine RPM [rpm]": ("engine_speed", 1.0),
    "Intake Manifold Absolute Pressure [kPa]": ("manifold_pressure", 1e3),
    "Mass Air Flow [g/s]": ("mass_air_flow", 1e-3),
    "Lambda": ("lambda", 1.0),
}


def staggered(columns: Columns, *, empty_start: bool, skip_at: int | None = None) -> Columns:
    """Refresh one column a row, in turn; `skip_at` lets the logger miss one beat there."""
    size = columns["Time [s]"].size
    names = list(NAMES)
    out: Columns = {"Time [s]": columns["Time [s]"]}
    turn = np.arange(size)
    if skip_at is not None:
        turn[skip_at:] += 1
    for place, name in enumerate(names):
        refreshed = turn % len(names) == place
        source = np.where(refreshed, np.arange(size), -1)
        source = np.maximum.accumulate(source)
        held = columns[name][np.maximum(source, 0)]
        out[name] = np.where(source < 0, np.nan if empty_start else columns[name][0], held)
    return out


@pytest.mark.parametrize("empty_start", [True, False])
def test_round_robin_gives_back_the_true_sample_times(tmp_path: Path, empty_start: bool) -> None:
    truth = drive(rate_hz=12.5)
    log = read_log(save(tmp_path / "a.csv", text(staggered(truth, empty_start=empty_start))))
    for place, (header, (name, factor)) in enumerate(NAMES.items()):
        expected = slice(place, None, 4)
        channel = log[name]
        late = 0 if empty_start else channel.value.size - truth[header][expected].size
        assert np.allclose(channel.value[late:], truth[header][expected] * factor), name
        assert np.allclose(channel.time_s[late:], truth["Time [s]"][expected]), name
    found = [f for f in log.findings if f.code == "staggered_polling"]
    assert len(found) == 1
    assert "4 rows (0.32 s)" in found[0].message
    assert any(f.code == "start_rows_partly_empty" for f in log.findings) == empty_start


def test_a_missed_beat_shifts_the_rhythm_and_is_followed(tmp_path: Path) -> None:
    truth = drive(rate_hz=12.5)
    polled = staggered(truth, empty_start=True, skip_at=701)
    log = read_log(save(tmp_path / "a.csv", text(polled)))
    for header, (name, factor) in NAMES.items():
        channel = log[name]
        rows = np.rint(channel.time_s * 12.5).astype(int)
        assert np.allclose(channel.value, truth[header][rows] * factor), name
        assert 0.24 * 1500 < channel.value.size <= 0.25 * 1500 + 2


def test_a_channel_that_hardly_moves_follows_the_common_round(tmp_path: Path) -> None:
    truth = drive(rate_hz=12.5)
    polled = staggered(truth, empty_start=True)
    polled["Intake Air Temperature [degC]"] = np.full(1500, 24.0)
    log = read_log(save(tmp_path / "a.csv", text(polled)))
    assert log["intake_temperature"].value.size == pytest.approx(375, abs=2)


def test_one_slow_channel_in_a_quick_log_is_thinned(tmp_path: Path) -> None:
    columns = drive(rate_hz=20.0)
    held = np.arange(2400) // 10 * 10
    columns["Lambda"] = columns["Lambda"][held]
    log = read_log(save(tmp_path / "a.csv", text(columns)))
    assert log["lambda"].rate_hz == pytest.approx(2.0)
    assert np.allclose(log["lambda"].value, columns["Lambda"][::10])
    assert [f.where for f in log.findings if f.code == "held_values"] == ["column 'Lambda'"]
    assert log["engine_speed"].rate_hz == pytest.approx(20.0)


def test_a_slow_channel_on_another_clock_is_thinned(tmp_path: Path) -> None:
    columns = drive(rate_hz=20.0)
    time = columns["Time [s]"]
    updates = np.floor(time / 0.517) * 0.517
    held = np.interp(updates, time, columns["Lambda"]).round(2)
    log = read_log(save(tmp_path / "a.csv", text(columns | {"Lambda": held})))
    channel = log["lambda"]
    assert channel.value.size == pytest.approx(120.0 / 0.517, abs=2)
    assert np.diff(channel.time_s).max() < 0.65
    truth = np.interp(time, np.unique(updates), held[np.searchsorted(time, np.unique(updates))])
    stairs = np.abs(held - truth).mean()
    rebuilt = np.abs(np.interp(time, channel.time_s, channel.value) - truth).mean()
    assert rebuilt < 0.25 * stairs
    assert log["engine_speed"].value.size == time.size


def test_a_free_running_log_is_left_alone(tmp_path: Path) -> None:
    columns = drive(rate_hz=20.0)
    log = read_log(save(tmp_path / "a.csv", text(columns)))
    assert all(c.value.size == 2400 for c in log.channels.values())
    assert not any(f.code == "staggered_polling" for f in log.findings)


def test_a_slow_coarse_channel_is_not_taken_for_a_polled_one() -> None:
    rng = np.random.default_rng(5)
    falsely = 0
    for _ in range(200):
        rows = np.cumsum(rng.geometric(1.0 / rng.integers(5, 40), size=30))
        falsely += find_rhythm(rows) is not None or find_drift(rows) is not None
        rows = np.cumsum(6 + rng.geometric(1.0 / rng.integers(5, 40), size=60))
        falsely += find_rhythm(rows) is not None or find_drift(rows) is not None
    assert falsely == 0


def test_sparse_rows_without_repeats_are_samples_as_they_are(tmp_path: Path) -> None:
    columns = drive(rate_hz=10.0)
    every = np.arange(1200)
    columns["Lambda"] = np.where(every % 5 == 2, columns["Lambda"], np.nan)
    log = read_log(save(tmp_path / "a.csv", text(columns)))
    assert np.allclose(log["lambda"].time_s, columns["Time [s]"][2::5])


def test_change_rows_of_short_and_empty_columns() -> None:
    empty: NDArray[np.float64] = np.full(5, np.nan)
    assert change_rows(empty).size == 0
    assert change_rows(np.array([1.0])).size == 0
    assert change_rows(np.array([np.nan, 1.0, 1.0, 2.0])).tolist() == [1, 3]
    assert find_rhythm(np.array([0, 5, 10], dtype=np.intp)) is None
