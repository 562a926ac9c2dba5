"""The columns of numbers in a text file, whichever way it lies."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from airsense.errors import InputError

# Fewer are no table; more rows or columns are a log.
MIN_ROWS = 3
MAX_ROWS = 4096
MAX_COLUMNS = 6
_DELIMITERS = (";", "\t", ",", "|")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,2})?")
_COMMENTS = ("#", "//")
_FORMULA_STARTS = ("=", "@", "+", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A header, and numbers as they are typed, with line and field of each."""

    name: str
    texts: tuple[str, ...]
    places: tuple[tuple[int, int], ...]


def split(line: str, delimiter: str) -> list[str]:
    """Return the fields of a line as they are typed, quotes and blanks included."""
    mark = re.escape(delimiter)
    found = re.findall(rf'(?:^|{mark})(\s*"(?:[^"]|"")*"\s*|[^{mark}]*)', line)
    return list(found)


def columns_of(lines: Sequence[str], where: str) -> tuple[tuple[Column, ...], str]:
    """Return the columns of numbers, and what stands between the fields.

    Raises
    ------
    InputError
        If there are no numbers in columns or rows, a line among them is none, or headers lack.
    """
    tried = [(_upright(lines, d), d) for d in _DELIMITERS]
    rows, delimiter = max(tried, key=lambda t: len(t[0]))
    if len(rows) >= MIN_ROWS:
        return _from_rows(lines, rows, delimiter, where), delimiter
    for mark in _DELIMITERS:
        lying = _lying(lines, mark)
        if len(lying) > 1:  # a single row is no table
            return lying, mark
    wide = next((x for x in lines if sum(c.isdigit() for c in x) > 2), "")
    raise InputError(
        "transfer table has no usable rows",
        where=where,
        got=f"{len(rows)} lines of numbers" + (f"; a line reads {wide[:60]!r}" if wide else ""),
        allowed=f"{MIN_ROWS} to {MAX_ROWS} breakpoints of signal and flow, with headers",
        fix="give two columns, such as `signal (V),flow (g/s)` and below it `0.98,3.1`",
    )


def _clean(field: str) -> str:
    return field.strip().strip('"').strip()


def _fields(line: str, delimiter: str) -> list[str]:
    """Return the fields of a line without quotes, and without empty ones at its end."""
    fields = [_clean(f) for f in split(line, delimiter)]
    while fields and not fields[-1]:
        fields.pop()
    return fields


def _is_number(text: str) -> bool:
    return _NUMBER.fullmatch(text) is not None


def _is_comment(line: str) -> bool:
    return not line.strip(" \t,;|") or line.strip(' "').startswith(_COMMENTS)


def _upright(lines: Sequence[str], delimiter: str) -> dict[int, list[str]]:
    """Return the lines that hold nothing but numbers, as many as most of them do."""
    rows = {}
    for k, line in enumerate(lines):
        fields = [] if _is_comment(line) else _fields(line, delimiter)
        if 2 <= len(fields) <= MAX_COLUMNS and all(map(_is_number, fields)):
            rows[k] = fields
    if not rows or len(rows) > MAX_ROWS:
        return {}
    width = Counter(map(len, rows.values())).most_common(1)[0][0]
    return {k: fields for k, fields in rows.items() if len(fields) == width}


def _from_rows(
    lines: Sequence[str], rows: dict[int, list[str]], delimiter: str, where: str
) -> tuple[Column, ...]:
    first, last = min(rows), max(rows)
    for k in range(first, last + 1):
        if k not in rows and not _is_comment(lines[k]):
            raise InputError(
                "a row of the transfer table cannot be read",
                where=f"{where}, line {k + 1}",
                got=repr(lines[k][:80]),
                allowed="numbers: signal and flow, without thousands separators",
                fix="mend or delete the line",
            )
    width = len(rows[first])
    names = _names(lines[:first], delimiter, width, where)
    return tuple(
        Column(
            name=names[j],
            texts=tuple(rows[k][j] for k in sorted(rows)),
            places=tuple((k, j) for k in sorted(rows)),
        )
        for j in range(width)
    )


def _names(head: Sequence[str], delimiter: str, width: int, where: str) -> list[str]:
    """Return the headers; a row of units below them is added, an index may have none."""
    told = [_fields(line, delimiter) for line in head if not _is_comment(line)]
    found = [f if len(f) == width else ["", *f] for f in told if width - 1 <= len(f) <= width]
    found = [f for f in found if len([x for x in f if x]) > 1]
    if not found:
        raise InputError(
            "transfer table has no header",
            where=f"{where}, line 1",
            got=repr(head[-1][:80]) if head else "numbers from the first line on",
            allowed="one line with headers that hold the units",
            fix="add a line such as `signal (V),flow (g/s)`",
        )
    for field in (f for row in found for f in row):
        _refuse_formula(field, where)
    return [" ".join(row[j] for row in found).strip() for j in range(width)]


def _lying(lines: Sequence[str], delimiter: str) -> tuple[Column, ...]:
    """Return the columns of a table whose breakpoints stand side by side."""
    found = []
    for k, line in enumerate(lines):
        fields = [] if _is_comment(line) else _fields(line, delimiter)
        start = next((j for j, f in enumerate(fields) if _is_number(f)), 0)
        numbers = fields[start:]
        if start and MIN_ROWS <= len(numbers) <= MAX_ROWS and all(map(_is_number, numbers)):
            for field in fields[:start]:
                _refuse_formula(field, f"line {k + 1}")
            found.append(
                Column(
                    name=" ".join(fields[:start]),
                    texts=tuple(numbers),
                    places=tuple((k, start + j) for j in range(len(numbers))),
                )
            )
    if not found:
        return ()
    width = Counter(len(c.texts) for c in found).most_common(1)[0][0]
    return tuple(c for c in found if len(c.texts) == width)


def _refuse_formula(field: str, where: str) -> None:
    if field.startswith(_FORMULA_STARTS):
        raise InputError(
            "a header of the transfer table is a spreadsheet formula",
            where=where,
            got=repr(field[:80]),
            allowed="a plain name with a unit",
            fix="rename the column: a new table with this header could run in a spreadsheet",
        )
