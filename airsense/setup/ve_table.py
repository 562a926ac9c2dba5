"""A declared table of volumetric efficiency over engine speed and manifold pressure."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.reading import Wanted, read_text

COLUMNS = ("engine_speed_rpm", "manifold_pressure_kpa", "volumetric_efficiency")
WANTED = Wanted(
    what="table of volumetric efficiency",
    kind="CSV file",
    fix="check its path, relative to engine.toml",
    instead="give the table, not a log",
)
# Far outside what any engine draws: a percent or another unit.
VE_RANGE = (0.1, 1.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class VeTable:
    """Volumetric efficiency on a grid: `ve_frac` has shape (n_speeds, n_pressures).

    A table over engine speed alone has one pressure.
    """

    path: str
    speed_rpm: FloatArray
    p_manifold_pa: FloatArray
    ve_frac: FloatArray

    def at(self, speed_rpm: FloatArray, p_manifold_pa: FloatArray) -> FloatArray:
        """Return the bilinear value, shape (n,); the edge holds outside; NaN where an input is."""
        s = np.clip(speed_rpm, self.speed_rpm[0], self.speed_rpm[-1])
        if self.p_manifold_pa.size == 1:
            return np.interp(s, self.speed_rpm, self.ve_frac[:, 0])
        p = np.clip(p_manifold_pa, self.p_manifold_pa[0], self.p_manifold_pa[-1])
        upper = np.clip(np.searchsorted(self.p_manifold_pa, p), 1, self.p_manifold_pa.size - 1)
        low, high = self.p_manifold_pa[upper - 1], self.p_manifold_pa[upper]
        share = (p - low) / (high - low)
        by_pressure = np.array([np.interp(s, self.speed_rpm, row) for row in self.ve_frac.T])
        sample = np.arange(s.size)
        below, above = by_pressure[upper - 1, sample], by_pressure[upper, sample]
        return np.asarray(below + share * (above - below), dtype=np.float64)


def read_ve_table(path: Path) -> VeTable:
    """Read a CSV with the columns engine_speed_rpm, manifold_pressure_kpa, volumetric_efficiency.

    The pressure column may be left out. Every speed must come with every pressure.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing, a value is impossible, or a cell of the
        grid is missing.
    """
    rows = _rows(path)
    columns = [c for c in COLUMNS if c in rows[0]]
    if COLUMNS[0] not in columns or COLUMNS[2] not in columns:
        raise _error(path, "line 1", ", ".join(rows[0]), ", ".join(COLUMNS), "name the columns so")
    values = np.array([[_number(path, k, row, c) for c in columns] for k, row in enumerate(rows)])
    speed = np.unique(values[:, 0])
    pressure = np.unique(values[:, 1]) if len(columns) == 3 else np.array([0.0])
    grid = np.full((speed.size, pressure.size), np.nan)
    column = np.searchsorted(pressure, values[:, 1]) if len(columns) == 3 else 0
    grid[np.searchsorted(speed, values[:, 0]), column] = values[:, -1]
    if np.isnan(grid).any() or grid.size != values.shape[0]:
        got = f"{values.shape[0]} rows for {speed.size} speeds and {pressure.size} pressures"
        raise _error(
            path,
            "the rows",
            got,
            "one row for every speed with every pressure",
            "complete the grid, without a row twice",
        )
    return VeTable(path=str(path), speed_rpm=speed, p_manifold_pa=pressure * 1e3, ve_frac=grid)


def _rows(path: Path) -> list[dict[str, str]]:
    text = read_text(path, WANTED)
    rows = list(csv.DictReader(text.splitlines()))
    if not rows:
        raise _error(path, "the file", "no rows", "a header and at least one row", "fill the table")
    return [{(k or "").strip(): (v or "").strip() for k, v in row.items() if k} for row in rows]


def _number(path: Path, index: int, row: dict[str, str], column: str) -> float:
    text = row.get(column, "")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    low, high = VE_RANGE if column == COLUMNS[2] else (0.0, 1e5)
    if not low < value < high:
        raise _error(
            path,
            f"line {index + 2}, {column}",
            repr(text),
            f"{low:g} to {high:g}",
            "volumetric efficiency as a fraction, speed in rpm, pressure in kPa absolute",
        )
    return value


def _error(path: Path, place: str, got: str, allowed: str, fix: str) -> InputError:
    return InputError(
        "table of volumetric efficiency cannot be used",
        where=f"{path}, {place}",
        got=got,
        allowed=allowed,
        fix=fix,
    )
