"""360,000 samples: rescaling against reading."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from airsense.jobs.rescale import rescale_logs
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.setup.engine import Engine, EngineSetup, Fuel, Ignition
from airsense.transfer.file import read_table
from tests.bench.tube_changes import ENGINES, state

ENGINE = ENGINES["turbo diesel 2.2 l"]
ROWS, RUNS, RATE_HZ = 60_000, 6, 50.0
SKEW = 0.05


def write_log(path: Path, seed: int, skew: float) -> None:
    """A long drive as a logger writes it; 7 columns."""
    rng = np.random.default_rng(seed)
    coarse, *slow = state(ENGINE, rng, drive=True, seconds=ROWS / RATE_HZ + 1.0, rate_hz=2.0)
    t = np.arange(ROWS) / RATE_HZ
    speed, p = (np.interp(t, coarse, values) for values in slow)
    t_charge = 315.0 + 12.0 * (p - 1e5) / 1e5
    flow = 0.9 * p * ENGINE.displacement_m3 * speed / (120.0 * 287.6 * t_charge)
    columns = {
        "Time (s)": t,
        "Engine speed (rpm)": speed,
        "Manifold absolute pressure (kPa)": p / 1e3,
        "Charge air temperature (degC)": t_charge - 273.15,
        "Mass air flow (g/s)": 1e3 * flow * (1.0 + skew) * np.exp(rng.normal(0.0, 0.005, t.size)),
        "Fuel mass flow (g/s)": 1e3 * flow / (14.5 * 1.6),
        "Lambda": 1.6 * np.exp(rng.normal(0.0, 0.005, t.size)),
    }
    table = np.column_stack(list(columns.values()))
    np.savetxt(path, table, delimiter=",", fmt="%.3f", header=",".join(columns), comments="")


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> list[Path]:
    if not request.config.getoption("benchmark_enable"):
        pytest.skip("takes long; run with --benchmark-enable")
    folder = tmp_path_factory.mktemp("rescale")
    files = [folder / f"run_{k}.csv" for k in range(RUNS)]
    for k, path in enumerate(files):
        write_log(path, k, SKEW if k >= RUNS // 2 else 0.0)
    read_log(files[0])  # imports and caches are no work on samples
    return files


def read_all(paths: list[Path]) -> list[Log]:
    return [read_log(path) for path in paths]


def test_reading(benchmark: BenchmarkFixture, paths: list[Path]) -> None:
    benchmark.group = "360,000 samples: the bar for rescaling is twice the reading"
    logs = benchmark.pedantic(read_all, (paths,), rounds=3)
    assert sum(log["mass_air_flow"].time_s.size for log in logs) == ROWS * RUNS


def test_rescaling(benchmark: BenchmarkFixture, paths: list[Path], tmp_path: Path) -> None:
    benchmark.group = "360,000 samples: the bar for rescaling is twice the reading"
    table_file = tmp_path / "table.csv"
    flow = 900.0 * np.linspace(0.02, 1.0, 25) ** 2.2
    rows = "".join(f"{1.0 + 0.15 * k:.2f},{f:.2f}\n" for k, f in enumerate(flow))
    table_file.write_text("Signal (V),Flow (kg/h)\n" + rows)
    setup = EngineSetup(
        engine=Engine(displacement_l=2.2, cylinders=4, ignition=Ignition.COMPRESSION),
        fuel=Fuel(name="diesel"),
    )
    logs = read_all(paths)
    half = RUNS // 2
    result = benchmark.pedantic(
        rescale_logs,
        (logs[half:], setup, read_table(table_file)),
        {"baseline": logs[:half]},
        rounds=3,
    )
    assert result.scale.contains(1.0 / (1.0 + SKEW))
