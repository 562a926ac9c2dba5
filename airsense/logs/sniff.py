"""The first bytes of a text log -> encoding, delimiter, decimal mark, header, first data row."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from airsense.errors import InputError
from airsense.logs.clock import looks_like_time
from airsense.logs.headers import Header, repair_text
from airsense.units import look_up

# Enough to see header and data of any log; more columns or header lines are no log (our choice).
SAMPLE_BYTES = 131_072
MAX_COLUMNS = 5_000
MAX_SNIFFED_LINES = 300
DELIMITERS = (",", ";", "\t", "|")
EMPTY_WORDS = frozenset((
    "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "#n/a", "#na", "inf", "-inf",
    "+inf", "infinity", "err", "error", "invalid", "?", "*", "-nan", "1.#qnan", "-1.#ind",
    "----",
))  # fmt: skip
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?")
_TEXT_UNITS = re.compile(r"(?i)(hh|dd|yy|mm)[:.\-/](mm|ss|yy).*|enum|bool|flag|text|string")


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a text log is written.

    `skip_chars` is the number of characters, and `first_line` the 1-based line, before and at
    the first data row; `width` is the number of columns.
    """

    encoding: str
    delimiter: str
    decimal: str
    quoted: bool
    headers: tuple[Header, ...]
    skip_chars: int
    first_line: int

    @property
    def width(self) -> int:
        """Return the number of columns."""
        return len(self.headers)


def sniff(sample: bytes, *, where: str, complete: bool) -> Dialect:
    """Tell how a text log is written.

    Parameters
    ----------
    sample : bytes
        The first bytes of the file.
    where : str
        The file, for messages.
    complete : bool
        Whether the sample is the whole file.

    Raises
    ------
    InputError
        If the bytes are no text, or hold no header followed by rows of numbers.
    """
    encoding, text = _decode(sample.rstrip(b"\0") if complete else sample, where)
    lines = list(islice(io.StringIO(text, newline=""), MAX_SNIFFED_LINES))
    if not complete and len(lines) > 1:
        lines = lines[:-1]
    if not "".join(lines).strip():
        raise _no_log(where, "an empty file" if not text.strip() else "blank lines")
    delimiter, decimal, rows = _split(lines, where)
    width = _modal_width(rows)
    data = _first_data_row(rows, width, decimal, where)
    headers = _headers(rows, data, where)
    return Dialect(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal,
        quoted='"' in text,
        headers=headers,
        skip_chars=sum(len(line) for line in lines[:data]),
        first_line=data + 1,
    )


