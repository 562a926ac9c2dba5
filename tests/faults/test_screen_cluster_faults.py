"""Clusters that cannot do the work: other versions, no workers, workers that die of a log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import airsense
from airsense.errors import InputError
from airsense.jobs.screening import cluster as screen_cluster
from airsense.jobs.screening.log import Task
from airsense.jobs.screening.result import Outcome
from airsense.setup.load import load_engine
from tests.screen_logs import write_engine, write_log

distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")

ADDRESS = "tcp://127.0.0.1:1"


class Client:
    """Stands in for a connection: answers a question to all workers."""

    def __init__(self, answer: Any) -> None:
        self.answer = answer

    def run(self, question: Any) -> Any:
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


class Future:
    """Stands in for a task that ended so."""

    def __init__(self, end: Exception) -> None:
        self.end = end

    def result(self) -> None:
        raise self.end


@pytest.fixture
def task(tmp_path: Path) -> Task:
    path = write_log(tmp_path / "a.csv")
    setup = load_engine(write_engine(tmp_path))
    return Task(name="a.csv", place=str(path), filesystem=None, setup=setup, rpm=None)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ({"w1": airsense.__version__, "w2": "0.0.1"}, "0.0.1"),
        (ModuleNotFoundError("No module named 'airsense'"), "No module named 'airsense'"),
    ],
)
def test_workers_with_another_airsense_are_refused(answer: Any, words: str) -> None:
    with pytest.raises(InputError, match="do not run this airsense") as caught:
        screen_cluster._require_same_version(Client(answer), ADDRESS)
    assert words in caught.value.got


def test_a_cluster_without_workers_is_refused() -> None:
    with pytest.raises(InputError, match="cluster cannot be used") as caught:
        screen_cluster._require_same_version(Client({}), ADDRESS)
    assert caught.value.got == "no workers"


def test_workers_with_this_airsense_are_taken() -> None:
    screen_cluster._require_same_version(Client({"w1": screen_cluster.version()}), ADDRESS)


def test_a_log_that_its_workers_die_of_is_given_up(task: Task) -> None:
    end = distributed.KilledWorker("key", None, 3)
    row = screen_cluster._result(Future(end), task, ADDRESS)
    assert row is not None
    assert row.outcome is Outcome.FAILED
    assert not row.finished


def test_what_cannot_be_sent_back_is_a_row_not_the_end(task: Task) -> None:
    row = screen_cluster._result(Future(TypeError("cannot be sent")), task, ADDRESS)
    assert row is not None
    assert row.problem is not None
    assert "cannot be sent" in row.problem.got


def test_a_lost_connection_says_how_to_go_on(task: Task) -> None:
    with pytest.raises(InputError, match="cluster cannot be used") as caught:
        screen_cluster._result(Future(OSError("closed")), task, ADDRESS)
    assert "goes on" in caught.value.fix


def test_a_worker_gives_the_same_row_as_this_process(task: Task) -> None:
    from airsense.jobs.screening.log import screen_log

    assert screen_cluster.on_worker(task) == screen_log(task)
