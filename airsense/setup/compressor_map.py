"""A compressor map as a file: points on lines of constant corrected speed."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.reading import Wanted, read_text
from airsense.units import to_si

WANTED = Wanted(
    what="compressor map",
    kind="CSV file",
    fix="check its path, relative to engine.toml",
    instead="give the points of the map, not a log",
)
# Two lines of three points: our choice.
MIN_POINTS = 6
# What is recognised in a header, its unit, and the range that any compressor stays in.
_COLUMNS = (
    ("speed", "rpm", (1e3, 4e5)),
    ("flow", "kg/s", (1e-4, 10.0)),
    ("ratio", "1", (0.8, 10.0)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPoints:
    """Points of a compressor map, arrays of shape (n,), in the terms of SAE J1826.

    Corrected speed ``N sqrt(T_ref / T)`` [rpm], corrected flow ``m sqrt(T / T_ref) p_ref / p``
    [kg/s], and the total-to-total pressure ratio.
    """

    path: str
    speed_rpm: FloatArray
    mdot_kgps: FloatArray
    pressure_ratio: FloatArray


def read_map(path: str | Path) -> MapPoints:
    """Read a map file: CSV with corrected speed, corrected mass flow and pressure ratio.

    Further columns (efficiency) are passed over. Units stand in brackets in the headers.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing, or a value is impossible.
    """
    lines = read_text(path, WANTED).splitlines()
    rows = [r for r in csv.reader(lines, delimiter=_delimiter(lines)) if any(c.strip() for c in r)]
    if len(rows) <= MIN_POINTS:
        raise _error(
            path,
            "compressor map is too short",
            f"{max(len(rows) - 1, 0)} points",
            f"a header and at least {MIN_POINTS} points",
        )
    columns = [_column(path, rows, *wanted) for wanted in _COLUMNS]
    return MapPoints(
        path=str(path),
        speed_rpm=columns[0],
        mdot_kgps=columns[1],
        pressure_ratio=columns[2],
    )


def _delimiter(lines: Sequence[str]) -> str:
    head = lines[0] if lines else ""
    return max((",", ";", "\t"), key=head.count)


def _column(
    path: str | Path, rows: Sequence[list[str]], word: str, unit: str, limits: tuple[float, float]
) -> FloatArray:
    """Return the column whose header holds a word, in SI units."""
    places = [k for k, name in enumerate(rows[0]) if word in name.casefold()]
    if not places:
        raise _error(
            path,
            f"compressor map has no column of {word}",
            ", ".join(rows[0])[:120],
            "corrected speed (rpm), corrected mass flow (kg/s), pressure ratio",
        )
    place = places[0]
    found = re.search(r"[\[(]([^\])]+)[\])]", rows[0][place])
    given = found.group(1).strip() if found else ""
    numbers = np.array([_number(path, k, row, place) for k, row in enumerate(rows[1:], start=2)])
    plain = unit == "1" and given in {"", "-", "1"}
    values = numbers if plain else to_si(numbers, given, unit, where=f"{path}, {rows[0][place]}")
    low, high = limits
    bad = np.flatnonzero(~((values >= low) & (values <= high)))
    if bad.size:
        raise _error(
            path,
            f"the {word} of a map point is impossible",
            f"{numbers[bad[0]]:g} in line {int(bad[0]) + 2}",
            f"{low:g} to {high:g} {unit}",
        )
    return values


def _number(path: str | Path, line: int, row: Sequence[str], place: int) -> float:
    text = row[place].strip() if place < len(row) else ""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise _error(
            path,
            "a cell of the compressor map is no number",
            f"{text!r} in line {line}",
            "a number in each of the columns",
        ) from None


def _error(path: str | Path, what: str, got: str, allowed: str) -> InputError:
    return InputError(
        what,
        where=f"{path} ([compressor_map] file in engine.toml)",
        got=got,
        allowed=allowed,
        fix="give one point a line: corrected speed (rpm), corrected mass flow (kg/s), "
        "pressure ratio (-)",
    )
