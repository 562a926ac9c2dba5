"""The bulk of a text log, parsed by pandas in blocks of rows."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

from airsense.errors import InputError
from airsense.logs.sniff import EMPTY_WORDS, Dialect

if TYPE_CHECKING:
    import pandas as pd

Opener = Callable[[], IO[bytes]]

# Blocks of some 30 MB: memory stays flat, and pandas is not called too often.
BLOCK_ROWS = 100_000
# A row, or a quoted cell, that goes on longer than this is no row of a log (our choice).
MAX_ROW_CHARS = 24_000_000


class UnbalancedQuotesError(Exception):
    """A quote was opened and never closed."""


@dataclass(frozen=True, slots=True)
class Job:
    """What to parse: the dialect, the columns wanted, and whether quotes mean anything."""

    path: str
    dialect: Dialect
    wanted: tuple[int, ...]
    quoted: bool


def frames(opener: Opener, job: Job) -> Iterator[pd.DataFrame]:
    """Yield the data rows in order, one frame a block.

    The columns are numbered as in the file; one more, numbered by the width of the header, is
    filled where a row has more cells than the header.

    Raises
    ------
    UnbalancedQuotesError
        If quotes do not match; parse again with `quoted=False`.
    InputError
        If a row has no end, or pandas cannot make rows of the text.
    """
    import pandas as pd

    encoding = job.dialect.encoding
    with io.TextIOWrapper(opener(), encoding, errors="replace", newline="") as text:
        text.read(job.dialect.skip_chars)
        try:
            for number, frame in enumerate(_reader(text, job)):
                yield frame if number else frame.iloc[1:]
        except pd.errors.ParserError as error:
            raise _refusal(error, job) from None


def _reader(text: IO[str], job: Job) -> Iterator[pd.DataFrame]:
    import pandas as pd

    dialect = job.dialect
    return iter(
        pd.read_csv(
            _Guarded(text, job),  # type: ignore[call-overload]  # all it needs is read()
            sep=dialect.delimiter,
            decimal=dialect.decimal,
            header=None,
            names=range(dialect.width + 1),
            usecols=[*job.wanted, dialect.width],
            index_col=False,
            engine="c",
            quoting=csv.QUOTE_MINIMAL if job.quoted else csv.QUOTE_NONE,
            na_values=[w for e in EMPTY_WORDS for w in (e, e.upper(), e.capitalize())],
            skip_blank_lines=False,
            chunksize=BLOCK_ROWS,
        )
    )


class _Guarded:
    """The text with one row put before it, watched for rows and quotes without an end.

    That row is one cell wider than the header: pandas then keeps a column for what overflows.
    """

    def __init__(self, text: IO[str], job: Job) -> None:
        self._text = text
        self._job = job
        self._row = job.dialect.delimiter * job.dialect.width + "\n"
        self._open_quotes = 0
        self._endless = 0

    def read(self, size: int = -1) -> str:
        """Return the next characters."""
        if self._row:
            row, self._row = self._row, ""
            return row
        part = self._text.read(size)
        ended = "\n" in part or "\r" in part
        if self._job.quoted:
            self._open_quotes = (self._open_quotes + part.count('"')) % 2
            ended = ended and not self._open_quotes
        self._endless = 0 if ended else self._endless + len(part)
        if self._endless > MAX_ROW_CHARS:
            raise self._no_end()
        return part

    def __iter__(self) -> Iterator[str]:
        """Iterate over lines; pandas asks whether this can be done before it reads."""
        return iter(self._text)

    def _no_end(self) -> Exception:
        if self._job.quoted:
            return UnbalancedQuotesError()
        return InputError(
            "a row of the log has no end",
            where=self._job.path,
            got=f"more than {MAX_ROW_CHARS:,} characters without a line end",
            allowed="one row a line",
            fix="export the log again as CSV",
        )


def _refusal(error: Exception, job: Job) -> Exception:
    if job.quoted and re.search("(?i)string|quote", str(error)):
        return UnbalancedQuotesError()
    return InputError(
        "log cannot be parsed",
        where=job.path,
        got=str(error).strip()[:160],
        allowed="rows of the same number of cells",
        fix="export the log again as CSV",
    )
