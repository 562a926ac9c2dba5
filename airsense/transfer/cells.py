"""The new table, breakpoint by breakpoint, with what supports each of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.fit import Fit
from airsense.transfer.model import TransferTable

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Below this fraction of the largest flow, ln(flow) is no axis: such breakpoints are held.
AXIS_FLOOR = 0.005
# Independent looks near a breakpoint (blocks over their correlation) that make it measured.
MIN_LOOKS = 3.0
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

    `wanted` is the correction that the data ask for, before the step limit and the order of the
    table bound it. `signal` is in the unit of the result's `signal_unit`.
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


def axis_of(table: TransferTable) -> FloatArray:
    """Return ln(flow) of the breakpoints, floored where the flow is near zero or reversed."""
    floor = AXIS_FLOOR * float(np.max(table.flow_kgps))
    return np.log(np.maximum(table.flow_kgps, floor))


def make_cells(table: TransferTable, fit: Fit, *, max_step: float) -> tuple[Cell, ...]:
    """Return the breakpoints of the new table in the order of the file.

    Parameters
    ----------
    table : TransferTable
        The present table.
    fit : Fit
        The fitted correction.
    max_step : float
        Largest change of a breakpoint in one go, as a fraction.

    Returns
    -------
    tuple of Cell
        Flows strictly in the order of the old ones.
    """
    from scipy.special import stdtrit

    axis = axis_of(table)
    curve = fit.curve(axis)
    half = float(stdtrit(fit.dof, 0.975)) * curve.u
    limit = np.log1p(max_step)
    limited = np.clip(curve.mean, -limit, limit)
    flow_new = _in_order(table, limited, curve.u)
    near = _near(table, axis, fit)
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = np.where(table.flow_kgps != 0.0, flow_new / table.flow_kgps, np.exp(limited))
    return tuple(
        Cell(
            signal=float(table.signal[i]),
            flow_old=float(table.flow_kgps[i]),
            flow_new=float(flow_new[i]),
            correction=float(factor[i]),
            low=float(np.exp(curve.mean[i] - half[i])),
            high=float(np.exp(curve.mean[i] + half[i])),
            samples=near[i].samples,
            support=near[i].support,
            wanted=float(np.exp(curve.mean[i])),
            runs=near[i].runs,
        )
        for i in range(axis.size)
    )


def kept(cell: Cell) -> Cell:
    """Return a breakpoint that stays as it is; its interval then reaches to no change."""
    return replace(
        cell,
        flow_new=cell.flow_old,
        correction=1.0,
        low=min(cell.low, 1.0),
        high=max(cell.high, 1.0),
    )


def _in_order(table: TransferTable, ln_factor: FloatArray, u: FloatArray) -> FloatArray:
    """Return the new flows, moved as little as their order asks, well-known ones the least."""
    from scipy.optimize import isotonic_regression

    old = table.flow_kgps
    flow = old * np.exp(ln_factor)
    order = np.argsort(old)
    order = order[old[order] > 0.0]
    ln_old = np.log(old[order])
    lifted = np.log(flow[order]) - MIN_SLOPE * ln_old
    rising = isotonic_regression(lifted, weights=1.0 / np.maximum(u[order], 1e-6) ** 2).x
    flow[order] = np.exp(rising + MIN_SLOPE * ln_old)
    return flow


@dataclass(frozen=True, slots=True)
class _Near:
    samples: int
    runs: int
    support: Support


def _near(table: TransferTable, axis: FloatArray, fit: Fit) -> list[_Near]:
    """Count what lies in the half-open cell around each breakpoint, between the midpoints."""
    present = fit.blocks.pick(fit.blocks.present)
    order = np.argsort(axis, kind="stable")
    edges = 0.5 * (axis[order][1:] + axis[order][:-1])
    cell = order[np.searchsorted(edges, present.axis)]
    looks_per_block = 1.0 / float(np.mean(fit.noise.inflation))
    low, high = float(np.min(present.axis)), float(np.max(present.axis))
    floor = np.log(AXIS_FLOOR * float(np.max(table.flow_kgps)))
    out = []
    for i in range(axis.size):
        here = cell == i
        looks = float(np.count_nonzero(here)) * looks_per_block
        inside = low <= axis[i] <= high and axis[i] > floor
        support = Support.INTERPOLATED if inside else Support.HELD
        if inside and looks >= MIN_LOOKS:
            support = Support.MEASURED
        runs = int(np.unique(present.run[here]).size)
        out.append(_Near(int(present.samples[here].sum()), runs, support))
    return out
