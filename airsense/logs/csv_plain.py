"""Short logs of nothing but numbers, read without pandas: that takes longer to load than to read.

Whatever is odd in such a text (a word, a short row, a row too wide) is left to pandas.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from airsense.logs.csv_blocks import Job, Opener

# Up to here reading takes less time than loading pandas does (our measurement: 0.1 s for each).
SHORT_CHARS = 256_000
NUMERIC = frozenset("0123456789+-.eE ")


def plain_columns(opener: Opener, job: Job) -> Mapping[int, NDArray[np.float64]] | None:
    """Return the wanted columns of a short log, NaN in empty cells; None where pandas is needed."""
    dialect = job.dialect
    with io.TextIOWrapper(opener(), dialect.encoding, errors="replace", newline="") as stream:
        text = stream.read(SHORT_CHARS)
    if len(text) == SHORT_CHARS:
        return None
    lines = io.StringIO(text[dialect.skip_chars :], newline="")
    try:
        rows = list(
            csv.reader(
                lines,
                delimiter=dialect.delimiter,
                quoting=csv.QUOTE_MINIMAL if job.quoted else csv.QUOTE_NONE,
                strict=True,
            )
        )
    except csv.Error:
        return None
    width = dialect.width
    if not all(len(row) == width or (len(row) == width + 1 and not row[width]) for row in rows):
        return None
    columns = {}
    for c in job.wanted:
        numbers = _numbers([row[c] for row in rows], dialect.decimal)
        if numbers is None:
            return None
        columns[c] = numbers
    return columns


def _numbers(cells: list[str], decimal: str) -> NDArray[np.float64] | None:
    """Return the cells as numbers; None if one of them is anything else."""
    known = NUMERIC if decimal == "." else NUMERIC - {"."} | {decimal}
    if not known.issuperset("".join(cells)):
        return None
    try:
        return np.array([float(cell.replace(decimal, ".")) if cell else np.nan for cell in cells])
    except ValueError:
        return None
