"""Fuel logged as a volume a stroke reaches the routes as a mass flow, by the fuel's density."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.estimates.combustion import find_fuel_flow
from airsense.logs.read import read_log
from airsense.physics.fuel import fuel_named
from airsense.setup.engine import Engine, EngineSetup, Ignition
from tests.log_writing import drive, save, text


def test_cubic_millimetres_a_stroke(tmp_path: Path) -> None:
    columns = drive(seconds=30.0)
    columns["Injection Quantity [mm³/stroke]"] = np.full(300, 50.0) + columns["Lambda"].round(1)
    log = read_log(save(tmp_path / "log.csv", text(columns)))
    assert log["fuel_volume_per_stroke"].value[0] == pytest.approx(
        columns["Injection Quantity [mm³/stroke]"][0] * 1e-9
    )
    engine = Engine(displacement_l=2.0, cylinders=4, ignition=Ignition.COMPRESSION)
    fuel = fuel_named("diesel")
    time = log["engine_speed"].time_s
    speed = log["engine_speed"].value
    found = find_fuel_flow(log, EngineSetup(engine=engine), fuel, time, speed)
    assert found.mdot_kgps is not None
    # Four cylinders, one shot in two turns each: 2 shots a turn.
    shots_per_s = 2.0 * speed / 60.0
    volume = columns["Injection Quantity [mm³/stroke]"] * 1e-9
    assert found.mdot_kgps == pytest.approx(volume * fuel.density_kgpm3 * shots_per_s, rel=1e-9)
    assert any(a.quantity == "fuel density" for a in found.assumptions)
