"""A screen on a real cluster over TCP: a worker is killed, nothing is lost or doubled."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from airsense.errors import InputError
from airsense.jobs.screen import ScreenOptions, run
from airsense.report.as_json import to_json
from tests.screen_logs import write_engine, write_many

pytestmark = pytest.mark.slow

pytest.importorskip("distributed", reason="the extra cluster is not installed")

COUNT = 40
AIRSENSE = [sys.executable, "-c", "from airsense.cli.main import main; main()"]


@dataclass
class Cluster:
    """A scheduler and the workers that it knows."""

    address: str
    workers: list[subprocess.Popen[bytes]]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(*command: str, folder: Path, log: Path) -> subprocess.Popen[bytes]:
    with log.open("wb") as stream:
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *command],
            cwd=folder,
            stdout=stream,
            stderr=subprocess.STDOUT,
        )


def wait_for(log: Path, pattern: str, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + 60.0
    while not re.search(pattern, log.read_text(errors="replace")):
        assert process.poll() is None, log.read_text(errors="replace")
        assert time.monotonic() < end, f"no {pattern!r} in {log.read_text(errors='replace')}"
        time.sleep(0.1)


@contextmanager
def started(
    *command: str, folder: Path, name: str, ready: str
) -> Iterator[subprocess.Popen[bytes]]:
    """Run a part of the cluster until it says that it is ready; end it afterwards."""
    log = folder / f"{name}.txt"
    process = start(*command, folder=folder, log=log)
    try:
        wait_for(log, ready, process)
        yield process
    finally:
        process.kill()  # asked politely, a worker would wait for its scheduler first
        process.wait(30)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    port = str(free_port())
    address = f"tcp://127.0.0.1:{port}"
    with ExitStack() as parts:
        parts.enter_context(
            started(
                *("scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard"),
                folder=tmp_path,
                name="scheduler",
                ready="Scheduler at",
            )
        )
        # Without a nanny, which would start a killed worker anew.
        workers = [
            parts.enter_context(
                started(
                    *("worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"),
                    *("--local-directory", str(tmp_path / f"space_{k}")),
                    folder=tmp_path,
                    name=f"worker_{k}",
                    ready="Registered to",
                )
            )
            for k in range(2)
        ]
        yield Cluster(address, workers)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    top = tmp_path_factory.mktemp("cluster")
    write_engine(top)
    write_many(top / "logs", COUNT)
    (top / "logs" / "bad.csv").write_text("no log\n")
    return top


def rows_of(state: Path) -> list[str]:
    if not state.exists():
        return []
    whole = [line for line in state.read_bytes().split(b"\n")[:-1] if line]
    return [json.loads(line)["row"]["log"] for line in whole[1:]]


def test_a_killed_worker_loses_and_doubles_nothing(
    place: Path, tmp_path: Path, cluster: Cluster
) -> None:
    state, answer = tmp_path / "state.jsonl", tmp_path / "answer.json"
    process = subprocess.Popen(
        [
            *(*AIRSENSE, "screen", str(place / "logs"), "--engine", str(place / "engine.toml")),
            *("--cluster", cluster.address, "--state", str(state)),
            *("--json", str(answer), "--quiet"),
        ]
    )
    end = time.monotonic() + 60.0
    while len(rows_of(state)) < 5:
        assert process.poll() is None
        assert time.monotonic() < end
        time.sleep(0.01)
    os.kill(cluster.workers[0].pid, signal.SIGKILL)
    at_kill = len(rows_of(state))
    assert process.wait(180) == 0
    assert at_kill < COUNT, "the worker was killed after the work"
    names = rows_of(state)
    assert len(names) == len(set(names)) == COUNT + 1
    alone = run(str(place / "logs"), place / "engine.toml", ScreenOptions(workers=1))
    assert json.loads(answer.read_text()) == json.loads(to_json(alone))


def test_an_address_without_a_cluster_is_refused(place: Path) -> None:
    options = ScreenOptions(cluster=f"tcp://127.0.0.1:{free_port()}")
    with pytest.raises(InputError, match="cluster cannot be used") as caught:
        run(str(place / "logs"), place / "engine.toml", options)
    assert "same command goes on" in caught.value.fix


def test_text_that_is_no_address_is_refused(place: Path) -> None:
    with pytest.raises(InputError, match="cluster cannot be used"):
        run(str(place / "logs"), place / "engine.toml", ScreenOptions(cluster="nonsense://x"))
