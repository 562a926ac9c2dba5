"""One known fault in a log, one finding with count and place; a clean log has none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.jobs.channels import run
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.results import Finding
from tests.log_writing import Columns, drive, save, text

MAF = "Mass Air Flow [g/s]"
MAP = "Intake Manifold Absolute Pressure [kPa]"
RPM = "Engine RPM [rpm]"
FAULTS = {"implausible_range", "unit_slip", "dropout", "spike", "ceiling", "stuck"}


def read(tmp_path: Path, columns: Columns) -> Log:
    return read_log(save(tmp_path / "log.csv", text(columns)))


def only(log: Log, code: str) -> Finding:
    found = [f for f in log.findings if f.code in FAULTS]
    assert [f.code for f in found] == [code], found
    return found[0]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0, 50.0])
def test_a_clean_log_has_no_fault(tmp_path: Path, seed: int, rate_hz: float) -> None:
    log = read(tmp_path, drive(rate_hz=rate_hz, seed=seed))
    assert [f.code for f in log.findings if f.code in FAULTS] == []
    assert all(c.value.size == 120 * rate_hz for c in log.channels.values())


def test_flow_at_the_end_of_its_table(tmp_path: Path) -> None:
    columns = drive()
    clipped = columns[MAF] > 45.0
    columns[MAF] = np.minimum(columns[MAF], 45.0)
    log = read(tmp_path, columns)
    finding = only(log, "ceiling")
    assert f"{int((columns[MAF] >= 45.0).sum())} of 1200 samples" in finding.message
    assert f"line {int(np.argmax(clipped)) + 2} " in finding.where
    assert log["mass_air_flow"].value.max() < 0.045
    assert log["mass_air_flow"].value.size == 1200 - clipped.sum()


def test_pressure_at_the_end_of_its_byte(tmp_path: Path) -> None:
    columns = drive()
    columns[MAP] = np.minimum(np.round(columns[MAP] * 1.3), 255.0)
    log = read(tmp_path, columns)
    only(log, "ceiling")
    assert log["manifold_pressure"].value.max() < 255e3


def test_a_controlled_plateau_is_no_ceiling(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    columns = drive()
    plateau = np.minimum(columns[MAP], 180.0) + rng.normal(0.0, 0.7, 1200)
    columns[MAP] = plateau.round(0)
    log = read(tmp_path, columns)
    assert [f.code for f in log.findings if f.code in FAULTS] == []


def test_a_stuck_flow(tmp_path: Path) -> None:
    columns = drive()
    columns[MAF][400:500] = columns[MAF][400]
    log = read(tmp_path, columns)
    finding = only(log, "stuck")
    assert "100 of 1200" in finding.message
    assert "line 402 (40.00 s)" in finding.where
    assert log["mass_air_flow"].value.size == 1100


def test_dropouts_of_flow_and_speed(tmp_path: Path) -> None:
    columns = drive()
    columns[MAF][[300, 301, 700]] = 0.0
    finding = only(read(tmp_path, columns), "dropout")
    assert "3 of 1200" in finding.message
    assert "line 302 (30.00 s)" in finding.where
    columns = drive()
    columns[RPM][300:304] = 0.0
    assert "4 of 1200" in only(read(tmp_path, columns), "dropout").message


def test_a_standing_engine_is_no_dropout(tmp_path: Path) -> None:
    columns = drive()
    for header in (RPM, MAF):
        columns[header][:40] = 0.0
    log = read(tmp_path, columns)
    assert [f.code for f in log.findings if f.code in FAULTS] == []


@pytest.mark.parametrize(("header", "height"), [(MAF, 40.0), (MAP, -60.0), (RPM, 2500.0)])
def test_single_spikes(tmp_path: Path, header: str, height: float) -> None:
    columns = drive()
    columns[header][[350, 720, 905]] += height
    log = read(tmp_path, columns)
    finding = only(log, "spike")
    assert "3 of 1200" in finding.message
    assert "line 352 (35.00 s)" in finding.where


def test_a_spike_of_temperature(tmp_path: Path) -> None:
    columns = drive()
    columns["Intake Air Temperature [degC]"][500] = 95.0
    assert "1 of 1200" in only(read(tmp_path, columns), "spike").message


def test_values_outside_anything_credible(tmp_path: Path) -> None:
    columns = drive()
    columns[MAP][600:620] = -40.0
    columns["Intake Air Temperature [degC]"][100:110] = -273.15
    log = read(tmp_path, columns)
    found = [f for f in log.findings if f.code == "implausible_range"]
    assert [f.message.split(": ")[1].split(" samples")[0] for f in found] == [
        "10 of 1200",
        "20 of 1200",
    ]


@pytest.mark.parametrize(("header", "factor"), [(MAP, 10.0), (MAP, 1 / 6.894757), (MAF, 3.6)])
def test_a_unit_that_changes_inside_the_file(tmp_path: Path, header: str, factor: float) -> None:
    columns = drive()
    columns[header][800:] *= factor
    log = read(tmp_path, columns)
    found = [f for f in log.findings if f.code in FAULTS]
    assert {f.code for f in found} <= {"unit_slip", "implausible_range"}
    name = "manifold_pressure" if header == MAP else "mass_air_flow"
    assert log[name].time_s.max() < 80.0
    assert sum(int(f.message.split(": ")[1].split()[0]) for f in found) == 400


def test_a_column_without_a_number_is_named(tmp_path: Path) -> None:
    columns = drive()
    columns["Lambda"][:] = np.nan
    log = read(tmp_path, columns)
    assert "lambda" not in log
    assert "Lambda" in log.ignored
    assert any(f.code == "empty_channel" for f in log.findings)


def test_cells_that_are_no_numbers_are_counted(tmp_path: Path) -> None:
    columns: dict[str, object] = dict(drive())
    cells = [f"{v:g}" for v in drive()["Lambda"]]
    cells[100] = cells[200] = "lost"
    columns["Lambda"] = cells
    log = read(tmp_path, columns)  # type: ignore[arg-type]
    found = next(f for f in log.findings if f.code == "unreadable_cells")
    assert "2 cells" in found.message
    assert found.where == "line 102"


def test_rows_with_too_many_cells_are_left_out_and_said(tmp_path: Path) -> None:
    lines = text(drive()).splitlines()
    lines[101] += ",1,2"
    log = read_log(save(tmp_path / "log.csv", "\n".join(lines)))
    found = next(f for f in log.findings if f.code == "rows_too_wide")
    assert found.where == "line 102"
    assert log["engine_speed"].value.size == 1199


def test_time_that_runs_back_or_jumps(tmp_path: Path) -> None:
    columns = drive()
    columns["Time [s]"][500] -= 0.25
    log = read(tmp_path, columns)
    assert next(f for f in log.findings if f.code == "time_backwards").where == "line 502"
    assert log["engine_speed"].value.size == 1199
    columns = drive()
    columns["Time [s]"][500:] += 30.0
    jump = next(f for f in read(tmp_path, columns).findings if f.code == "time_jump")
    assert jump.where == "line 502"
    assert "30.1 s" in jump.message


def test_two_logs_in_one_file_are_told_apart(tmp_path: Path) -> None:
    lines = text(drive(seconds=60.0)).splitlines()
    log = read_log(save(tmp_path / "log.csv", "\n".join([*lines, *lines])))
    merged = next(f for f in log.findings if f.code == "merged_log")
    assert merged.where == "line 603"
    time = log["engine_speed"].time_s
    assert time.size == 1200
    assert (np.diff(time) > 0.0).all()
    assert time[600] - time[599] == pytest.approx(60.0)
    assert np.allclose(log["engine_speed"].value[:600], log["engine_speed"].value[600:])


def test_a_missing_barometer_is_said(tmp_path: Path) -> None:
    columns = {h: v for h, v in drive().items() if "Barometric" not in h}
    for content, missing in ((columns, True), (drive(), False)):
        result = run(save(tmp_path / "log.csv", text(content)))
        assert any(f.code == "missing_barometer" for f in result.findings) == missing
