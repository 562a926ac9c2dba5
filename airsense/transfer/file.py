"""Read a transfer table from text and write the new one the same way."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.reading import Wanted, read_input
from airsense.transfer.grid import Column, columns_of, split
from airsense.transfer.model import Layout, SignalKind, TransferTable, require_monotone
from airsense.units import convert, converts, parse_unit

WANTED = Wanted(
    what="transfer table",
    kind="text file with two columns",
    fix="check the path",
    instead="give the two-column table, not a log",
)
# Three times the largest truck engine: more is another unit. Decimals that make flows rise.
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
# A slash cannot stand in every header: kg_h, g_per_s, lb_min.
_UNDERSCORED = re.compile(r"(?:^|[_\s])(kg|g|mg|lb|lbs)_(?:per_)?(s|sec|min|h|hr|hour)$", re.I)


def read_table(path: str | Path) -> TransferTable:
    """Read a transfer table.

    Parameters
    ----------
    path : path
        Text with headers that hold the units: signal in V, mV, Hz, kHz, us, ms or counts; flow in
        any mass-flow unit. Signal and flow stand in two columns or in two rows, beside an index
        or other columns; any of comma, semicolon, tab or bar between the fields, point or comma
        as decimal mark; units may stand in a second row; lines that begin with # or // are
        comments.

    Returns
    -------
    TransferTable
        With the layout of the file, so that `table_bytes` can write it the same way.

    Raises
    ------
    InputError
        If the file cannot be read, a unit is missing, or a signal has no single flow.
    """
    text, encoding, newline = _text_of(path)
    lines = text.splitlines()
    columns, delimiter = columns_of(lines, str(path))
    signal, flow = _signal_and_flow(columns, str(path))
    signal_unit, flow_unit = _unit_in(signal.name, signal=True), _unit_in(flow.name, signal=False)
    kind = _KINDS[_expression(signal_unit)]
    table = TransferTable(
        signal=_values(signal.texts, signal_unit, kind.value),
        flow_kgps=_values(flow.texts, flow_unit, "kg/s"),
        kind=kind,
        flow_unit=flow_unit,
        flow_factor=float(_values(["1"], flow_unit, "kg/s")[0]),
        path=str(path),
        layout=Layout(
            lines=tuple(lines),
            delimiter=delimiter,
            decimal="," if any("," in t for t in (*signal.texts, *flow.texts)) else ".",
            newline=newline,
            encoding=encoding,
            signal_text=signal.texts,
            flow_text=flow.texts,
            places=flow.places,
            flow_decimals=max(_decimals(t) for t in flow.texts),
        ),
    )
    require_monotone(table)
    _require_any_engine(table)
    return table


def table_bytes(table: TransferTable, flow_kgps: FloatArray) -> bytes:
    """Return the file of the same table with other flows.

    Parameters
    ----------
    table : TransferTable
        As read from a file.
    flow_kgps : ndarray, shape (n,)
        New flows.

    Returns
    -------
    bytes
        All else as it was typed, flows that did not change too. Whole numbers stay whole; else
        decimals are added where rounding would cost more than 0.01 % or the order.
    """
    layout = table.layout
    assert layout is not None  # only a table that was read has a file to be written like
    rows = {line: split(layout.lines[line], layout.delimiter) for line, _ in layout.places}
    same = flow_kgps == table.flow_kgps
    for (line, field), old, new, kept in zip(
        layout.places, layout.flow_text, printed_flows(table, flow_kgps), same, strict=True
    ):
        if not kept:
            raw = rows[line][field]
            rows[line][field] = raw.replace(old, new.replace(".", layout.decimal), 1)
    lines = [
        layout.delimiter.join(rows[k]) if k in rows else line for k, line in enumerate(layout.lines)
    ]
    return f"{layout.newline.join(lines)}{layout.newline}".encode(layout.encoding)


def printed_flows(table: TransferTable, flow_kgps: FloatArray) -> tuple[str, ...]:
    """Return the new flows as they are printed, with a decimal point."""
    layout = table.layout
    assert layout is not None  # as above
    printed = flow_kgps / table.flow_factor
    decimals = 0 if layout.whole else _decimals_for(printed, layout.flow_decimals)
    return tuple(f"{x:.{decimals}f}" for x in printed)


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
    data = read_input(path, WANTED)
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


def _signal_and_flow(columns: Sequence[Column], where: str) -> tuple[Column, Column]:
    """Return the columns whose headers hold the units of a signal and of a mass flow."""
    flows = [c for c in columns if _unit_in(c.name, signal=False)]
    signals = [c for c in columns if c not in flows and _unit_in(c.name, signal=True)]
    if len(signals) == 1 and len(flows) == 1:
        return signals[0], flows[0]
    raise _error(
        "the headers of the transfer table do not name its units",
        where,
        " | ".join(c.name for c in columns)[:120],
        "one signal in V, mV, Hz, kHz, us, ms or counts; one flow in g/s, kg/h, lb/min or another "
        "mass-flow unit",
        "write the units in brackets: `signal (V),flow (g/s)`",
    )


def _unit_in(name: str, *, signal: bool) -> str:
    """Return the spelling of the unit that a header holds, or an empty text."""
    brackets = re.findall(r"[\[({<]([^\[\](){}<>]{1,60})[\])}>]", name)
    words = re.split(r"[\s_,:;]+", name)
    joined = ["/".join(m.groups()) for m in [_UNDERSCORED.search(name.strip())] if m]
    joined += ["/".join(m.groups()) for m in map(_UNDERSCORED.search, brackets) if m]
    for candidate in map(str, (*brackets, *joined, *reversed(words))):
        unit = parse_unit(candidate)
        if unit is None:
            continue
        if (unit.expression in _KINDS) if signal else converts(unit, "kg/s"):
            return candidate
    return ""


def _expression(unit_text: str) -> str:
    unit = parse_unit(unit_text)
    assert unit is not None  # found in the header by `_unit_in`
    return unit.expression


def _values(texts: Sequence[str], unit_text: str, to_unit: str) -> FloatArray:
    unit = parse_unit(unit_text)
    assert unit is not None  # found in the header by `_unit_in`
    return convert([float(t.replace(",", ".")) for t in texts], unit, to_unit)


def _decimals(text: str) -> int:
    mantissa, _, exponent = text.replace(",", ".").lower().partition("e")
    return max(0, len(mantissa.partition(".")[2]) - int(exponent or 0))


def _decimals_for(printed: FloatArray, at_least: int) -> int:
    """Return the decimals that keep the precision of the flows, and tell apart what differs."""
    size = np.abs(printed)
    matters = size > 0.01 * np.max(size)
    steps = np.diff(np.sort(printed))
    for decimals in range(at_least, at_least + MAX_EXTRA_DECIMALS):
        rounded = np.round(printed, decimals)
        close = np.all(np.abs(rounded - printed)[matters] <= ROUNDING * size[matters])
        if close and np.all(np.diff(np.sort(rounded))[steps > 0.0] > 0.0):
            return decimals
    return at_least + MAX_EXTRA_DECIMALS


def _require_any_engine(table: TransferTable) -> None:
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
