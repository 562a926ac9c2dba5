"""The bulk of a text log, parsed by pandas in blocks of whole rows, two at a time."""

from __future__ import annotations

import csv
import io
import os
import re
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

from airsense.errors import InputError
from airsense.logs.sniff import EMPTY_WORDS, Dialect

if TYPE_CHECKING:
    import pandas as pd

Opener = Callable[[], IO[bytes]]

BLOCK_CHARS = 6_000_000
# A row, or a quoted cell, that goes on longer than this is no row of a log (our choice).
MAX_ROW_CHARS = 24_000_000
# The parser lets go of the interpreter while it works; more than two gain little.
_WORKERS = min(2, os.cpu_count() or 1)


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
    encoding = job.dialect.encoding
    with io.TextIOWrapper(opener(), encoding, errors="replace", newline="") as text:
        blocks = _blocks(text, job)
        first = next(blocks, b"")
        second = next(blocks, None)
        yield _parse(first, job)
        if second is not None:
            yield from _parse_in_threads(second, blocks, job)


def _parse_in_threads(first: bytes, blocks: Iterator[bytes], job: Job) -> Iterator[pd.DataFrame]:
    with ThreadPoolExecutor(_WORKERS) as pool:
        waiting: deque[Future[pd.DataFrame]] = deque([pool.submit(_parse, first, job)])
        for block in blocks:
            waiting.append(pool.submit(_parse, block, job))
            if len(waiting) > _WORKERS:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _blocks(text: IO[str], job: Job) -> Iterator[bytes]:
    """Yield the data rows as UTF-8, cut between rows."""
    text.read(job.dialect.skip_chars)
    rest = ""
    while True:
        fresh = text.read(BLOCK_CHARS)
        rest += fresh
        cut = _cut(rest, job) if fresh else len(rest)
        if cut:
            yield rest[:cut].encode("utf-8", errors="replace")
            rest = rest[cut:]
        elif len(rest) > MAX_ROW_CHARS:
            raise _endless(job)
        if not fresh:
            return


def _cut(text: str, job: Job) -> int:
    """Return the length of the whole rows at the start of `text`, outside any quotes."""
    cut = text.rfind("\n") + 1 or text.rfind("\r") + 1
    if job.quoted and text.count('"', 0, cut) % 2:
        return 0
    return cut


def _endless(job: Job) -> Exception:
    if job.quoted:
        return UnbalancedQuotesError()
    return InputError(
        "a row of the log has no end",
        where=job.path,
        got=f"more than {MAX_ROW_CHARS:,} characters without a line end",
        allowed="one row a line",
        fix="export the log again as CSV",
    )


def _parse(block: bytes, job: Job) -> pd.DataFrame:
    import pandas as pd

    dialect = job.dialect
    # One row wider than the header makes pandas keep a column for what overflows.
    wide_row = (dialect.delimiter * dialect.width + "\n").encode()
    try:
        frame = pd.read_csv(
            io.BytesIO(wide_row + block),
            sep=dialect.delimiter,
            decimal=dialect.decimal,
            header=None,
            names=range(dialect.width + 1),
            usecols=[*job.wanted, dialect.width],
            index_col=False,
            engine="c",
            quoting=csv.QUOTE_MINIMAL if job.quoted else csv.QUOTE_NONE,
            na_values=_na_words(),
            skip_blank_lines=False,
            low_memory=False,
        )
    except pd.errors.ParserError as error:
        if job.quoted and re.search("(?i)string|quote", str(error)):
            raise UnbalancedQuotesError from None
        raise InputError(
            "log cannot be parsed",
            where=job.path,
            got=str(error).strip()[:160],
            allowed="rows of the same number of cells",
            fix="export the log again as CSV",
        ) from None
    return frame.iloc[1:]


def _na_words() -> list[str]:
    return [w for word in EMPTY_WORDS for w in (word, word.upper(), word.capitalize())]
