"""What really changed in a simulated campaign."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.history import History
from tests.simulate.inputs import Inputs

# Fine enough for a mean over speed.
BINS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Natural logarithms of after over before along the nominal sweep; every field (k,).

    `reading_before` alone is no change: indicated over true flow with the first tube, the
    sensor's constant error included.

    The nominal passes carry everything that belongs to the campaign or to a configuration
    (also an undeclared drift of breathing), but no run-to-run effect, weather or run order.
    """

    speed_rpm: FloatArray
    reading: FloatArray
    reading_before: FloatArray
    airflow: FloatArray
    sensor_flow: FloatArray
    fuel: FloatArray
    power: FloatArray
    p_manifold: FloatArray

    def skew(self, low_rpm: float, high_rpm: float) -> float:
        """Change of the sensor's static reading over the true flow through it."""
        return self.change(self.reading, low_rpm, high_rpm)

    def airflow_change(self, low_rpm: float, high_rpm: float) -> float:
        """Change of the fresh air that the engine breathes."""
        return self.change(self.airflow, low_rpm, high_rpm)

    def surplus(self, low_rpm: float, high_rpm: float) -> float:
        """Change of the reading over the engine's air: sensor and air lost or unmetered."""
        apart = self.reading + self.sensor_flow - self.airflow
        return self.change(apart, low_rpm, high_rpm)

    def change(self, log_ratio: FloatArray, low_rpm: float, high_rpm: float) -> float:
        """Return the mean over equal speed bins of one of the fields, as a plain fraction."""
        edges = np.linspace(low_rpm, high_rpm, BINS + 1)
        centres = 0.5 * (edges[1:] + edges[:-1])
        return float(np.expm1(np.mean(np.interp(centres, self.speed_rpm, log_ratio))))


def truth_of(history: History, inputs: Inputs) -> Truth:
    """Compare the two columns (before, after) of nominal passes over their sweep."""
    time = history.time_s
    rows = (time >= inputs.sweep_start_s[0]) & (time <= inputs.sweep_end_s[0])
    return change_of(history.part(0, 1), history.part(1, 2), rows)


def change_of(before: History, after: History, rows: np.ndarray) -> Truth:
    """Compare two passes of one column, at the same speed in the same row; `rows` shape (m,)."""

    def change(name: str) -> FloatArray:
        ratio: FloatArray = np.log(getattr(after, name)[rows, 0] / getattr(before, name)[rows, 0])
        return ratio

    return Truth(
        speed_rpm=before.speed_rpm[rows, 0].copy(),
        reading=change("reading_frac"),
        reading_before=np.log(before.reading_frac[rows, 0]),
        airflow=change("mdot_engine_kgps"),
        sensor_flow=change("mdot_sensor_kgps"),
        fuel=change("mdot_fuel_kgps"),
        power=change("power_w"),
        p_manifold=change("p_manifold_pa"),
    )
