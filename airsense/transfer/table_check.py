"""Is the present table plausible as a hot film's? One mistyped row spoils what is made from it."""

from __future__ import annotations

import numpy as np

from airsense.physics.hot_film import fit_kings_law
from airsense.results import Finding, Severity
from airsense.transfer.model import SignalKind, TransferTable

MIN_ROWS = 8
# King's law takes the bend out of the table; what is left changes slowly from row to row. A row
# this far from the middle of its neighbours, in ln(flow), is a slip of the finger or of the map.
MAX_STEP_LN = 0.08
LOWEST_SHARE = 0.05  # of the largest flow: below it, rounding and still air make steps


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
