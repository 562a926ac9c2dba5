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

BLOCK_SIZE = 6_000_000
# A row, or a quoted cell, that goes on longer than this is no row of a log (our choice).
MAX_ROW_BYTES = 24_000_000
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
    with opener() as stream:
        blocks = _blocks(_utf8(stream, job.dialect), job)
        first = next(blocks)
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


def _utf8(stream: IO[bytes], dialect: Dialect) -> Iterator[bytes]:
    """Yield the text from the first data row on, as UTF-8."""
    if dialect.encoding == "utf-8":
        stream.read(dialect.skip_bytes)
        while chunk := stream.read(BLOCK_SIZE):
            yield chunk
        return
    with io.TextIOWrapper(stream, dialect.encoding, errors="replace", newline="") as text:
        text.read(dialect.skip_chars)
        while part := text.read(BLOCK_SIZE):
            yield part.encode("utf-8", errors="replace")


def _blocks(chunks: Iterator[bytes], job: Job) -> Iterator[bytes]:
    """Yield blocks of whole rows; each starts with a row one cell wider than the header.

    That row makes pandas keep a column for what overflows.
    """
    wide_row = (job.dialect.delimiter * job.dialect.width + "\n").encode()
    rest = b""
    for chunk in chunks:
        cut = chunk.rfind(b"\n") + 1 or chunk.rfind(b"\r") + 1
        inside = job.quoted and (rest.count(b'"') + chunk.count(b'"', 0, cut)) % 2
        if cut and not inside:
            yield b"".join((wide_row, rest, memoryview(chunk)[:cut]))
            rest = chunk[cut:]
        else:
            rest += chunk
            if len(rest) > MAX_ROW_BYTES:
                raise _endless(job)
    yield wide_row + rest


def _endless(job: Job) -> Exception:
    if job.quoted:
        return UnbalancedQuotesError()
    return InputError(
        "a row of the log has no end",
        where=job.path,
        got=f"more than {MAX_ROW_BYTES:,} bytes without a line end",
        allowed="one row a line",
        fix="export the log again as CSV",
    )


def _parse(block: bytes, job: Job) -> pd.DataFrame:
    import pandas as pd

    dialect = job.dialect
    try:
        frame = pd.read_csv(
            io.BytesIO(block),
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
            encoding_errors="replace",
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
