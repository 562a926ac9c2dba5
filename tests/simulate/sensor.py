"""The hot-film sensor's transfer table, and what a case makes of its reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel

# As tables of controllers have them, 0 to 5 V (common practice, no source).
BREAKPOINTS = 25
SIGNAL_SPAN_V = (1.0, 4.9)
TABLE_END = 1.5  # of the reference flow
SHAPE_EXPONENT = 1.5
SHAPE_CEILING = 1.3  # of the reference flow


@dataclass(frozen=True, slots=True)
class TransferTable:
    """Signal [V] and flow [kg/s] at each breakpoint, both strictly rising; shape (k,)."""

    signal_v: FloatArray
    mdot_kgps: FloatArray

    def signal(self, mdot_kgps: FloatArray) -> FloatArray:
        """Return the signal that the table turns into `mdot_kgps`. [V]"""
        return np.interp(mdot_kgps, self.mdot_kgps, self.signal_v)

    def flow(self, signal_v: FloatArray) -> FloatArray:
        """Return the flow that the table gives for `signal_v`. [kg/s]"""
        return np.interp(signal_v, self.signal_v, self.mdot_kgps)


def transfer_table(engine: EngineModel) -> TransferTable:
    """Return the table that suits the first tube: King's law, in steps of 0.1 kg/h."""
    low, high = SIGNAL_SPAN_V
    signal = np.round(np.linspace(low, high, BREAKPOINTS), 4)
    share = ((signal**2 - low**2) / (high**2 - low**2)) ** 2
    per_hour = np.round(share * TABLE_END * engine.reference_flow_kgps * 3600.0, 1)
    # Near zero flow King's law is flatter than the rounding.
    rising = np.maximum.accumulate(per_hour + 0.1 * np.arange(BREAKPOINTS))
    return TransferTable(signal, rising / 3600.0)


def shape_frac(engine: EngineModel, size: float | FloatArray, mdot_kgps: FloatArray) -> FloatArray:
    """Return the flow-dependent part of the reading factor; `size` at the reference flow."""
    relative = np.clip(mdot_kgps / engine.reference_flow_kgps, 0.0, SHAPE_CEILING)
    return np.asarray(size * relative**SHAPE_EXPONENT)


def rescaled_table(engine: EngineModel, case: Case) -> TransferTable:
    """Return the table that would read after the change as the old one did before.

    Covers what a table can mend: the constant and the flow-dependent skew, not pulsation.
    """
    table = transfer_table(engine)
    true = table.mdot_kgps.copy()
    for _ in range(60):  # contraction: the shape changes slowly with flow
        true = table.mdot_kgps / (
            (1.0 + case.skew) * (1.0 + shape_frac(engine, case.skew_shape, true))
        )
    return TransferTable(table.signal_v, true)
