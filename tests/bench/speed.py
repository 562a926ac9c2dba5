"""Speed and memory as ratios within one run: `python -m tests.bench.speed [--quick] [--gigabyte]`.

Processes are timed whole, start to end, as a user meets them, and in turn, so that other load on
the machine meets both sides of a ratio. Beside the wall time stands that of the processors, which
hangs less on what else runs.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "two_boxes"
AIRSENSE = (sys.executable, "-c", "from airsense.cli.main import main; main()")
BARE_CLICK = (
    *(sys.executable, "-c"),
    "import click\n@click.group()\ndef cli():\n    pass\ncli()",
    "--help",
)
READ_CSV = "import sys, pandas; pandas.read_csv(sys.argv[1])"
COLUMNS = 40
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Cost:
    """What one process and its children took."""

    wall_s: float
    cpu_s: float
    peak_bytes: int


def cost_of(command: Sequence[str], folder: Path) -> Cost:
    """Run a command and return what it took.

    Modules are compiled once and kept, as for any user, but not in the tree.
    """
    settings = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "compiled")}
    settings.pop("PYTHONDONTWRITEBYTECODE", None)
    start = time.perf_counter()
    process = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, env=settings)
    # The usage of this child alone: that of all children would keep the largest peak so far.
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{command} ended with {process.returncode}")
    wall = time.perf_counter() - start
    return Cost(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024)


def in_turn(
    first: Sequence[str], second: Sequence[str], folder: Path, rounds: int
) -> tuple[Cost, Cost]:
    """Return the least cost of two commands that are run in turn, the first round for warmth."""
    pairs = [(cost_of(first, folder), cost_of(second, folder)) for _ in range(rounds + 1)]
    return least([a for a, _ in pairs[1:]]), least([b for _, b in pairs[1:]])


def least(costs: Sequence[Cost]) -> Cost:
    """Return the least of each."""
    return Cost(
        min(c.wall_s for c in costs), min(c.cpu_s for c in costs), min(c.peak_bytes for c in costs)
    )


def write_large(path: Path, *, hours: int = 1, seconds: float = HOUR_S) -> Path:
    """Write a drive at 100 Hz in 40 columns: 360,000 rows and about 100 MB an hour."""
    import numpy as np
    import pandas as pd

    from tests.log_writing import drive

    rng = np.random.default_rng(0)
    with path.open("w", encoding="utf-8", newline="") as stream:
        for hour in range(hours):
            columns = drive(rate_hz=100.0, seconds=seconds, seed=hour)
            size = columns["Time [s]"].size
            columns["Time [s]"] = (columns["Time [s]"] + hour * seconds).round(2)
            for number in range(COLUMNS - len(columns)):
                columns[f"Extra channel {number} [V]"] = rng.normal(5.0, 1.0, size).round(4)
            pd.DataFrame(columns).to_csv(stream, index=False, header=hour == 0)
    return path


def write_pulls(path: Path, count: int) -> None:
    """Write the example's pulls one after the other into one log, 20 s apart."""
    import numpy as np
    import pandas as pd

    sweeps = [pd.read_csv(EXAMPLE / f"before_{k}.csv") for k in (1, 2, 3)]
    rng = np.random.default_rng(0)
    parts, end_s = [], 0.0
    for k in range(count):
        own = sweeps[k % 3].copy()
        own["time (s)"] += end_s - own["time (s)"].iloc[0]
        own["mass air flow (g/s)"] *= 1.0 + 0.003 * rng.standard_normal()
        end_s = float(own["time (s)"].iloc[-1]) + 20.0
        parts.append(own)
    pd.concat(parts).to_csv(path, index=False)


def write_small(folder: Path, count: int) -> None:
    """Write drives of two minutes at 10 Hz."""
    from tests.screen_logs import write_log

    for k in range(count):
        write_log(folder / f"v{k % 20:02d}" / f"log_{k:04d}.csv", seed=k)


def write_setup(folder: Path) -> None:
    """Write the engine of the logs."""
    from tests.screen_logs import write_engine

    write_engine(folder)


def apart(work: Callable[[], object]) -> None:
    """Do preparing work in a process of its own.

    The peak of a child counts from what its parent held when it started it, so this process
    must stay small.
    """
    process = multiprocessing.get_context("spawn").Process(target=work)
    process.start()
    process.join()
    if process.exitcode:
        raise RuntimeError("the logs could not be written")


def check_command(log: Path, engine: Path) -> tuple[str, ...]:
    """Return the check of one log, printing nothing."""
    return (*AIRSENSE, "check", str(log), "--engine", str(engine), "--quiet")


def compare_command() -> tuple[str, ...]:
    """Return the comparison of three sweeps with three."""
    logs = [
        part
        for side in ("before", "after")
        for k in (1, 2, 3)
        for part in (f"--{side}", str(EXAMPLE / f"{side}_{k}.csv"))
    ]
    return (*AIRSENSE, "compare", "--engine", str(EXAMPLE / "engine.toml"), *logs)


