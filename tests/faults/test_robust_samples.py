"""Clocks that leap, loggers that pause, cells that hold no number that can be."""

from __future__ import annotations

import os
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from airsense.estimates.prepare import prepare
from airsense.estimates.run import BAND_S, Run, grid_of
from airsense.estimates.segments import segment
from airsense.jobs import check
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.physics.align import lag_s, undo_first_order_lag
from airsense.setup.load import load_engine
from tests.log_writing import Columns, drive, save, text

pytestmark = pytest.mark.slow

AIRSENSE = [sys.executable, "-c", "from airsense.cli.main import main; main()"]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "two_boxes"
DAYS_30 = 30 * 86_400.0
TIME = "Time [s]"


def written(folder: Path, columns: Columns, name: str = "log.csv") -> Log:
    """Write columns and read them as a log."""
    return read_log(save(folder / name, text(columns)))


def leaping(leap_s: float, *, at: float = 0.5, **kwargs: float) -> Columns:
    """Return a drive whose clock leaps on the way."""
    columns = drive(**kwargs)  # type: ignore[arg-type]  # rates and lengths
    late = np.arange(columns[TIME].size) >= at * columns[TIME].size
    columns[TIME] = np.where(late, columns[TIME] + leap_s, columns[TIME])
    return columns


def prepared(log: Log) -> Run:
    """Return the run of a log with the engine of the demo."""
    return prepare(log, load_engine(EXAMPLE / "engine.toml"))


def codes(log: Log) -> list[str]:
    return [finding.code for finding in log.findings]


class TestClock:
    @pytest.mark.parametrize("leap_s", [DAYS_30, 1.7e9])
    def test_a_leap_is_a_finding_and_costs_no_memory(self, tmp_path: Path, leap_s: float) -> None:
        log = written(tmp_path, leaping(leap_s))
        assert codes(log).count("clock_jump") == 1
        assert "time_jump" not in codes(log)
        tracemalloc.start()
        run = prepared(log)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert run.time_s.size < log["engine_speed"].time_s.size + 2 * BAND_S / run.step_s
        assert peak < 30e6

    def test_the_samples_on_both_sides_are_what_they_are_without_it(self, tmp_path: Path) -> None:
        run = prepared(written(tmp_path, leaping(DAYS_30)))
        plain = prepared(written(tmp_path, drive(), "plain.csv"))
        late = run.time_s > 0.5 * DAYS_30
        time_s = np.where(late, run.time_s - DAYS_30, run.time_s)
        known = np.isfinite(run.speed_rpm)
        expected = np.interp(time_s[known], plain.time_s, plain.speed_rpm)
        assert np.count_nonzero(known) > 0.98 * plain.time_s.size
        assert run.speed_rpm[known] == pytest.approx(expected, abs=1.0)

    def test_nothing_is_filled_in_or_smeared_over_the_leap(self, tmp_path: Path) -> None:
        columns = leaping(DAYS_30)
        late = columns[TIME] > 0.5 * DAYS_30
        flow = columns["Mass Air Flow [g/s]"]
        columns["Mass Air Flow [g/s]"] = np.where(late, 3.0 * flow, flow)
        run = prepared(written(tmp_path, columns))
        cut = int(np.argmax(np.diff(run.time_s)))
        before, after = run.time_s[cut], run.time_s[cut + 1]
        assert after - before > 0.9 * DAYS_30
        assert np.isnan(run.speed_rpm[cut]) and np.isnan(run.speed_rpm[cut + 1])
        assert np.count_nonzero(np.isnan(run.speed_rpm)) * run.step_s == pytest.approx(
            BAND_S, abs=3.0
        )

    def test_no_stretch_lies_across_the_leap(self, tmp_path: Path) -> None:
        run = prepared(written(tmp_path, leaping(DAYS_30)))
        for stretch in segment(run).segments:
            length_s = (stretch.stop - stretch.first - 1) * run.step_s
            assert stretch.stop_s - stretch.start_s == pytest.approx(length_s, abs=1e-3)

    def test_the_answer_is_that_without_the_leap(self, tmp_path: Path) -> None:
        rows = (EXAMPLE / "after_1.csv").read_text("utf-8").splitlines()
        for k in range(60, len(rows)):
            time, _, rest = rows[k].partition(",")
            rows[k] = f"{float(time) + DAYS_30:.3f},{rest}"
        leap = save(tmp_path / "after_1.csv", "\n".join(rows) + "\n")
        engine = EXAMPLE / "engine.toml"
        with_leap = check.run([leap], engine)
        without = check.run([EXAMPLE / "after_1.csv"], engine)
        assert with_leap.sensor_error is not None and without.sensor_error is not None
        assert with_leap.verdict is without.verdict
        width = without.sensor_error.half_width
        assert abs(with_leap.sensor_error.value - without.sensor_error.value) < 0.3 * width

    def test_a_leap_back_does_not_cost_memory_either(self, tmp_path: Path) -> None:
        log = written(tmp_path, leaping(-DAYS_30))
        assert "merged_log" in codes(log)
        assert grid_of(log).size < 3000

    @pytest.mark.parametrize("row", [0, 500, -1])
    @pytest.mark.parametrize("value", [1e200, -1e200, 1.7e308, DAYS_30 * 1e3])
    def test_one_damaged_time_leaves_the_rest(self, tmp_path: Path, row: int, value: float) -> None:
        columns = drive()
        columns[TIME][row] = value
        run = prepared(written(tmp_path, columns))
        assert np.isfinite(run.speed_rpm).sum() > 0.9 * columns[TIME].size


