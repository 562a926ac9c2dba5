"""A slowly polled channel on a grid: steady parts are kept, what moves too fast is left out."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from airsense.estimates.run import on_grid
from airsense.logs.log import Log
from airsense.logs.read import read_log
from tests.log_writing import drive, save, text


def polled(tmp_path: Path, rate_hz: float) -> tuple[Log, np.ndarray, np.ndarray]:
    """Return a log with a kick of speed at 60 s, and the truth on a fine grid."""
    fine = drive(rate_hz=100.0)
    time = fine["Time [s]"]
    truth = 800.0 + 1200.0 / (1.0 + np.exp(-(time - 60.4) / 0.12))
    truth[time < 20.0] = 0.0
    fine["Engine RPM [rpm]"] = truth.round(0)
    step = round(100.0 / rate_hz)
    columns = {h: v[::step] for h, v in fine.items()}
    return read_log(save(tmp_path / "log.csv", text(columns))), time, truth


def test_a_kick_between_two_slow_samples_is_left_out(tmp_path: Path) -> None:
    log, time, truth = polled(tmp_path, rate_hz=1.0)
    grid = np.arange(5.0, 115.0, 0.1)
    got = on_grid(log, "engine_speed", grid)
    assert got is not None
    kept = np.isfinite(got)
    assert not kept[(grid > 60.2) & (grid < 60.8)].any()
    assert kept[(grid > 25.0) & (grid < 57.0)].all()
    assert kept[grid < 17.0].all()
    assert kept.mean() > 0.9
    error = np.abs(got - np.interp(grid, time, truth))[kept & (np.abs(grid - 20.0) > 2.0)]
    assert error.max() < 0.12 * 1200.0


def test_a_quick_channel_is_taken_as_it_is(tmp_path: Path) -> None:
    log, _, _ = polled(tmp_path, rate_hz=10.0)
    got = on_grid(log, "engine_speed", np.arange(5.0, 115.0, 0.1))
    assert got is not None
    assert np.isfinite(got).all()
