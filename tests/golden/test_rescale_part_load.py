"""Part load beside the pulls widens what is measured, but only where two routes agree."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.jobs.rescale import rescale_logs
from airsense.logs.log import Channel, Log
from airsense.setup.engine import Engine, EngineSetup, Fuel, Ignition
from airsense.transfer.model import SignalKind, TransferTable
from tests.bench.tube_changes import ENGINES, state

ENGINE = ENGINES["turbo diesel 2.2 l"]
SETUP = EngineSetup(
    engine=Engine(displacement_l=2.2, cylinders=4, ignition=Ignition.COMPRESSION),
    fuel=Fuel(name="diesel"),
)
TABLE = TransferTable(
    signal=np.linspace(1.0, 4.6, 25),
    flow_kgps=0.25 * np.linspace(0.02, 1.0, 25) ** 2.0,
    kind=SignalKind.VOLTAGE,
    flow_unit="kg/s",
    flow_factor=1.0,
)
RATE_HZ = 20.0
SKEW = 0.05


def path(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A pull, and behind it two minutes of steady points of part load, each of six seconds."""
    t, speed, p = state(ENGINE, rng, drive=False, seconds=9.0, rate_hz=RATE_HZ)
    points, each = 20, int(6.0 * RATE_HZ)
    speeds = np.repeat(rng.uniform(1300.0, 3600.0, points), each)
    pressures = np.repeat(rng.uniform(1.0e5, 1.7e5, points), each)
    steady = points * each
    time_s = np.arange(t.size + steady) / RATE_HZ
    pedal = np.concatenate([np.ones(t.size), np.full(steady, 0.3)])
    return time_s, np.concatenate([speed, speeds]), np.concatenate([p, pressures]), pedal


def log_of(seed: int, skew: float, egr: float) -> Log:
    rng = np.random.default_rng(seed)
    time_s, speed, p, pedal = path(rng)
    t_charge = 315.0 + 12.0 * (p - 1e5) / 1e5
    swept = 0.9 * p * ENGINE.displacement_m3 * speed / (120.0 * 288.1 * t_charge)
    air = swept * np.where(pedal < 0.5, 1.0 - egr, 1.0)
    noise = np.exp(rng.normal(0.0, 0.004, time_s.size))
    rows = {
        "engine_speed": (speed, "rpm"),
        "manifold_pressure": (p, "Pa"),
        "barometric_pressure": (np.full_like(p, 0.985e5), "Pa"),
        "charge_temperature": (t_charge, "K"),
        "mass_air_flow": (air * (1.0 + skew) * noise, "kg/s"),
        "fuel_mass_flow": (air / (14.5 * 1.7), "kg/s"),
        "lambda": (1.7 * np.exp(rng.normal(0.0, 0.004, time_s.size)), "1"),
        "pedal": (pedal, "1"),
    }
    channels = {
        name: Channel(name=name, header=name, unit_read=unit, time_s=time_s, value=values)
        for name, (values, unit) in rows.items()
    }
    return Log(path=f"run_{seed}", reader="made", sha256="", channels=channels)


def answer(egr: float):
    logs = [log_of(k, SKEW if k >= 3 else 0.0, egr) for k in range(6)]
    return rescale_logs(logs[3:], SETUP, TABLE, baseline=logs[:3])


def measured(result) -> list[float]:
    return [c.flow_old for c in result.cells if c.support.value == "measured"]


def test_steady_part_load_is_used_and_recirculated_gas_at_part_load_is_not():
    clean, recirculated = answer(0.0), answer(0.35)
    assert "recirculation_suspected" in {f.code for f in recirculated.findings}
    for result in (clean, recirculated):
        assert result.decision.value == "change"
        assert result.scale.contains(1.0 / (1.0 + SKEW))
        assert result.scale.value == pytest.approx(1.0 / (1.0 + SKEW), abs=0.006)
