"""The demo: files that load, and a truth with both a gain and a skew."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.logs.read import read_log
from airsense.setup.claims import Claims
from airsense.setup.load import load_engine, load_model
from tests.simulate.demo import (
    BORE_AFTER_MM,
    BORE_BEFORE_MM,
    DEMO_CASE,
    DemoScenario,
    write_demo,
)
from tests.simulate.engines import TURBO_DIESEL

WINDOW = (2000.0, 4000.0)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoScenario:
    return write_demo(tmp_path_factory.mktemp("demo"))


def table_of(path: Path) -> tuple[np.ndarray, np.ndarray]:
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    return rows[:, 0], rows[:, 1] / 3600.0


def test_both_a_real_gain_and_a_skew(demo: DemoScenario) -> None:
    assert demo.truth.skew(*WINDOW) == pytest.approx(0.05, abs=1e-9)
    assert 0.03 < demo.truth.airflow_change(*WINDOW) < 0.045


def test_the_declared_bores_would_make_the_skew(demo: DemoScenario) -> None:
    area_ratio = (BORE_BEFORE_MM / BORE_AFTER_MM) ** 2
    assert area_ratio - 1.0 == pytest.approx(DEMO_CASE.skew, abs=0.002)
    assert load_engine(demo.engine_toml).intake.bore_after_mm == BORE_AFTER_MM


def test_the_engine_file_declares_the_engine(demo: DemoScenario) -> None:
    loaded, declared = load_engine(demo.engine_toml), TURBO_DIESEL.setup()
    assert loaded.engine == declared.engine
    assert loaded.fuel == declared.fuel
    assert loaded.charge_temperature == declared.charge_temperature


def test_every_column_is_recognised(demo: DemoScenario) -> None:
    assert len(demo.before) == len(demo.after) == 3
    assert demo.baseline == demo.before
    for path in (*demo.before, *demo.after):
        log = read_log(path)
        assert log.ignored == ()
        assert log.findings == ()
        assert {"maf_signal", "mass_air_flow", "lambda", "fuel_per_stroke"} <= set(log.channels)


def test_the_raw_signal_reads_through_the_table(demo: DemoScenario) -> None:
    signal, flow = table_of(demo.table)
    assert np.all(np.diff(signal) > 0.0)
    assert np.all(np.diff(flow) > 0.0)
    for path in (*demo.before, *demo.after):
        log = read_log(path)
        through = np.interp(log["maf_signal"].value, signal, flow)
        steep = np.max(np.diff(flow) / np.diff(signal))
        # Half a millivolt, half a tenth of a gram a second, half a tenth of a kilogram an hour.
        allowed = 0.5e-3 * steep + 0.5e-4 + 0.05 / 3600.0
        assert np.max(np.abs(through - log["mass_air_flow"].value)) < 1.01 * allowed


def test_the_true_table_reads_the_new_tube_true(demo: DemoScenario) -> None:
    signal, flow = table_of(demo.table)
    np.testing.assert_array_equal(demo.true_table.signal_v, signal)
    np.testing.assert_allclose(demo.true_table.mdot_kgps[1:] * 1.05, flow[1:], rtol=0.02)
    assert demo.true_table.mdot_kgps[-1] * 1.05 == pytest.approx(flow[-1], rel=1e-4)


def test_the_printed_claims_are_those_of_the_logs(demo: DemoScenario) -> None:
    claims = load_model(demo.claims_toml, Claims)
    assert len(claims.result) == 4
    by_speed: dict[float, list[float]] = {}
    for result in claims.result:
        speed, power = result.engine_speed, result.brake_power
        assert speed is not None
        assert power is not None
        by_speed.setdefault(speed.value, []).append(power.value)
    before, after = by_speed[3400.0]
    (change,) = claims.claim[0].printed_changes()
    assert change.value == pytest.approx(after - before)
    for path, power in ((demo.before[0], before), (demo.after[0], after)):
        log = read_log(path)
        passing = np.argmin(np.abs(log["engine_speed"].value[:150] - 3400.0))
        assert log["brake_power"].value[passing] == pytest.approx(power, abs=500.0)


def test_the_demo_is_the_same_every_time(tmp_path: Path, demo: DemoScenario) -> None:
    again = write_demo(tmp_path / "new")
    for path in demo.folder.iterdir():
        assert (again.folder / path.name).read_bytes() == path.read_bytes()


def test_the_printed_truth_is_the_simulators(demo: DemoScenario) -> None:
    speed, reading, air = np.loadtxt(
        demo.folder / "truth.csv", delimiter=",", skiprows=1, unpack=True
    )
    np.testing.assert_allclose(reading, 5.0, atol=6e-4)
    inside = (speed >= WINDOW[0]) & (speed <= WINDOW[1])
    mean = demo.truth.airflow_change(*WINDOW)
    assert np.mean(air[inside]) == pytest.approx(100.0 * mean, abs=0.03)


def test_the_example_folder_is_the_demo(demo: DemoScenario) -> None:
    examples = Path(__file__).parents[2] / "examples" / "two_boxes"
    fresh = {p.name for p in demo.folder.iterdir()}
    assert {p.name for p in examples.iterdir()} >= fresh
    for name in ("engine.toml", "claims.toml", "maf_table.csv"):
        assert (examples / name).read_text() == (demo.folder / name).read_text(), name
    kept, written = (
        np.loadtxt(f / "truth.csv", delimiter=",", skiprows=1) for f in (examples, demo.folder)
    )
    np.testing.assert_allclose(kept, written, atol=1.1e-3)
    for name in (p.name for p in (*demo.before, *demo.after)):
        kept, written = read_log(examples / name), read_log(demo.folder / name)
        assert set(kept.channels) == set(written.channels)
        for channel in kept.channels.values():
            # Another processor may round the last digit the other way, here and there.
            off = np.abs(channel.value - written[channel.name].value)
            assert np.mean(off > 1e-9 * np.abs(channel.value).max()) < 0.01, (name, channel.name)
