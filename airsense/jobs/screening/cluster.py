"""Logs of a screen on a dask.distributed cluster that is already running."""

from __future__ import annotations

import re
import socket
from collections import deque
from collections.abc import Iterator, Sequence
from typing import Any

import airsense
from airsense.errors import InputError
from airsense.jobs.screening.log import Task, failed_row, screen_log
from airsense.jobs.screening.pool import AHEAD, Done
from airsense.jobs.screening.result import ScreenRow

# A scheduler that is there answers within this time (our choice).
TIMEOUT_S = 15
# To see whether anything listens there at all: our choice.
KNOCK_S = 1.5
_ADDRESS = re.compile(r"(?:(?:tcp|tls|ws|wss)://)?(\[[0-9a-fA-F:.]+\]|[^\s:/\[\]]+):(\d{1,5})/?")


def on_cluster(tasks: Sequence[Task], address: str) -> Iterator[Done]:
    """Check logs on the workers of a cluster, in no particular order.

    The scheduler gives the work of a lost worker to another; a log whose workers keep dying is
    given up. The workers must see the logs by the same paths, or by URL.

    Raises
    ------
    InputError
        If the cluster cannot be reached, has no workers, or runs another airsense.
    """
    client = _connect(address)
    try:
        _require_same_version(client, address)
        yield from _flow(client, tasks, address)
    finally:
        client.close()


def require_address(address: str) -> None:
    """Raise, within seconds and before any work, where no scheduler can be.

    Raises
    ------
    InputError
        If the address has no host and port, or nothing listens there.
    """
    found = _ADDRESS.fullmatch(address)
    if found is None or not 0 < int(found.group(2)) < 65_536:
        raise _unreachable(address, "no address of host and port")
    host, port = found.group(1).strip("[]"), int(found.group(2))
    try:
        socket.create_connection((host, port), timeout=KNOCK_S).close()
    except (OSError, UnicodeError) as error:  # a host name may have impossible letters or length
        got = str(getattr(error, "strerror", None) or error or type(error).__name__)
        raise _unreachable(address, got[:160]) from None


def version() -> str:
    """Return the version of airsense where this runs, if all that a worker needs is there."""
    import threadpoolctl  # noqa: F401

    return airsense.__version__


def on_worker(task: Task) -> ScreenRow | None:
    """Check one log on a worker, linear algebra on one thread: the workers fill the processors.

    Libraries must be loaded before their threads can be limited.
    """
    from threadpoolctl import threadpool_limits

    import airsense.jobs.check  # noqa: F401

    with threadpool_limits(limits=1, user_api="blas"):
        return screen_log(task)


def _flow(client: Any, tasks: Sequence[Task], address: str) -> Iterator[Done]:
    from distributed import as_completed

    ahead = AHEAD * max(sum(client.nthreads().values()), 1)
    waiting = deque(tasks)
    flying: dict[Any, Task] = {}
    done = as_completed(loop=client.loop)
    while waiting or flying:
        while waiting and len(flying) < ahead:
            task = waiting.popleft()
            # Impure: each task has a key of its own, so that none is taken for another.
            future = client.submit(on_worker, task, pure=False)
            flying[future] = task
            done.add(future)
        future = next(done)
        task = flying.pop(future)
        yield task, _result(future, task, address)


def _result(future: Any, task: Task, address: str) -> ScreenRow | None:
    from concurrent.futures import CancelledError

    from distributed import KilledWorker

    try:
        row: ScreenRow | None = future.result()
    except KilledWorker:
        return failed_row(task.name, "the workers that checked it died; is memory short?")
    except (CancelledError, OSError, TimeoutError) as error:
        raise _unreachable(address, f"connection lost: {type(error).__name__}") from None
    except Exception as error:  # whatever a worker could not take in or send back
        return failed_row(task.name, f"{type(error).__name__}: {error}"[:200])
    return row


def _connect(address: str) -> Any:
    try:
        import threadpoolctl  # noqa: F401
        from distributed import Client
    except ImportError:
        raise InputError(
            "a cluster needs the libraries distributed and threadpoolctl",
            where="--cluster",
            got="not both are installed",
            allowed="airsense with the extra cluster",
            fix="pip install 'airsense[cluster]', or leave --cluster out",
        ) from None
    require_address(address)
    try:
        client = Client(address, timeout=TIMEOUT_S, set_as_default=False)
    except Exception as error:  # what answers may be no scheduler, and say anything
        said = str(error).splitlines() or [type(error).__name__]
        raise _unreachable(address, said[0][:160]) from None
    return client


def _require_same_version(client: Any, address: str) -> None:
    """Raise unless all workers run this airsense: a mixed answer would be no answer."""
    try:
        found = client.run(version)
    except Exception as error:  # a worker without airsense cannot even read the question
        raise _other_version(address, f"{type(error).__name__}: {error}"[:160]) from None
    if not found:
        raise _unreachable(address, "no workers")
    others = sorted({v for v in found.values() if v != airsense.__version__})
    if others:
        raise _other_version(address, ", ".join(others))


def _other_version(address: str, got: str) -> InputError:
    return InputError(
        "workers of the cluster do not run this airsense",
        where=f"--cluster {address}",
        got=got,
        allowed=f"airsense {airsense.__version__} on every worker",
        fix="install the same version on all workers",
    )


def _unreachable(address: str, got: str) -> InputError:
    return InputError(
        "cluster cannot be used",
        where=f"--cluster {address}",
        got=got,
        allowed="the address of a running scheduler with workers, such as tcp://host:8786",
        fix="start scheduler and workers; the same command goes on with what is left to do",
    )
