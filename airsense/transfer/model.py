"""The MAF transfer table: sensor signal to mass flow, linear between its breakpoints."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airsense.errors import InputError

FloatArray = NDArray[np.float64]


class SignalKind(Enum):
    """What the sensor puts out; the value is the unit of `TransferTable.signal`."""

    VOLTAGE = "V"
    FREQUENCY = "Hz"
    PERIOD = "us"
    COUNTS = "count"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How the file was written, so that the new one can be written the same way."""

    head: tuple[str, ...]
    delimiter: str
    decimal: str
    newline: str
    encoding: str
    signal_text: tuple[str, ...]
    flow_first: bool
    flow_decimals: int
    tail: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferTable:
    """A transfer table.

    `signal` and `flow_kgps` have shape (n,), in the order of the file; the signal rises or
    falls strictly, and the flow does so too. `signal` is in the unit of `kind`; `flow_kgps` is
    `flow_factor` times the printed flow.
    """

    signal: FloatArray
    flow_kgps: FloatArray
    kind: SignalKind
    flow_unit: str
    flow_factor: float
    path: str = ""
    layout: Layout | None = field(default=None, repr=False)

    def flow_at(self, signal: ArrayLike) -> FloatArray:
        """Return the flow at a signal, NaN outside the table. [kg/s]"""
        order = np.argsort(self.signal)
        return np.asarray(
            np.interp(
                np.asarray(signal, dtype=float),
                self.signal[order],
                self.flow_kgps[order],
                left=np.nan,
                right=np.nan,
            )
        )


def require_strictly_monotone(values: FloatArray, *, column: str, where: str) -> None:
    """Raise unless `values` rise strictly or fall strictly.

    Raises
    ------
    InputError
        That names the first row which breaks the order.
    """
    steps = np.diff(values)
    sign = np.sign(values[-1] - values[0]) or 1.0
    bad = np.flatnonzero(steps * sign <= 0.0)
    if bad.size:
        row = int(bad[0]) + 1
        raise InputError(
            f"the {column} of the transfer table is not strictly monotone",
            where=f"{where}, data row {row + 1}",
            got=f"{values[row - 1]:g} and then {values[row]:g}",
            allowed=f"a {column} that only rises, or only falls, with no equal neighbours",
            fix="mend or delete the row; a flat end of a table is written as one row",
        )
