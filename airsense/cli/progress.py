"""A bar for work that takes longer than a moment, on a terminal only."""

from __future__ import annotations

import time
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

# Shorter work shows no bar: our choice.
DELAY_S = 1.0


class Bar:
    """Shows done of total on standard error once a second has passed; else does nothing."""

    def __init__(self, label: str, *, quiet: bool = False) -> None:
        self._label = label
        self._quiet = quiet
        self._started = time.monotonic()
        self._progress: Progress | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._progress is not None:
            self._progress.stop()

    def __call__(self, done: int, total: int) -> None:
        """Take note of how far the work is."""
        if self._quiet or time.monotonic() - self._started < DELAY_S:
            return
        if self._progress is None:
            self._start(total)
        if self._progress is not None and self._task is not None:
            self._progress.update(self._task, completed=done)

    def _start(self, total: int) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

        console = Console(stderr=True)
        if not console.is_terminal:
            self._quiet = True
            return
        self._progress = Progress(
            "{task.description}",
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=console,
            transient=True,
        )
        self._task = self._progress.add_task(self._label, total=total)
        self._progress.start()