class TestPauses:
    def pausing(self, pauses: int, pause_s: float) -> Columns:
        columns = drive(seconds=240.0)
        size = columns[TIME].size
        columns[TIME] = columns[TIME] + pause_s * np.floor(np.arange(size) * (pauses + 1) / size)
        return columns

    @pytest.mark.parametrize("pause_s", [20.0, 3600.0, 40_000.0])
    def test_the_grid_grows_with_the_samples_and_not_with_the_span(
        self, tmp_path: Path, pause_s: float
    ) -> None:
        log = written(tmp_path, self.pausing(20, pause_s))
        assert "time_jump" in codes(log) and "clock_jump" not in codes(log)
        grid = grid_of(log)
        step = float(grid[1] - grid[0])
        assert grid.size <= log["engine_speed"].time_s.size + 20 * (BAND_S / step + 2)
        inside = np.diff(grid) < 1.5 * step
        assert np.diff(grid)[inside] == pytest.approx(step, rel=1e-3)
        assert np.count_nonzero(~inside) == 20

    def test_short_gaps_stay_in_the_grid(self, tmp_path: Path) -> None:
        grid = grid_of(written(tmp_path, self.pausing(5, 5.0)))
        assert np.diff(grid) == pytest.approx(float(grid[1] - grid[0]), rel=1e-6)

    def test_a_logger_that_wakes_once_a_day_is_no_burden(self, tmp_path: Path) -> None:
        columns = {name: value[:8] for name, value in drive().items()}
        columns[TIME] = np.arange(8) * 80_000.0
        assert grid_of(written(tmp_path, columns)).size < 1000


def shaped(time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    return 300.0 + 20.0 * np.sin(0.3 * time_s) + 5.0 * np.sin(1.7 * time_s)


class TestAlignmentOverPauses:
    # Two stretches of 60 s with 56 years between them: an even grid over all would have steps
    # of minutes.
    TIME_S = np.concatenate((np.arange(0.0, 60.0, 0.1), 1.77e9 + np.arange(0.0, 60.0, 0.1)))
    OWN_S = np.concatenate((np.arange(0.0, 60.0, 0.1), 500.0 + np.arange(0.0, 60.0, 0.1)))

    def test_the_lag_is_found(self) -> None:
        found = lag_s(self.TIME_S, shaped(self.OWN_S - 0.4), shaped(self.OWN_S), 1.0)
        assert found.lag_s == pytest.approx(0.4, abs=0.02)

    def test_the_thermometer_is_undone_on_both_sides(self) -> None:
        reading = shaped(self.OWN_S)
        near = undo_first_order_lag(self.OWN_S, reading, 2.0)
        far = undo_first_order_lag(self.TIME_S, reading, 2.0)
        inner = np.arange(reading.size) % 600
        inner = (inner > 60) & (inner < 540)
        assert far[inner] == pytest.approx(near[inner], abs=0.05)


HEADERS = (EXAMPLE / "after_1.csv").read_text("utf-8").splitlines()[0].split(",")


@pytest.mark.parametrize("value", ["1e200", "-1e200", "1e308"])
@pytest.mark.parametrize("column", range(1, len(HEADERS)), ids=HEADERS[1:])
def test_an_absurd_cell_is_left_out_and_named(tmp_path: Path, column: int, value: str) -> None:
    rows = (EXAMPLE / "after_1.csv").read_text("utf-8").splitlines()
    cells = rows[60].split(",")
    cells[column] = value
    rows[60] = ",".join(cells)
    log = save(tmp_path / "after_1.csv", "\n".join(rows) + "\n")
    found = check.run([log], EXAMPLE / "engine.toml")
    named = [f for f in read_log(log).findings if HEADERS[column] in f.message]
    assert any("left out" in f.message for f in named)
    without = check.run([EXAMPLE / "after_1.csv"], EXAMPLE / "engine.toml")
    assert found.sensor_error is not None and without.sensor_error is not None
    assert found.sensor_error.value == pytest.approx(without.sensor_error.value, abs=2e-3)


def test_a_leap_over_the_whole_command(tmp_path: Path) -> None:
    """A comparison with a log of 56 years ends well in 1.5 GB of address space."""
    log = save(tmp_path / "log.csv", text(leaping(1.77e9)))
    limited = (
        "import resource; resource.setrlimit(resource.RLIMIT_AS, (1_500_000_000,) * 2);"
        "from airsense.cli.main import main; main()"
    )
    found = subprocess.run(
        [sys.executable, "-c", limited, "check", log, "--engine", EXAMPLE / "engine.toml"],
        capture_output=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(EXAMPLE.parents[1])},
        timeout=120,
        check=False,
    )
    assert found.returncode == 0, found.stderr.decode()
    assert b"routes" in found.stdout