def _decode(sample: bytes, where: str) -> tuple[str, str]:
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if sample.startswith(mark):
            return name, sample.decode(name, errors="ignore")
    zeros = sample[1::2].count(0), sample[0::2].count(0)
    if max(zeros) > 0.3 * (len(sample) // 2 + 1) and min(zeros) < 0.02 * len(sample) + 1:
        name = "utf-16-le" if zeros[0] > zeros[1] else "utf-16-be"
        return name, sample.decode(name, errors="ignore")
    controls = sum(sample.count(bytes([code])) for code in range(32) if code not in (9, 10, 13))
    if controls > 0.01 * len(sample):
        raise InputError(
            "file is not a text log",
            where=where,
            got=f"binary data ({controls} control bytes in the first {len(sample)})",
            allowed="CSV text in UTF-8, UTF-16 or Windows-1252; a gzip or zip of one",
            fix="export the log as CSV",
        )
    try:
        text = codecs.getincrementaldecoder("utf-8")().decode(sample)
        return "utf-8", text
    except UnicodeDecodeError:
        pass
    try:
        return "cp1252", sample.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1", sample.decode("latin-1")


def _split(lines: Sequence[str], where: str) -> tuple[str, str, list[list[str]]]:
    """Choose the delimiter that leaves most cells numeric in rows of one width."""
    best: tuple[float, str, str, list[list[str]]] | None = None
    for delimiter in DELIMITERS:
        rows = [_cells(line, delimiter) for line in lines]
        width = _modal_width(rows)
        if width < 2:
            continue
        body = [row for row in rows if len(row) == width]
        decimal = "," if delimiter != "," and _comma_decimals(body) else "."
        cells = [c for row in body[:: len(body) // 40 + 1] for c in row if c]
        numeric = sum(is_value(c, decimal) for c in cells) / max(len(cells), 1)
        score = numeric * len(body) / len(rows) + 1e-4 * min(width, 1000)
        if best is None or score > best[0]:
            best = (score, delimiter, decimal, rows)
    if best is None:
        raise _no_log(where, f"one column: {lines[0].strip()[:60]!r}")
    return best[1], best[2], best[3]


def _cells(line: str, delimiter: str) -> list[str]:
    plain = line.rstrip("\r\n")
    if '"' not in plain:
        return [cell.strip() for cell in plain.split(delimiter)]
    try:
        return [c.strip() for c in next(csv.reader([plain], delimiter=delimiter), [])]
    except csv.Error:
        return [cell.strip() for cell in plain.split(delimiter)]


def _modal_width(rows: Sequence[Sequence[str]]) -> int:
    widths = Counter(len(row) for row in rows if any(row))
    return max(widths, key=lambda w: (widths[w] * (w > 1), w), default=0)


def _comma_decimals(rows: Sequence[Sequence[str]]) -> bool:
    cells = [c for row in rows[-200:] for c in row]
    commas = sum(_COMMA_NUMBER.fullmatch(c) is not None for c in cells)
    points = sum("." in c and _NUMBER.fullmatch(c) is not None for c in cells)
    return commas > points


def is_value(cell: str, decimal: str) -> bool:
    """Whether a cell is a number, a time, or a word for an empty one."""
    if len(cell) > 60:
        return False
    plain = cell.replace(",", ".") if decimal == "," else cell
    return (
        _NUMBER.fullmatch(plain) is not None
        or looks_like_time(cell)
        or cell.casefold() in EMPTY_WORDS
    )


def _first_data_row(rows: Sequence[list[str]], width: int, decimal: str, where: str) -> int:
    def is_data(row: Sequence[str]) -> bool:
        filled = [c for c in row if c]
        values = sum(is_value(c, decimal) for c in filled)
        return bool(filled) and abs(len(row) - width) <= 1 and values >= max(0.5 * len(filled), 1)

    for i, row in enumerate(rows):
        if len(row) > 1 and is_data(row):
            rest = [r for r in rows[i + 1 : i + 6] if any(r)]
            if sum(is_data(r) for r in rest) >= 0.5 * len(rest):
                return i
    raise _no_log(where, "no rows of numbers in the first part of the file")


def _headers(rows: Sequence[list[str]], data: int, where: str) -> tuple[Header, ...]:
    width = len(rows[data])
    above = [i for i in range(max(data - 4, 0), data) if sum(map(bool, rows[i])) >= 2]
    units = next((i for i in reversed(above) if _is_unit_row(rows[i])), None)
    named = [i for i in above if i != units and len(rows[i]) >= width - 2]
    if not named:
        raise InputError(
            "log has no header row",
            where=f"{where}, line {data + 1}",
            got=", ".join(rows[data])[:80],
            allowed="a row of column names above the numbers",
            fix="add the header row, with units in brackets: time [s], engine_speed [rpm], …",
        )
    header_row = named[-1]
    _refuse_wide_rows(rows[data : data + 50], len(rows[header_row]), f"{where}, line {data + 1}")
    names = [repair_text(cell) for cell in rows[header_row]]
    unit_cells = [repair_text(cell) for cell in rows[units]] if units is not None else []
    names += [""] * (width - len(names))
    unit_cells += [""] * (len(names) - len(unit_cells))
    if len(names) > MAX_COLUMNS:
        raise InputError(
            "log has too many columns",
            where=f"{where}, line {header_row + 1}",
            got=f"{len(names)} columns",
            allowed=f"at most {MAX_COLUMNS}",
            fix="export only the channels that are needed",
        )
    return tuple(
        Header(name, unit.strip("[](){}<> "))
        for name, unit in zip(names, unit_cells[: len(names)], strict=True)
    )


def _refuse_wide_rows(rows: Sequence[Sequence[str]], width: int, where: str) -> None:
    """Refuse rows with more filled cells than the header has: often decimal commas."""
    filled = sorted(max((i + 1 for i, c in enumerate(row) if c), default=0) for row in rows)
    usual = filled[len(filled) // 2]
    if usual > width:
        raise InputError(
            "rows have more cells than the header",
            where=where,
            got=f"{usual} cells under {width} headers: {', '.join(rows[0])[:60]}",
            allowed="as many cells as headers",
            fix="if these are decimal commas, export with semicolons or decimal points",
        )


def _is_unit_row(row: Sequence[str]) -> bool:
    filled = [repair_text(c) for c in row if c]
    known = sum(
        look_up(c) is not None or _TEXT_UNITS.fullmatch(c.strip("[](){}<> ")) is not None
        for c in filled
    )
    return bool(filled) and known >= 0.6 * len(filled)


def _no_log(where: str, got: str) -> InputError:
    return InputError(
        "file holds no log",
        where=where,
        got=got,
        allowed="a header row and rows of numbers, separated by comma, semicolon, tab or |",
        fix="export the log as CSV with its header",
    )
