"""The curves of matched full load: power, torque, pressure, fuel and air over engine speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates import maf
from airsense.evidence.matched import Matched
from airsense.jobs.comparison.result import FullLoadRow, SpeedRow
from airsense.results import Interval
from airsense.setup.engine import Engine

SHOWN, BREATHED = "air_shown", "engine_air"


def full_load(
    matched: Matched | None, rows: Sequence[SpeedRow], engine: Engine
) -> tuple[FullLoadRow, ...]:
    """Return each quantity that all repeats logged, bin by bin; none without matched full load.

    Parameters
    ----------
    matched : Matched, optional
    rows : sequence of SpeedRow
        The engine's change of air in the same bins; empty leaves the engine's air out.
    engine : Engine
        Its cylinders and strokes make a flow of fuel a quantity a stroke.
    """
    if matched is None:
        return ()
    out = [
        FullLoadRow(
            quantity=name,
            unit=unit,
            engine_speed_rpm=float(matched.table.centre_rpm[b]),
            before=_of_repeats(value[~matched.after, b]),
            after=_of_repeats(value[matched.after, b]),
        )
        for name, unit, value in _quantities(matched, engine)
        for b in np.flatnonzero(_everywhere(matched, value))
    ]
    shown = {r.engine_speed_rpm: r.before for r in out if r.quantity == SHOWN}
    return (*out, *(_breathed(r, shown[r.engine_speed_rpm]) for r in rows))


def _everywhere(matched: Matched, value: FloatArray) -> BoolArray:
    return np.asarray(matched.filled & np.isfinite(value).all(axis=0))


def _quantities(matched: Matched, engine: Engine) -> Iterator[tuple[str, str, FloatArray]]:
    state = matched.table.state
    turns_ps = matched.table.centre_rpm / 60.0
    at_engine = bool(_everywhere(matched, state["power_w"]).any())
    power, place = (state["power_w"], "") if at_engine else (state["wheel_power_w"], "wheel_")
    strokes_ps = turns_ps * engine.cycles_per_rev * engine.cylinders
    yield f"{place}power", "W", power
    yield f"{place}torque", "N*m", power / (2.0 * np.pi * turns_ps)
    yield "manifold_pressure", "Pa", state["p_manifold_pa"]
    yield "fuel_per_stroke", "kg", state["mdot_fuel_kgps"] / strokes_ps
    yield SHOWN, "kg/s", np.exp(matched.table.ln[maf.METHOD])


def _of_repeats(value: FloatArray) -> Interval:
    return Interval(float(value.mean()), float(value.min()), float(value.max()))


def _breathed(row: SpeedRow, before: Interval) -> FullLoadRow:
    change = row.airflow_change
    return FullLoadRow(
        quantity=BREATHED,
        unit="kg/s",
        engine_speed_rpm=row.engine_speed_rpm,
        before=before,
        after=Interval(
            *(before.value * (1.0 + x) for x in (change.value, change.low, change.high))
        ),
    )
