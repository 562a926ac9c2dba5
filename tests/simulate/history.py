"""What the march writes down."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from airsense.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """True quantities and lagged sensor signals over time.

    `time_s` has shape (m,), everything else (m, n) with one column a run. Flows are those of
    the step that ends at `time_s`, so that sums times the step are exact balances.
    """

    time_s: FloatArray
    speed_rpm: FloatArray
    pedal_frac: FloatArray
    p_manifold_pa: FloatArray
    p_exhaust_pa: FloatArray
    p_depression_pa: FloatArray
    t_charge_k: FloatArray
    t_thermistor_k: FloatArray
    t_intake_k: FloatArray
    mdot_sensor_kgps: FloatArray
    mdot_compressor_kgps: FloatArray
    mdot_engine_kgps: FloatArray
    mdot_leak_kgps: FloatArray
    stored_kg: FloatArray
    reading_frac: FloatArray
    mdot_indicated_kgps: FloatArray
    mdot_fuel_kgps: FloatArray
    mdot_fuel_commanded_kgps: FloatArray
    lambda_true: FloatArray
    lambda_sensor: FloatArray
    power_w: FloatArray

    @classmethod
    def empty(cls, time_s: FloatArray, count: int) -> History:
        """Return a history to be filled row by row."""
        return cls(time_s=time_s, **{name: np.empty((time_s.size, count)) for name in RECORDED})

    def write(self, row: int, now: History) -> None:
        """Copy the one-row history `now` into a row."""
        for name in RECORDED:
            getattr(self, name)[row] = getattr(now, name)

    def part(self, start: int, stop: int, *, end_s: float = np.inf) -> History:
        """Return runs `start` to `stop`, up to `end_s`, as views."""
        rows = int(np.searchsorted(self.time_s, end_s, side="right"))
        return History(
            time_s=self.time_s[:rows],
            **{name: getattr(self, name)[:rows, start:stop] for name in RECORDED},
        )


RECORDED = tuple(f.name for f in fields(History) if f.name != "time_s")
