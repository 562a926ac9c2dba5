"""Demanded boost as an absolute pressure, power at the wheels, and declared weather, on a run."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.estimates.prepare import prepare
from airsense.estimates.run import Run
from airsense.estimates.weather import with_weather
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.setup.engine import Engine, EngineSetup, Ignition
from airsense.setup.weather import (
    AfterWeather,
    BeforeWeather,
    DeclaredWeather,
    EngineWeather,
    RunWeather,
)
from tests.log_writing import Columns, drive, save, text

SETUP = EngineSetup(engine=Engine(displacement_l=2.0, cylinders=4, ignition=Ignition.COMPRESSION))
BARO_KPA = 98.0


def boosted() -> Columns:
    """Return a drive whose manifold pressure rises to 2.4 bar absolute, with a barometer."""
    columns = drive()
    ramp = BARO_KPA + np.linspace(0.0, 142.0, columns["Time [s]"].size)
    return columns | {
        "Intake Manifold Absolute Pressure [kPa]": ramp.round(1),
        "Barometric Pressure [kPa]": np.full(ramp.size, BARO_KPA),
    }


def log_of(tmp_path: Path, columns: Columns) -> Log:
    return read_log(save(tmp_path / "log.csv", text(columns)))


def run_of(tmp_path: Path, columns: Columns) -> Run:
    return prepare(log_of(tmp_path, columns), SETUP)


@pytest.mark.parametrize("header", ["Boost Pressure Demand (kPa)", "Ladedruck Soll (kPa)"])
@pytest.mark.parametrize("over_kpa", [-6.0, 0.0, 12.0])
@pytest.mark.parametrize("gauge", [False, True])
def test_a_demand_lies_by_the_measured_pressure(
    tmp_path: Path, header: str, over_kpa: float, gauge: bool
) -> None:
    columns = boosted()
    wanted = columns["Intake Manifold Absolute Pressure [kPa]"] + over_kpa
    run = run_of(tmp_path, columns | {header: (wanted - BARO_KPA * gauge).round(1)})
    assert run.p_demand_pa is not None
    assert run.p_manifold_pa is not None
    off = np.nanmedian(run.p_demand_pa - run.p_manifold_pa)
    assert off == pytest.approx(over_kpa * 1e3, abs=200.0)
    assert ("boost demand" in {a.quantity for a in run.assumptions}) == gauge


@pytest.mark.parametrize(
    ("header", "gauge"),
    [("Boost demand (kPa gauge)", True), ("Boost demand (kPa abs)", False),
     ("Relative boost target (kPa)", True), ("Absolute boost target (kPa)", False)],
)  # fmt: skip
def test_header_and_unit_outweigh_the_values(tmp_path: Path, header: str, gauge: bool) -> None:
    columns = boosted()
    demand = np.full(columns["Time [s]"].size, 70.0)
    run = run_of(tmp_path, columns | {header: demand})
    assert run.p_demand_pa is not None
    expected = (70.0 + BARO_KPA * gauge) * 1e3
    assert np.nanmedian(run.p_demand_pa) == pytest.approx(expected)


@pytest.mark.parametrize(("kpa", "gauge"), [(-3.0, True), (40.0, True), (110.0, False)])
def test_without_boost_the_level_tells(tmp_path: Path, kpa: float, gauge: bool) -> None:
    columns = boosted()
    size = columns["Time [s]"].size
    columns["Intake Manifold Absolute Pressure [kPa]"] = np.linspace(60.0, 99.0, size).round(1)
    run = run_of(tmp_path, columns | {"Boost demand (kPa)": np.full(size, kpa)})
    assert run.p_demand_pa is not None
    assert np.nanmedian(run.p_demand_pa) == pytest.approx((kpa + BARO_KPA * gauge) * 1e3)


def test_wheel_power_is_kept_apart_from_brake_power(tmp_path: Path) -> None:
    columns = boosted()
    power = np.linspace(10.0, 150.0, columns["Time [s]"].size)
    run = run_of(tmp_path, columns | {"Wheel Power (kW)": power})
    assert run.power_w is None
    assert run.wheel_power_w is not None
    assert np.nanmax(run.wheel_power_w) == pytest.approx(150e3, rel=0.01)


def test_corrected_power_is_no_power_as_measured(tmp_path: Path) -> None:
    columns = boosted()
    power = np.linspace(10.0, 150.0, columns["Time [s]"].size)
    log = log_of(tmp_path, columns | {"Power corrected (kW)": power})
    run = prepare(log, SETUP)
    assert "power_corrected" in log
    assert (run.power_w, run.wheel_power_w) == (None, None)


def test_wheel_torque_is_referred_to_the_engine_unless_it_is_the_axles(tmp_path: Path) -> None:
    columns = boosted()
    torque = np.full(columns["Time [s]"].size, 300.0)
    run = run_of(tmp_path, columns | {"Wheel torque (Nm)": torque})
    assert run.wheel_power_w is not None
    expected = 300.0 * run.speed_rpm * np.pi / 30.0
    assert np.allclose(run.wheel_power_w, expected, equal_nan=True)
    axle = run_of(tmp_path, columns | {"Wheel torque (Nm)": torque * 8.0})
    assert axle.wheel_power_w is None
    assert "wheel_torque_of_the_axle" in {f.code for f in axle.findings}


def test_weather_comes_from_log_run_configuration_common_in_this_order(tmp_path: Path) -> None:
    log = log_of(tmp_path, boosted())
    common = EngineWeather(
        barometric_pressure_kpa=90.0, ambient_temperature_c=1.0, relative_humidity=0.1,
        before=BeforeWeather(ambient_temperature_c=2.0, relative_humidity=0.2),
        after=AfterWeather(ambient_temperature_c=9.0),
    )  # fmt: skip
    of_run = RunWeather(relative_humidity=0.3)
    full = with_weather(log, of_run, common.before, common)
    assert full["barometric_pressure"] is log["barometric_pressure"]
    assert full["ambient_temperature"].value == pytest.approx([275.15, 275.15])
    assert full["relative_humidity"].value == pytest.approx([0.3, 0.3])
    said = [full[n].recognised_by for n in ("relative_humidity", "ambient_temperature")]
    assert said == ["declared for the run", "declared for before"]
    other = with_weather(log, None, common.after, common)
    assert other["relative_humidity"].recognised_by == "declared"
    assert "relative_humidity" not in log


def test_nothing_declared_leaves_the_log_as_it_is(tmp_path: Path) -> None:
    log = log_of(tmp_path, drive())
    assert with_weather(log) is log
    assert with_weather(log, None, DeclaredWeather()) is log


def test_declared_weather_reaches_the_run(tmp_path: Path) -> None:
    own = {h: v for h, v in drive().items() if not h.startswith("Barometric")}
    log = with_weather(
        log_of(tmp_path, own),
        DeclaredWeather(
            barometric_pressure_kpa=93.1, ambient_temperature_c=11.0, relative_humidity=0.5
        ),
    )
    run = prepare(log, SETUP)
    assert run.p_ambient_pa == pytest.approx(93.1e3)
    assert run.t_ambient_k == pytest.approx(284.15)
    assert run.air is not None
    assert run.air.u_r_abs == pytest.approx(3e-4)
