"""Reading a log against a bare pandas read of the same file.

Run with `pytest tests/bench/test_bench_logs.py --benchmark-enable`; without it a small file is
read once, to keep the benchmark itself in working order. Compare the two in one run only.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from airsense.logs.read import read_log
from tests.log_writing import drive

COLUMNS = 40


@pytest.fixture(scope="module")
def large_log(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One hour at 100 Hz in 40 columns (about 100 MB), or half a minute of it."""
    full = request.config.getoption("benchmark_enable")
    columns = drive(rate_hz=100.0, seconds=3600.0 if full else 30.0)
    size = columns["Time [s]"].size
    rng = np.random.default_rng(0)
    for number in range(COLUMNS - len(columns)):
        columns[f"Extra channel {number} [V]"] = rng.normal(5.0, 1.0, size).round(4)
    path = tmp_path_factory.mktemp("bench") / "large.csv"
    pd.DataFrame(columns).to_csv(path, index=False)
    return path


def test_bare_pandas(benchmark: BenchmarkFixture, large_log: Path) -> None:
    benchmark.group = "large log"
    frame = benchmark(pd.read_csv, large_log)
    assert frame.shape[1] == COLUMNS


def test_read_log(benchmark: BenchmarkFixture, large_log: Path) -> None:
    benchmark.group = "large log"
    log = benchmark(read_log, large_log)
    assert len(log.channels) == 6


def test_peak_memory_against_the_frame(large_log: Path) -> None:
    code = (
        "import sys, resource\n"
        "from airsense.logs.read import read_log\n"
        "import pandas\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "log = read_log(sys.argv[1])\n"
        "print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(large_log)], capture_output=True, text=True, check=True
    )
    frame = int(pd.read_csv(large_log).memory_usage().sum())
    # Below some 50 MB the fixed buffers of the parser count more than the log.
    assert int(run.stdout) <= max(3 * frame, 50_000_000)
