"""Read a transfer table from text and write the new one the same way."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.transfer.model import Layout, SignalKind, TransferTable, require_strictly_monotone
from airsense.units import convert, converts, parse_unit

FloatArray = NDArray[np.float64]

MAX_BYTES = 1_000_000
MAX_ROWS = 4096
MIN_ROWS = 3
MAX_FLOW_KGPS = 5.0
MAX_EXTRA_DECIMALS = 8
# Rounding of the new flow may cost this much of a flow above one percent of the largest.
ROUNDING = 1.0e-4

_KINDS = {
    "volt": SignalKind.VOLTAGE,
    "millivolt": SignalKind.VOLTAGE,
    "hertz": SignalKind.FREQUENCY,
    "kilohertz": SignalKind.FREQUENCY,
    "second": SignalKind.PERIOD,
    "millisecond": SignalKind.PERIOD,
    "microsecond": SignalKind.PERIOD,
    "count": SignalKind.COUNTS,
}
_DELIMITERS = (";", "\t", ",", "|")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,2})?")
_FORMULA_STARTS = ("=", "@", "+", "-")


@dataclass(frozen=True, slots=True)
class _Grid:
    """The lines of the file and the fields of those that hold two numbers."""

    lines: list[str]
    delimiter: str
    rows: dict[int, list[str]]


def read_table(path: str | Path) -> TransferTable:
    """Read a two-column transfer table.

    Parameters
    ----------
    path : path
        Text with a header that holds the units: signal in V, mV, Hz, kHz, us, ms or counts;
        flow in any mass-flow unit. Any of comma, semicolon, tab or bar between the columns,
        point or comma as decimal mark; the units may stand in a second row.

    Returns
    -------
    TransferTable
        With the layout of the file, so that `table_bytes` can write it the same way.

    Raises
    ------
    InputError
        If the file cannot be read, a unit is missing, or a column is not strictly monotone.
    """
    text, encoding, newline = _text_of(path)
    grid = _grid_of(text, str(path))
    first, last = min(grid.rows), max(grid.rows)
    _refuse_gaps(grid, first, last, str(path))
    head = grid.lines[:first]
    names = _header_fields(head, grid.delimiter, str(path))
    kind, flow_unit, flow_first = _units_of(names, str(path))
    texts = [grid.rows[i] for i in sorted(grid.rows)]
    signal_text = tuple(fields[1 if flow_first else 0].strip() for fields in texts)
    flow_text = [fields[0 if flow_first else 1].strip() for fields in texts]
    decimal = "," if any("," in t for t in (*signal_text, *flow_text)) else "."
    signal_unit = _unit_in(names[1 if flow_first else 0], signal=True)
    table = TransferTable(
        signal=_values(signal_text, signal_unit, kind.value),
        flow_kgps=_values(flow_text, flow_unit, "kg/s"),
        kind=kind,
        flow_unit=flow_unit,
        flow_factor=float(_values(["1"], flow_unit, "kg/s")[0]),
        path=str(path),
        layout=Layout(
            head=tuple(head),
            delimiter=grid.delimiter,
            decimal=decimal,
            newline=newline,
            encoding=encoding,
            signal_text=signal_text,
            flow_first=flow_first,
            flow_decimals=max(_decimals(t) for t in flow_text),
            tail=tuple(grid.lines[last + 1 :]),
        ),
    )
    _check(table)
    return table


def table_bytes(table: TransferTable, flow_kgps: FloatArray) -> bytes:
    """Return the file of the same table with other flows.

    Parameters
    ----------
    table : TransferTable
        As read from a file.
    flow_kgps : ndarray, shape (n,)
        New flows, strictly monotone.

    Returns
    -------
    bytes
        Same headers, units, breakpoints as they were typed, delimiter, decimal mark, line ends
        and encoding; decimals added where rounding would cost more than 0.01 % or the order.
    """
    layout = table.layout
    assert layout is not None  # only a table that was read has a file to be written like
    printed = flow_kgps / table.flow_factor
    texts = [f"{x:.{_decimals_for(printed, layout.flow_decimals)}f}" for x in printed]
    texts = [t.replace(".", layout.decimal) for t in texts]
    lines = list(layout.head)
    for signal, flow in zip(layout.signal_text, texts, strict=True):
        fields = [flow, signal] if layout.flow_first else [signal, flow]
        if layout.decimal == layout.delimiter:
            fields = [f'"{f}"' for f in fields]
        lines.append(layout.delimiter.join(fields))
    lines.extend(layout.tail)
    return f"{layout.newline.join(lines)}{layout.newline}".encode(layout.encoding)


def refuse_same_file(out: Path, table_path: str) -> None:
    """Raise if the output is the input, by whatever name; nothing may force that.

    Raises
    ------
    InputError
        If `out` is the file that the table was read from.
    """
    source = Path(table_path)
    same = out.exists() and source.exists() and out.samefile(source)
    if same or out.absolute() == source.absolute():
        raise InputError(
            "the new table would overwrite the one it was made from",
            where=str(out),
            got=f"the same file as --table {table_path}",
            allowed="another file name; --force does not change that",
            fix="choose a new name for --out, and keep the old table",
        )


def _text_of(path: str | Path) -> tuple[str, str, str]:
    file = Path(path)
    try:
        if file.stat().st_size > MAX_BYTES:
            raise _error(
                "transfer table is far too large",
                str(path),
                f"{file.stat().st_size} bytes",
                f"at most {MAX_BYTES} bytes",
                "give the two-column table, not a log",
            )
        data = file.read_bytes()
    except OSError as error:
        raise _error(
            "transfer table cannot be read",
            str(path),
            error.strerror or type(error).__name__,
            "a readable text file with two columns",
            "check the path",
        ) from None
    encoding = _encoding_of(data)
    text = data.decode(encoding, errors="replace")
    if "\x00" in text:
        raise _error(
            "transfer table is not text",
            str(path),
            "zero bytes",
            "comma-, semicolon- or tab-separated text",
            "export the table as CSV",
        )
    newline = "\r\n" if "\r\n" in text else "\n"
    return text, encoding, newline


def _encoding_of(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _grid_of(text: str, where: str) -> _Grid:
    """Find the delimiter under which most lines are two numbers."""
    lines = text.splitlines()
    grids = [_Grid(lines, d, _numeric_rows(lines, d)) for d in _DELIMITERS]
    best = max(grids, key=lambda g: len(g.rows))
    if not MIN_ROWS <= len(best.rows) <= MAX_ROWS:
        raise _error(
            "transfer table has no usable rows",
            where,
            f"{len(best.rows)} lines with two numbers" + _sample(lines),
            f"{MIN_ROWS} to {MAX_ROWS} lines of signal and flow, under one line of headers",
            "give two columns, such as `signal (V),flow (g/s)` and below it `0.98,3.1`",
        )
    return best


def _sample(lines: Sequence[str]) -> str:
    wide = next((x for x in lines if sum(c.isdigit() for c in x) > 2), "")
    return f"; a line reads {wide[:60]!r}" if wide else ""


def _numeric_rows(lines: Sequence[str], delimiter: str) -> dict[int, list[str]]:
    rows = {}
    for i, line in enumerate(lines):
        fields = _split(line, delimiter)
        if len(fields) == 2 and all(_NUMBER.fullmatch(f.strip()) for f in fields):
            rows[i] = fields
    return rows


def _split(line: str, delimiter: str) -> list[str]:
    """Return the fields of a line without empty ones at its end."""
    try:
        fields = next(csv.reader(io.StringIO(line), delimiter=delimiter), [])
    except csv.Error:
        return []
    while len(fields) > 2 and not fields[-1].strip():
        fields.pop()
    return fields


def _refuse_gaps(grid: _Grid, first: int, last: int, where: str) -> None:
    for i in range(first, last + 1):
        if i not in grid.rows:
            raise _error(
                "a row of the transfer table cannot be read",
                f"{where}, line {i + 1}",
                repr(grid.lines[i][:80]),
                "two numbers: signal and flow, without thousands separators",
                "mend or delete the line",
            )


def _header_fields(head: Sequence[str], delimiter: str, where: str) -> list[str]:
    """Return the two headers; a row of units below them is added to each."""
    rows = [f for f in (_split(line, delimiter) for line in head) if len(f) == 2]
    if not rows:
        raise _error(
            "transfer table has no header",
            f"{where}, line 1",
            repr(head[-1][:80]) if head else "numbers from the first line on",
            "one line with two headers that hold the units",
            "add a line such as `signal (V),flow (g/s)`",
        )
    for field in (f for row in rows for f in row):
        if field.strip().startswith(_FORMULA_STARTS):
            raise _error(
                "a header of the transfer table is a spreadsheet formula",
                where,
                repr(field[:80]),
                "a plain name with a unit",
                "rename the column: a new table with this header could run in a spreadsheet",
            )
    return [" ".join(row[k].strip() for row in rows) for k in (0, 1)]


def _units_of(names: Sequence[str], where: str) -> tuple[SignalKind, str, bool]:
    for flow_first in (False, True):
        signal = _unit_in(names[1 if flow_first else 0], signal=True)
        flow = _unit_in(names[0 if flow_first else 1], signal=False)
        if signal and flow:
            unit = parse_unit(signal)
            assert unit is not None  # `_unit_in` returns only what parses
            return _KINDS[unit.expression], flow, flow_first
    raise _error(
        "the headers of the transfer table do not name its units",
        where,
        " | ".join(names)[:120],
        "signal in V, mV, Hz, kHz, us, ms or counts; flow in g/s, kg/h, lb/min or another "
        "mass-flow unit",
        "write the units in brackets: `signal (V),flow (g/s)`",
    )


def _unit_in(name: str, *, signal: bool) -> str:
    """Return the spelling of the unit that a header holds, or an empty text."""
    brackets = re.findall(r"[\[({<]([^\[\](){}<>]{1,60})[\])}>]", name)
    words = re.split(r"[\s_,:;]+", name)
    for candidate in map(str, (*brackets, *reversed(words))):
        unit = parse_unit(candidate)
        if unit is None:
            continue
        if (unit.expression in _KINDS) if signal else converts(unit, "kg/s"):
            return candidate
    return ""


def _values(texts: Sequence[str], unit_text: str, to_unit: str) -> FloatArray:
    unit = parse_unit(unit_text)
    assert unit is not None  # found in the header by `_unit_in`
    return convert([float(t.replace(",", ".")) for t in texts], unit, to_unit)


def _decimals(text: str) -> int:
    mantissa, _, exponent = text.replace(",", ".").lower().partition("e")
    return max(0, len(mantissa.partition(".")[2]) - int(exponent or 0))


def _decimals_for(printed: FloatArray, at_least: int) -> int:
    """Return the decimals that keep the order and the precision of the flows."""
    size = np.abs(printed)
    matters = size > 0.01 * np.max(size)
    sign = np.sign(printed[-1] - printed[0])
    for decimals in range(at_least, at_least + MAX_EXTRA_DECIMALS):
        rounded = np.round(printed, decimals)
        close = np.all(np.abs(rounded - printed)[matters] <= ROUNDING * size[matters])
        if close and np.all(np.diff(rounded) * sign > 0.0):
            return decimals
    return at_least + MAX_EXTRA_DECIMALS


def _check(table: TransferTable) -> None:
    require_strictly_monotone(table.signal, column="signal", where=table.path)
    require_strictly_monotone(table.flow_kgps, column="flow", where=table.path)
    high = float(np.max(np.abs(table.flow_kgps)))
    if high > MAX_FLOW_KGPS or np.max(table.flow_kgps) <= 0.0:
        raise _error(
            "the flows of the transfer table are outside any engine",
            table.path,
            f"{float(np.min(table.flow_kgps)):g} to {float(np.max(table.flow_kgps)):g} kg/s",
            f"up to {MAX_FLOW_KGPS:g} kg/s, and some flow above zero",
            "check the unit of flow in the header",
        )


def _error(what: str, where: str, got: str, allowed: str, fix: str) -> InputError:
    return InputError(what, where=where, got=got, allowed=allowed, fix=fix)