def screen_command(folder: Path, engine: Path, workers: int, state: Path) -> tuple[str, ...]:
    """Return the screen of a folder that keeps its state in a new file."""
    state.unlink(missing_ok=True)
    return (
        *(*AIRSENSE, "screen", str(folder), "--engine", str(engine), "--quiet"),
        *("--workers", str(workers), "--state", str(state)),
    )


def _show(what: str, value: float, bar: str, note: str = "") -> None:
    print(f"{what:<52}{value:8.2f}   {bar:<12}{note}", flush=True)


def _large(folder: Path, engine: Path, rounds: int) -> None:
    log = folder / "large.csv"
    apart(partial(write_large, log))
    size = log.stat().st_size / 1e6
    bare, own = in_turn(
        (sys.executable, "-c", READ_CSV, str(log)), check_command(log, engine), folder, rounds
    )
    frame = round(100 * HOUR_S) * COLUMNS * 8
    _show(f"check of {size:.0f} MB / bare pandas, wall", own.wall_s / bare.wall_s, "<= 1.2")
    _show("  the same, processor time", own.cpu_s / bare.cpu_s, "", f"{own.cpu_s:.2f} s")
    _show("  peak memory / frame", own.peak_bytes / frame, "<= 3")
    _show("  peak memory of bare pandas / frame", bare.peak_bytes / frame, "")


def _start(folder: Path, rounds: int) -> None:
    bare, own = in_turn(BARE_CLICK, (*AIRSENSE, "--help"), folder, 5 * rounds)
    _show("--help / bare click, wall", own.wall_s / bare.wall_s, "<= 3")
    _show("  the same, processor time", own.cpu_s / bare.cpu_s, "")
    warm = least([cost_of(compare_command(), folder) for _ in range(2 * rounds)])
    _show("compare of 3 + 3 sweeps, wall in s", warm.wall_s, "<= 1.0", f"{warm.cpu_s:.2f} s cpu")


def _many(folder: Path, engine: Path, count: int, rounds: int) -> None:
    logs, quarter = folder / "logs", folder / "quarter"
    apart(partial(write_small, logs, count))
    apart(partial(write_small, quarter, count // 4))
    state = folder / "state.jsonl"
    runs = [
        (
            cost_of(screen_command(logs, engine, 1, state), folder),
            cost_of(screen_command(logs, engine, 2, state), folder),
            cost_of(screen_command(quarter, engine, 2, state), folder),
        )
        for _ in range(rounds)
    ]
    one, two, less = (least(list(costs)) for costs in zip(*runs, strict=True))
    _show(f"{count} logs, efficiency on 2 processors, wall", one.wall_s / 2 / two.wall_s, ">= 0.9")
    _show("  the same, processor time", one.cpu_s / two.cpu_s, "", f"{two.cpu_s:.1f} s")
    _show(f"  time of {count} / 4 x time of {count // 4}", two.wall_s / 4 / less.wall_s, "about 1")


def _pulls(folder: Path, rounds: int) -> None:
    few, many = folder / "150_pulls.csv", folder / "600_pulls.csv"
    apart(partial(write_pulls, few, 150))
    apart(partial(write_pulls, many, 600))
    engine = EXAMPLE / "engine.toml"
    less, more = in_turn(check_command(few, engine), check_command(many, engine), folder, rounds)
    _show("check of 600 pulls in one log, peak in GiB", more.peak_bytes / 2**30, "< 1")
    _show("  processor time / that of 150 pulls", more.cpu_s / less.cpu_s, "<= 4")


def _gigabyte(folder: Path, engine: Path) -> None:
    log = folder / "gigabyte.csv"
    apart(partial(write_large, log, hours=11))
    cost = cost_of(check_command(log, engine), folder)
    size = log.stat().st_size / 1e9
    _show(f"check of {size:.2f} GB, peak in GiB", cost.peak_bytes / 2**30, "<= 2")
    _show("  wall in s", cost.wall_s, "")
    log.unlink()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="one round, fewer logs")
    parser.add_argument("--gigabyte", action="store_true", help="the 1 GB log too")
    options = parser.parse_args()
    rounds = 1 if options.quick else 3
    print(
        f"load of the machine at the start: {os.getloadavg()[0]:.1f}; rounds: {rounds}", flush=True
    )
    with tempfile.TemporaryDirectory(prefix="airsense-speed-") as name:
        folder = Path(name)
        apart(partial(write_setup, folder))
        engine = folder / "engine.toml"
        _start(folder, rounds)
        _large(folder, engine, rounds)
        _pulls(folder, rounds)
        _many(folder, engine, 200 if options.quick else 1000, 1)
        if options.gigabyte:
            _gigabyte(folder, engine)
    print(f"load of the machine at the end: {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
