"""What a reader hands over: headers first, then the columns that were asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from airsense.logs.clock import Clock
from airsense.logs.headers import Header
from airsense.logs.recognise import Recognition
from airsense.results import Finding

FloatArray = NDArray[np.float64]


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


class Source(Protocol):
    """An opened log file."""

    @property
    def headers(self) -> Sequence[Header]:
        """Return the headers in file order."""

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Return the recognised columns, grouped by time base."""
