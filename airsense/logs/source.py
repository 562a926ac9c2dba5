"""What a reader hands over: headers first, then the columns that were asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.clock import Clock
from airsense.logs.headers import Header
from airsense.logs.recognise import Recognition
from airsense.results import Finding


@dataclass(frozen=True)
class Table:
    """Columns that share one time base.

    `columns` maps the column number to its values, shape (n,), NaN where empty or unreadable;
    `line` gives the place of each row in the file (line, record), shape (n,).
    """

    clock: Clock
    columns: Mapping[int, FloatArray]
    line: NDArray[np.int64]
    place: str = "line"
    findings: tuple[Finding, ...] = field(default=())


# Cells kept in memory, 8 bytes each: 1.2 GB (our choice; a day at 100 Hz with 15 channels).
MAX_CELLS = 150_000_000


class Source(Protocol):
    """An opened log file."""

    @property
    def headers(self) -> Sequence[Header]:
        """Return the headers in file order."""

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Return the recognised columns, grouped by time base."""

    def close(self) -> None:
        """Let go of the file."""


def too_large(path: str, rows: int) -> InputError:
    """Return the error for a log that would not fit in memory."""
    return InputError(
        "log is too large",
        where=f"{path}, row {rows}",
        got=f"more than {MAX_CELLS:,} recognised cells",
        allowed="what fits in memory at once",
        fix="split the log by drive or sweep",
    )


def no_time(path: str, headers: Sequence[Header]) -> InputError:
    """Return the error for a log without a time column."""
    return InputError(
        "log has no time column",
        where=path,
        got=", ".join(h.text for h in headers)[:300],
        allowed="a column of seconds, milliseconds, microseconds, a clock or date-times",
        fix='log the time, or name its column: [channels] time = "…"',
    )


def missing_library(path: str, what: str, library: str, extra: str) -> InputError:
    """Return the error for a format whose library is not installed."""
    return InputError(
        f"reading {what} needs {library}",
        where=path,
        got=f"{library} is not installed",
        allowed=f"airsense with the extra {extra}",
        fix=f"pip install 'airsense[{extra}]', or export the log as CSV",
    )
