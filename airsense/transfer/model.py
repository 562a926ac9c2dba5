"""The MAF transfer table: sensor signal to mass flow, linear between its breakpoints."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.errors import InputError


class SignalKind(Enum):
    """What the sensor puts out; the value is the unit of `TransferTable.signal`."""

    VOLTAGE = "V"
    FREQUENCY = "Hz"
    PERIOD = "us"
    COUNTS = "count"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How the file was written, so that the new one can be written the same way.

    `places` holds line and field of each breakpoint's flow among `lines`.
    """

    lines: tuple[str, ...]
    delimiter: str
    decimal: str
    newline: str
    encoding: str
    signal_text: tuple[str, ...]
    flow_text: tuple[str, ...]
    places: tuple[tuple[int, int], ...]
    flow_decimals: int

    @property
    def whole(self) -> bool:
        """Whether all flows are typed as whole numbers; the new ones are then whole too."""
        return self.flow_decimals == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferTable:
    """A transfer table.

    `signal` and `flow_kgps` have shape (n,), in the order of the file, which may be any; over the
    rising signal the flow only rises or only falls, and may stay flat. `signal` is in the unit of
    `kind`; `flow_kgps` is `flow_factor` times the printed flow.
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
        order = np.argsort(self.signal, kind="stable")
        return np.asarray(
            np.interp(
                np.asarray(signal, dtype=float),
                self.signal[order],
                self.flow_kgps[order],
                left=np.nan,
                right=np.nan,
            )
        )


def require_monotone(table: TransferTable) -> None:
    """Raise unless each signal has one flow, and the flow only rises or only falls over it.

    Raises
    ------
    InputError
        That names the row which breaks the order.
    """
    order = np.argsort(table.signal, kind="stable")
    signal, flow = table.signal[order], table.flow_kgps[order]
    steps = np.diff(flow)
    sign = float(np.sign(flow[-1] - flow[0]))
    bad = np.flatnonzero((steps * sign < 0.0) | ((np.diff(signal) == 0.0) & (steps != 0.0)))
    if sign != 0.0 and not bad.size:
        return
    at = int(bad[0]) + 1 if bad.size else flow.size - 1
    unit = table.flow_factor
    raise InputError(
        "the flow of the transfer table is not monotone over the signal",
        where=f"{table.path}, data row {int(order[at]) + 1}",
        got=f"{signal[at - 1]:g} {table.kind.value}: {flow[at - 1] / unit:g}, and then "
        f"{signal[at]:g} {table.kind.value}: {flow[at] / unit:g} {table.flow_unit}",
        allowed="one flow a signal; a flow that only rises, or only falls, with the signal",
        fix="mend or delete the row",
    )
