"""Text logs: the first bytes are sniffed, the bulk is parsed, only what is needed."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airsense.logs.clock import Clock, numeric_clock, text_clock
from airsense.logs.container import Content
from airsense.logs.csv_blocks import Job, Opener, UnbalancedQuotesError, frames
from airsense.logs.csv_plain import plain_columns
from airsense.logs.headers import Header, repair_text
from airsense.logs.recognise import Match, Recognition
from airsense.logs.sniff import SAMPLE_BYTES, Dialect, sniff
from airsense.logs.source import MAX_CELLS, Table, no_time, too_large
from airsense.results import Finding, Severity

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class CsvSource:
    """A text log whose dialect is known."""

    path: str
    opener: Opener
    dialect: Dialect

    @property
    def headers(self) -> Sequence[Header]:
        """Return the headers in file order."""
        return self.dialect.headers

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Parse the recognised columns."""
        time = recognition.time
        if time is None:
            raise no_time(self.path, self.dialect.headers)
        wanted = sorted({time.column, *recognition.columns})
        try:
            parsed = self._parse(wanted, time.column, quoted=self.dialect.quoted)
        except UnbalancedQuotesError:
            parsed = self._parse(wanted, time.column, quoted=False)
        return [self._table(parsed, wanted, time)]

    def close(self) -> None:
        """Do nothing: no file is held open."""

    def _parse(self, wanted: Sequence[int], time: int, *, quoted: bool) -> _Parsed:
        parsed = _Parsed(columns={c: [] for c in wanted}, headers=self.dialect.headers)
        job = Job(self.path, self.dialect, tuple(wanted), quoted)
        plain = plain_columns(self.opener, job)
        if plain is not None:
            parsed.add_numbers(plain)
            return parsed
        import pandas as pd

        with warnings.catch_warnings():
            # Text among numbers is dealt with below, cell by cell.
            warnings.simplefilter("ignore", pd.errors.DtypeWarning)
            for frame in frames(self.opener, job):
                parsed.add(frame, time, self.dialect.width)
                if parsed.rows * len(wanted) > MAX_CELLS:
                    raise too_large(self.path, parsed.rows)
        return parsed

    def _table(self, parsed: _Parsed, wanted: Sequence[int], time: Match) -> Table:
        stamps = parsed.take(time.column)
        where = f"{self.path}, column {time.header!r}"
        clock = (
            text_clock(stamps, time.unit, where=where)
            if stamps.dtype == object
            else numeric_clock(stamps.astype(np.float64), time.unit)
        )
        values = {
            c: parsed.take(c).astype(np.float64, copy=False) for c in wanted if c != time.column
        }
        line = np.arange(stamps.size, dtype=np.int64) + self.dialect.first_line
        keep = ~parsed.wide()
        if not keep.all():
            clock = Clock(clock.time_s[keep], clock.unit, clock.assumed, clock.started)
            values = {c: v[keep] for c, v in values.items()}
        return Table(clock, values, line[keep], findings=tuple(parsed.findings(line)))


def accepts(head: bytes) -> bool:
    """Whether this may be a text log: anything may, `open_source` tells."""
    return True


def open_source(content: Content) -> CsvSource:
    """Sniff a text log.

    Raises
    ------
    InputError
        If it is no text, or holds no header followed by rows of numbers.
    """
    with content.opener() as stream:
        sample = stream.read(SAMPLE_BYTES)
        if b"\n" not in sample and b"\r" not in sample:
            sample += stream.read(8 * SAMPLE_BYTES)
        complete = not stream.read(1)
    dialect = sniff(sample, where=content.path, complete=complete)
    return CsvSource(content.path, content.opener, dialect)


class _Parsed:
    """Columns as they come in, chunk by chunk; each is joined once and then let go."""

    def __init__(self, columns: dict[int, list[NDArray[Any]]], headers: Sequence[Header]) -> None:
        self._columns = columns
        self._headers = headers
        self._wide: list[NDArray[np.bool_]] = []
        self._unreadable: dict[int, tuple[int, int, str]] = {}
        self.rows = 0

    def add_numbers(self, columns: Mapping[int, NDArray[np.float64]]) -> None:
        """Take columns of numbers over; no row is too wide."""
        for column, numbers in columns.items():
            self._columns[column].append(numbers)
            self.rows = numbers.size
        self._wide.append(np.zeros(self.rows, dtype=bool))

    def add(self, chunk: pd.DataFrame, time: int, width: int) -> None:
        """Take one chunk over; text in a column of numbers becomes NaN and is counted."""
        import pandas as pd

        for column, parts in self._columns.items():
            series = chunk[column]
            if column == time and series.dtype.kind not in "fiu":
                parts.append(series.astype(object).to_numpy())
            else:
                parts.append(self._numbers(series, column))
        overflow = chunk[width].to_numpy()
        self._wide.append(np.asarray(pd.notna(overflow)))
        self.rows += len(chunk)

    def _numbers(self, series: pd.Series, column: int) -> NDArray[np.float64]:
        import pandas as pd

        if series.dtype.kind in "fiu":
            return series.to_numpy(np.float64)
        try:
            numbers = np.asarray(pd.to_numeric(series, errors="coerce"), dtype=np.float64)
        except OverflowError:
            # Whole numbers beyond any float: as text they become infinite, and are left out.
            numbers = np.asarray(pd.to_numeric(series.astype(str) + ".0", errors="coerce"))
        lost = np.nonzero(np.isnan(numbers) & series.notna().to_numpy(bool))[0]
        self._count(column, lost, series)
        return numbers

    def _count(self, column: int, lost: NDArray[np.intp], series: pd.Series) -> None:
        """Count lost cells; a header that comes again, where logs were joined, is none."""
        own = self._headers[column].text
        rows = [row for row in lost[:1000] if repair_text(str(series.iloc[row])) != own]
        if rows:
            first = (0, self.rows + int(rows[0]), str(series.iloc[rows[0]]))
            count, row, cell = self._unreadable.get(column, first)
            self._unreadable[column] = (count + len(rows) + max(lost.size - 1000, 0), row, cell)

    def take(self, column: int) -> NDArray[Any]:
        """Return a whole column and free its parts; text where the column is a text clock."""
        parts = self._columns.pop(column)
        if not parts:
            return np.empty(0)
        return np.concatenate(parts)

    def wide(self) -> NDArray[np.bool_]:
        """Return which rows have more cells than the header."""
        return np.concatenate(self._wide) if self._wide else np.zeros(0, dtype=bool)

    def findings(self, line: NDArray[np.int64]) -> Iterator[Finding]:
        """Yield what could not be read, with count and place."""
        wide = self.wide()
        if wide.any():
            yield Finding(
                code="rows_too_wide",
                severity=Severity.WARNING,
                message=f"{int(wide.sum())} rows have more cells than the header; left out",
                fix="check for a decimal comma or a stray delimiter there",
                where=f"line {int(line[np.argmax(wide)])}",
            )
        for column, (count, row, cell) in self._unreadable.items():
            yield Finding(
                code="unreadable_cells",
                severity=Severity.INFO,
                message=f"{count} cells of {self._headers[column].text!r} are no numbers, "
                f"the first {cell[:30]!r}; left out",
                fix="none needed if these mark missing values",
                where=f"line {int(line[row])}",
            )
