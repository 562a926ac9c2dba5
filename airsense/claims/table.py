"""A table of results as it is printed: a row a result, units in the headers.

Columns are named as the keys of a [[result]] or in the words of log headers; cells hold figures
as printed, ranges and `+-` included.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from pydantic import ValidationError

from airsense.errors import InputError
from airsense.logs.headers import Header, readings, repair_text
from airsense.logs.recognise import recognise
from airsense.reading import Wanted, read_input
from airsense.results import Assumption
from airsense.setup.claims import Claim, ClaimedQuantity, Claims, Result

WANTED = Wanted(
    what="table of results",
    kind="CSV file beside the claims file",
    fix="check its name",
    instead="give the printed figures, not a log",
)
# A published comparison has a dozen.
MOST_ROWS = 200
_KEYS = {field.alias or name for name, field in Result.model_fields.items()}
_TEXTS = ("intake", "tune", "session")
# Names of columns that no log has.
_ALSO = {
    "configuration": "intake",
    "part": "intake",
    "measured_power": "power_measured",
    "corrected_power": "power_corrected",
    "factor": "correction_factor",
    "power": "brake_power",
    "torque": "brake_torque",
    "boost": "boost_pressure",
}
_OWN_UNIT = re.compile(r"[A-Za-z%°][^\d]*$")
_IMPLIED = (
    ClaimedQuantity.BRAKE_POWER,
    ClaimedQuantity.BRAKE_TORQUE,
    ClaimedQuantity.MASS_AIR_FLOW,
)


def with_table(claims: Claims, folder: Path, source: str) -> tuple[Claims, tuple[Assumption, ...]]:
    """Return the claims with the rows of their table as results, and what was not used of it.

    Raises
    ------
    InputError
        If the table cannot be read, or a cell is no such figure.
    """
    if claims.table is None:
        return claims, ()
    inline = "\n" in claims.table
    where = f"{source}, table" if inline else str(folder / claims.table)
    text = claims.table if inline else _text_of(folder / claims.table)
    rows, unused = read_rows(text, where)
    merged = claims.model_copy(update={"table": None, "result": (*claims.result, *rows)})
    return merged, unused


def implied_claims(rows: Sequence[Result]) -> tuple[Claim, ...]:
    """Return the claims that a bare table makes: each intake against the first of its tune."""
    out = []
    for tune in dict.fromkeys(row.tune for row in rows):
        own = [row for row in rows if row.tune == tune]
        first = own[0].intake
        for other in dict.fromkeys(row.intake for row in own if row.intake != first):
            quantity = next((q for q in _IMPLIED if _both(own, first, other, q.value)), None)
            if quantity is not None:
                made = {"quantity": quantity, "from": first, "to": other, "tune": tune}
                out.append(Claim.model_validate(made))
    return tuple(out)


def _both(rows: Sequence[Result], first: str, other: str, name: str) -> bool:
    printed = {row.intake for row in rows if row.figure(name) is not None}
    return {first, other} <= printed


def read_rows(text: str, where: str) -> tuple[tuple[Result, ...], tuple[Assumption, ...]]:
    """Return the results of a table, and its columns that are no known quantity.

    Raises
    ------
    InputError
        If there is no intake column, no row, or a cell that cannot be read.
    """
    lines = [line for line in text.lstrip("\ufeff").splitlines() if line.strip()]
    if len(lines) < 2:
        raise _bad(where, "no rows", "a line of headers, then a row a result")
    if len(lines) > MOST_ROWS + 1:
        raise _bad(where, f"{len(lines) - 1} rows", f"at most {MOST_ROWS} rows")
    delimiter = max(";\t,", key=lines[0].count)
    cells = list(csv.reader(lines, delimiter=delimiter, skipinitialspace=True))
    headers = [repair_text(cell) for cell in cells[0]]
    columns = _columns(headers, where)
    if not any(key == "intake" for key, _ in columns.values()):
        raise _bad(where, ", ".join(headers)[:120], "a column named intake")
    unused = tuple(
        Assumption(quantity=f"column {header!r}", value="not used", source="no known quantity")
        for k, header in enumerate(headers)
        if k not in columns and header
    )
    return tuple(_results(cells[1:], headers, columns, where)), unused


def _columns(headers: Sequence[str], where: str) -> dict[int, tuple[str, str]]:
    """Return key and unit of each column that is known."""
    found: dict[int, tuple[str, str]] = {}
    for k, header in enumerate(headers):
        for reading in readings(Header(header)):
            key = re.sub(r"\W+", "_", reading.name.strip().casefold()).strip("_")
            key = _ALSO.get(key, key)
            if key in _KEYS:
                found[k] = (key, reading.unit)
                break
    rest = [Header("" if k in found else header) for k, header in enumerate(headers)]
    for name, match in recognise(rest, None, where=where).matches.items():
        at = " at the wheels" if name == "wheel_power" else ""
        key = "brake_power" if at else name
        if key in _KEYS:
            found[match.column] = (key, f"{match.unit}{at}")
    return found


def _results(
    rows: Sequence[Sequence[str]],
    headers: Sequence[str],
    columns: dict[int, tuple[str, str]],
    where: str,
) -> Iterator[Result]:
    for number, row in enumerate(rows, start=2):
        if len(row) > len(headers):
            got = f"{len(row)} cells under {len(headers)} headers"
            raise _bad(f"{where}, row {number}", got, "a cell a header; quotes around a comma")
        figures = {
            key: _figure(key, unit, row[k].strip())
            for k, (key, unit) in columns.items()
            if k < len(row) and row[k].strip() not in ("", "-", "–", "n/a")
        }
        try:
            yield Result.model_validate(figures)
        except ValidationError as error:
            detail = error.errors()[0]
            key = str(detail["loc"][0]) if detail["loc"] else "row"
            raise InputError(
                f"{key} cannot be used",
                where=f"{where}, row {number}",
                got=repr(figures.get(key, "nothing"))[:120],
                allowed=detail["msg"],
                fix=str(detail.get("ctx", {}).get("fix", f"mend {key} in that row")),
            ) from None


def _figure(key: str, unit: str, cell: str) -> str:
    if key in _TEXTS or not unit or _OWN_UNIT.search(cell):
        return cell
    return f"{cell} {unit}"


def _text_of(path: Path) -> str:
    raw = read_input(path, WANTED)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _bad(where: str, got: str, allowed: str) -> InputError:
    return InputError(
        "the table of results cannot be used",
        where=where,
        got=got,
        allowed=allowed,
        fix="`airsense new claims` shows one",
    )
