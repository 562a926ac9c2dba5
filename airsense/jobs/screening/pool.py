"""Logs of a screen on the processors of this machine: whatever one log does, the rest goes on."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import wait as wait_for_any

from airsense.jobs.screening.log import Task, failed_row, screen_log
from airsense.jobs.screening.result import ScreenRow

Done = tuple[Task, ScreenRow | None]

# Tasks handed over ahead, so that no process waits for the next one.
AHEAD = 3
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def here(tasks: Sequence[Task]) -> Iterator[Done]:
    """Check logs one after the other in this process."""
    for task in tasks:
        yield task, screen_log(task)


def processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_pool(tasks: Sequence[Task], workers: int) -> Iterator[Done]:
    """Check logs in processes of their own, in no particular order.

    Where a process dies (no memory left, killed from outside), the logs that were in work are
    done again one by one; one that dies alone too is given up.
    """
    waiting = deque(tasks)
    while waiting:
        suspects = yield from _until_one_dies(waiting, workers)
        for task in suspects:
            yield task, _alone(task)


def _until_one_dies(waiting: deque[Task], workers: int) -> Generator[Done, None, tuple[Task, ...]]:
    """Empty `waiting`; return the tasks in work when a process died, or none."""
    flying: dict[Future[ScreenRow | None], Task] = {}
    with _pool(min(workers, len(waiting))) as pool:
        try:
            while waiting or flying:
                while waiting and len(flying) < AHEAD * workers:
                    future = pool.submit(screen_log, waiting[0])
                    flying[future] = waiting.popleft()  # only now: a dead pool takes nothing
                done, _ = wait(flying, return_when=FIRST_COMPLETED)
                for future in done:
                    row = future.result()
                    yield flying.pop(future), row
        except BrokenProcessPool:
            return tuple(flying.values())
    return ()


def _alone(task: Task) -> ScreenRow | None:
    with _pool(1) as pool:
        try:
            return pool.submit(screen_log, task).result()
        except BrokenProcessPool:
            return failed_row(task.name, "the process that checked it died; is memory short?")


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    # Processes are spawned, not forked: a fork would copy threads of this one in any state.
    pool = ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_settle
    )
    # The logs are worked on side by side; threads inside linear algebra would only contend.
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _settle() -> None:
    """Leave stopping to the parent, and end when it is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for_any([parent.sentinel])
        os._exit(1)
