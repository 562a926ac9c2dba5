"""Start-up, large logs and many logs against the bars; `tests/bench/speed.py` prints the table.

Ratios of processor time in one run are held here, since wall time hangs on what else runs. All of
it is run with `--benchmark-enable` only; the suite holds what is loaded.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tests.bench.speed import (
    AIRSENSE,
    BARE_CLICK,
    COLUMNS,
    EXAMPLE,
    HOUR_S,
    READ_CSV,
    check_command,
    compare_command,
    in_turn,
    least,
    screen_command,
    write_large,
    write_small,
)
from tests.bench.speed import cost_of as cost
from tests.screen_logs import write_engine

# Libraries that a check or a comparison without a page has no use for.
NEEDLESS = (
    *("pint", "matplotlib", "jinja2", "jsonschema", "CoolProp", "fsspec", "dask", "distributed"),
    *("scipy.stats", "scipy.optimize", "scipy.signal", "pandas", "pyarrow", "asammdf"),
)
LOGS = [str(EXAMPLE / f"before_{k}.csv") for k in (1, 2)]
ENGINE = str(EXAMPLE / "engine.toml")


@pytest.fixture(scope="module")
def full(request: pytest.FixtureRequest) -> None:
    """Skip unless benchmarks are wanted."""
    if not request.config.getoption("benchmark_enable"):
        pytest.skip("takes long; run with --benchmark-enable")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("speed")
    write_engine(folder)
    return folder


@pytest.fixture(scope="module")
def large(full: None, place: Path) -> Path:
    return write_large(place / "large.csv")


def test_help_starts_within_three_times_bare_click(full: None, tmp_path: Path) -> None:
    bare, own = in_turn(BARE_CLICK, (*AIRSENSE, "--help"), tmp_path, 5)
    assert own.cpu_s <= 3.0 * bare.cpu_s


def test_a_warm_comparison_of_three_with_three_takes_at_most_a_second_and_a_half(
    full: None, tmp_path: Path
) -> None:
    cost(compare_command(), tmp_path)
    assert least([cost(compare_command(), tmp_path) for _ in range(3)]).cpu_s <= 1.5


@pytest.mark.parametrize(
    "words",
    [
        ["check", LOGS[0], "--engine", ENGINE],
        ["compare", "--engine", ENGINE, "--before", LOGS[0], "--after", LOGS[1]],
    ],
    ids=["check", "compare"],
)
def test_a_command_loads_nothing_needless(words: list[str]) -> None:
    code = (
        "import sys\nfrom airsense.cli.main import cli\n"
        f"cli({words!r}, standalone_mode=False)\n"
        f"print([m for m in {NEEDLESS!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_read_csv(benchmark: BenchmarkFixture, large: Path, place: Path) -> None:
    benchmark.group = "process on a large log"
    benchmark.pedantic(cost, ((sys.executable, "-c", READ_CSV, str(large)), place), rounds=3)


def test_check(benchmark: BenchmarkFixture, large: Path, place: Path) -> None:
    benchmark.group = "process on a large log"
    benchmark.pedantic(cost, (check_command(large, place / "engine.toml"), place), rounds=3)


def test_a_check_of_a_large_log_against_bare_pandas(large: Path) -> None:
    """Inside one process, start-up on neither side."""
    code = (
        "import sys, time, pandas\nfrom pathlib import Path\n"
        "from airsense.jobs.check import run\n"
        "log, engine = sys.argv[1:]\n"
        "run([Path(log)], Path(engine))\n"
        "def least(work):\n"
        "    times = []\n"
        "    for _ in range(3):\n"
        "        start = time.process_time()\n"
        "        work()\n"
        "        times.append(time.process_time() - start)\n"
        "    return min(times)\n"
        "print(least(lambda: run([Path(log)], Path(engine))) / least(lambda: "
        "pandas.read_csv(log)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(large), str(large.parent / "engine.toml")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert float(done.stdout) <= 1.5


def test_the_peak_of_a_check_stays_below_three_frames(large: Path) -> None:
    # Measured from a process that is small itself: a child inherits the peak of its parent.
    code = (
        "import sys\nfrom pathlib import Path\n"
        "from tests.bench.speed import check_command, cost_of\n"
        "log = Path(sys.argv[1])\n"
        "command = check_command(log, log.parent / 'engine.toml')\n"
        "print(cost_of(command, log.parent).peak_bytes)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(large)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert int(done.stdout) <= 3 * round(100 * HOUR_S) * COLUMNS * 8


def test_two_processes_cost_little_more_than_one(full: None, place: Path) -> None:
    logs, state, engine = place / "logs", place / "state.jsonl", place / "engine.toml"
    write_small(logs, 400)
    one = cost(screen_command(logs, engine, 1, state), place)
    two = cost(screen_command(logs, engine, 2, state), place)
    assert one.cpu_s / two.cpu_s >= 0.9
