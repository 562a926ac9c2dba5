"""The new table, breakpoint by breakpoint, with what supports each of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.evidence.cells import CELL_S, Cells
from airsense.transfer.correction import Band, Correction
from airsense.transfer.model import TransferTable

# Below this fraction of the largest flow, ln(flow) is no axis: such breakpoints are held.
AXIS_FLOOR = 0.005
# Looks of half a second near a breakpoint that make it measured.
MIN_LOOKS = 3.0
# A look serves breakpoints this near, in ln(flow), or nearer to it than to any other: the spread
# of the flow within one operating state. Our choice.
NEAR_LN = 0.08
# The new flow must rise by at least this share of what the old one rose by, in ln(flow).
MIN_SLOPE = 0.02


class Support(Enum):
    """What stands behind a breakpoint."""

    MEASURED = "measured"
    INTERPOLATED = "interpolated"
    HELD = "held"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One breakpoint. Flows in kg/s; `correction` is flow_new / flow_old, low and high its 95 %.

    `wanted` is the correction that the data ask for, before the share to apply, the step limit and
    the order of the table bound it. `signal` is in the unit of the result's `signal_unit`.
    """

    signal: float
    flow_old: float
    flow_new: float
    correction: float
    low: float
    high: float
    samples: int
    support: Support
    wanted: float
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """What was logged near each breakpoint, (n,): looks of half a second, samples, runs."""

    axis: FloatArray
    measured: BoolArray
    samples: FloatArray
    runs: FloatArray

    @property
    def ends(self) -> tuple[float, float]:
        """Return the lowest and highest measured ln(flow), or those of the table without any."""
        at = self.axis[self.measured] if self.measured.any() else self.axis
        return float(np.min(at)), float(np.max(at))

    def support(self) -> tuple[Support, ...]:
        """Return what stands behind each breakpoint."""
        low, high = self.ends
        inside = (self.axis > low) & (self.axis < high) & bool(self.measured.any())
        return tuple(
            Support.MEASURED if m else Support.INTERPOLATED if i else Support.HELD
            for m, i in zip(self.measured, inside, strict=True)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """How much of the correction to apply, and the largest change of a breakpoint in one go."""

    share: float = 1.0
    largest: float = 0.10


def axis_of(table: TransferTable) -> FloatArray:
    """Return ln(flow) of the breakpoints, floored where the flow is near zero or reversed."""
    floor = AXIS_FLOOR * float(np.max(table.flow_kgps))
    return np.log(np.maximum(table.flow_kgps, floor))


def coverage_of(table: TransferTable, cells: Cells, step_s: FloatArray) -> Coverage:
    """Return what was logged near each breakpoint with the present tube.

    Parameters
    ----------
    table : TransferTable
    cells : Cells
        Of all runs.
    step_s : ndarray, shape (n_runs,)
        Time between samples of each run. [s]
    """
    axis = axis_of(table)
    present = cells.pick(cells.after & np.isfinite(cells.ln_route).any(axis=0))
    apart = np.abs(axis[:, None] - present.ln_maf)
    near = apart <= np.maximum(NEAR_LN, apart.min(axis=0, initial=np.inf))
    own = apart == apart.min(axis=0, initial=np.inf)
    floor = np.log(AXIS_FLOOR * float(np.max(table.flow_kgps)))
    counted = own * present.length_s / step_s[present.run]
    return Coverage(
        axis=axis,
        measured=(near @ present.length_s / CELL_S >= MIN_LOOKS) & (axis > floor),
        samples=np.round(counted.sum(axis=1)),
        runs=np.array([np.unique(present.run[row]).size for row in near], dtype=np.float64),
    )


def make_cells(
    table: TransferTable, correction: Correction, cover: Coverage, step: Step
) -> tuple[Cell, ...]:
    """Return the breakpoints of the new table in the order of the file, their order kept."""
    wanted = _wanted(correction, cover)
    limit = np.log1p(step.largest)
    limited = np.clip(step.share * wanted.middle, -limit, limit)
    flow_new = _in_order(table, limited, 0.5 * (wanted.high - wanted.low))
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = np.where(table.flow_kgps != 0.0, flow_new / table.flow_kgps, np.exp(limited))
    return tuple(
        Cell(
            signal=float(table.signal[i]),
            flow_old=float(table.flow_kgps[i]),
            flow_new=float(flow_new[i]),
            correction=float(factor[i]),
            low=float(np.exp(wanted.low[i])),
            high=float(np.exp(wanted.high[i])),
            samples=int(cover.samples[i]),
            support=support,
            wanted=float(np.exp(wanted.middle[i])),
            runs=int(cover.runs[i]),
        )
        for i, support in enumerate(cover.support())
    )


def _wanted(correction: Correction, cover: Coverage) -> Band:
    held = np.array([s is Support.HELD for s in cover.support()])
    found = {name: np.empty(held.size) for name in ("middle", "low", "high")}
    inside = correction.along(cover.axis[~held])
    outside = correction.beyond(cover.axis[held], *cover.ends)
    for name, values in found.items():
        values[~held], values[held] = getattr(inside, name), getattr(outside, name)
    return Band(**found)


def left_as_it_is(cell: Cell) -> Cell:
    """Return a breakpoint that keeps its flow; its interval then reaches to no change."""
    return replace(
        cell,
        flow_new=cell.flow_old,
        correction=1.0,
        low=min(cell.low, 1.0),
        high=max(cell.high, 1.0),
    )


def refused(cell: Cell) -> Cell:
    """Return a breakpoint that keeps its flow and is no measurement."""
    return replace(left_as_it_is(cell), support=Support.HELD)


def untouched(table: TransferTable) -> tuple[Cell, ...]:
    """Return the breakpoints of a table of which nothing is known: any correction may be right."""
    return tuple(
        Cell(
            signal=float(s),
            flow_old=float(f),
            flow_new=float(f),
            correction=1.0,
            low=float("nan"),
            high=float("nan"),
            samples=0,
            support=Support.HELD,
            wanted=float("nan"),
            runs=0,
        )
        for s, f in zip(table.signal, table.flow_kgps, strict=True)
    )


def _in_order(table: TransferTable, ln_factor: FloatArray, u: FloatArray) -> FloatArray:
    """Return the new flows, moved as little as their order asks, well-known ones the least."""
    from scipy.optimize import isotonic_regression

    old = table.flow_kgps
    flow = old * np.exp(ln_factor)
    order = np.argsort(old, kind="stable")
    order = order[old[order] > 0.0]
    ln_old = np.log(old[order])
    lifted = np.log(flow[order]) - MIN_SLOPE * ln_old
    rising = isotonic_regression(lifted, weights=1.0 / np.maximum(u[order], 1e-6) ** 2).x
    flow[order] = np.exp(rising + MIN_SLOPE * ln_old)
    return flow
