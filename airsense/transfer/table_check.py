"""Is the present table plausible: as a hot film's, and as one for this engine?

One mistyped row or a wrong unit spoils what is made from it.
"""

from __future__ import annotations

import numpy as np

from airsense.errors import InputError
from airsense.evidence.cells import Cells
from airsense.physics.hot_film import fit_kings_law
from airsense.results import Finding, Severity
from airsense.setup.engine import Engine
from airsense.transfer.model import SignalKind, TransferTable

# Fewer show no power law.
MIN_ROWS = 8
# King's law takes the bend out of the table; what is left changes slowly from row to row. A row
# this far from the middle of its neighbours, in ln(flow), is a slip of the finger or of the map.
MAX_STEP_LN = 0.08
LOWEST_SHARE = 0.05  # of the largest flow: below it, rounding and still air make steps
# The largest flow of a table lies between half of what the engine breathes unboosted at 2000 rpm
# and ten times that at 9000 rpm (boost, and a sensor far too large). Our choice.
SLOW_RPS, FAST_RPS = 2000.0 / 60.0, 9000.0 / 60.0
SMALLEST, LARGEST = 0.5, 10.0
AIR_KGPM3 = 1.2
# No sensor reads wrong by this factor, and recirculation displaces no more than half; 1 kg is
# 2.2 lb.
WRONG_UNIT = 2.1


def mistyped_rows(table: TransferTable) -> tuple[Finding, ...]:
    """Return a finding for the row that stands out most, if one does; voltage tables only."""
    top = float(np.max(table.flow_kgps))
    keep = np.flatnonzero(table.flow_kgps > LOWEST_SHARE * top)
    if table.kind is not SignalKind.VOLTAGE or keep.size < MIN_ROWS:
        return ()
    signal, flow = table.signal[keep], table.flow_kgps[keep]
    law = fit_kings_law(signal, flow / top)
    smooth = law.flow(signal)
    if not np.all(smooth > 0.0):
        return ()
    left = np.log(flow / top / smooth)
    # A single wrong row stands off its neighbours, and each neighbour half as far the other way.
    step = left[1:-1] - 0.5 * (left[:-2] + left[2:])
    worst = int(np.argmax(np.abs(step)))
    if abs(step[worst]) < MAX_STEP_LN:
        return ()
    row = int(keep[worst + 1])
    return (
        Finding(
            code="table_row_stands_out",
            severity=Severity.WARNING,
            message=f"the row at {table.signal[row]:g} {table.kind.value} lies "
            f"{100.0 * np.expm1(step[worst]):+.0f} % off the line of its neighbours, which no hot "
            "film does (King's law taken off)",
            fix="check that row for a typing error before anything is made from the table",
            where=table.path,
        ),
    )


def require_engine(table: TransferTable, engine: Engine) -> None:
    """Raise where the flows cannot belong to the engine: the unit in the header is wrong.

    Raises
    ------
    InputError
        That names the range that is possible.
    """
    swept = AIR_KGPM3 * engine.displacement_m3 * 2.0 / engine.strokes
    low, high = SMALLEST * SLOW_RPS * swept, LARGEST * FAST_RPS * swept
    top = float(np.max(table.flow_kgps))
    if low <= top <= high:
        return
    unit = table.flow_factor
    raise InputError(
        "the flows of the transfer table cannot belong to this engine",
        where=table.path,
        got=f"a largest flow of {top / unit:.4g} {table.flow_unit}, which is {1e3 * top:.4g} g/s",
        allowed=f"{low / unit:.3g} to {high / unit:.3g} {table.flow_unit} for "
        f"{1e3 * engine.displacement_m3:.2f} l",
        fix="check the unit of flow in the header of the table, and displacement_l",
    )


def require_same_unit(table: TransferTable, cells: Cells) -> None:
    """Raise where the table turns the signal into a multiple of what the engine breathes.

    Raises
    ------
    InputError
        If no error of a sensor is so large: the unit or the table is another one.
    """
    known = cells.pick(cells.after & np.isfinite(cells.ln_route).any(axis=0))
    if known.size == 0:
        return
    middle = float(np.median(np.nanmean(known.residual, axis=0)))
    if abs(middle) < np.log(WRONG_UNIT):
        return
    raise InputError(
        "the transfer table makes another flow of the signal than the engine can breathe",
        where=table.path,
        got=f"{np.exp(middle):.3g} times the engine's air, by {' and '.join(cells.routes)}",
        allowed=f"within a factor of {WRONG_UNIT:g}",
        fix="check the unit of flow in the header of the table, and that it is of this sensor",
    )
