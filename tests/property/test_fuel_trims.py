"""Fuel trims as a route: what they say of the reading, and where they say nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import airsense
from airsense.estimates.defaults import defaults_for
from airsense.estimates.driven import Driven
from airsense.estimates.fuel_trims import (
    METHOD,
    fuel_trims,
    holds,
    missing_for_fuel_trims,
)
from airsense.estimates.run import Run
from airsense.estimates.segments import segment
from airsense.setup.engine import Ignition
from tests.evidence_inputs import run_of, setup_of

ENGINE = '[engine]\ndisplacement_l = 2.0\ncylinders = 4\nignition = "spark"\n'


def driven(run: Run) -> Driven:
    return Driven(run=run, found=segment(run), shut=None, sweep=False)


def cruise(rng: np.random.Generator, skew: float) -> pd.DataFrame:
    """Return closed-loop driving in which lambda control undoes what the sensor reads too much."""
    time = np.arange(0.0, 200.0, 0.5)
    speed = np.interp(time, np.arange(0, 201, 12.5), rng.uniform(1400, 3200, 17))
    load = np.interp(time, np.arange(0, 201, 20), rng.uniform(0.2, 0.5, 11))
    reading = 2.0 * speed / 120.0 * load * (1.0 + skew) * (1.0 + 0.003 * rng.standard_normal())
    needed = 1.0 / (1.0 + skew) - 1.0
    swing = 0.012 * np.sign(np.sin(2.0 * time)) + 0.004 * rng.standard_normal(time.size)
    return pd.DataFrame(
        {
            "Time (s)": time,
            "Engine speed (rpm)": speed.round(),
            "Mass air flow (g/s)": reading.round(2),
            "Short term fuel trim (%)": (100.0 * (needed - 0.01 + swing)).round(1),
            "Long term fuel trim (%)": np.full(time.size, 1.0),
        }
    )


def test_air_is_the_reading_times_one_plus_both_trims() -> None:
    """SAE J1979, PID 06 and 07: trims are shares of the commanded fuel (from memory)."""
    run = run_of(mdot_maf_kgps=0.030, trim_short=-0.04, trim_long=0.01)
    setup = setup_of(ignition=Ignition.SPARK, fuel="petrol_e5")
    sizes = defaults_for(setup.uncertainty, charge_temperature_estimated=False)
    np.testing.assert_allclose(fuel_trims(run, setup, sizes).mdot_kgps, 0.0291)
    assert missing_for_fuel_trims(run) == ""
    assert "trims" in missing_for_fuel_trims(run_of(mdot_maf_kgps=0.030, trim_short=0.0))


@pytest.mark.parametrize("skew", [0.06, 0.0, -0.05])
def test_a_changed_reading_shows_in_the_trims(tmp_path: Path, skew: float) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(ENGINE)
    rng = np.random.default_rng(3)
    before, after = ([cruise(rng, s) for _ in range(2)] for s in (0.0, skew))
    pair = airsense.compare(before, after, engine).pairs[0]
    assert [e.method for e in pair.estimates if e.used] == [METHOD]
    assert pair.indicated_surplus is not None
    assert pair.indicated_surplus.contains(skew)
    assert abs(pair.indicated_surplus.value - skew) < 0.015
    assert pair.airflow_change is None, "closed loop is no full load"


def test_three_drives_a_side_decide_six_percent(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(ENGINE)
    rng = np.random.default_rng(1)
    before, after = ([cruise(rng, s) for _ in range(3)] for s in (0.0, 0.06))
    pair = airsense.compare(before, after, engine).pairs[0]
    assert (pair.verdict.value, pair.reading_cause.value) == ("reading_only", "sensor")
    assert pair.sensor_skew is not None
    assert pair.sensor_skew.contains(0.06)
    assert pair.sensor_skew.high - pair.sensor_skew.low < 0.048


def test_a_still_trim_or_a_rich_mixture_is_no_closed_loop() -> None:
    time = 0.1 * np.arange(200)
    short = 0.02 * np.sin(5.0 * time)
    short[100:] = 0.0
    run = run_of(size=200, mdot_maf_kgps=0.03, trim_long=0.0, trim_short=short)
    closed = holds(driven(run))
    assert closed[30:90].all()
    assert not closed[130:].any()
    rich = run_of(size=200, mdot_maf_kgps=0.03, trim_long=0.0, trim_short=short, lambda_=0.87)
    assert not holds(driven(rich)).any()


def test_a_diesel_has_no_trims(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(ENGINE.replace("spark", "compression"))
    rng = np.random.default_rng(3)
    with pytest.raises(airsense.InputError, match="no route"):
        airsense.compare([cruise(rng, 0.0)], [cruise(rng, 0.06)], engine)


def test_a_plan_from_logs_of_trims_alone(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(ENGINE)
    rng = np.random.default_rng(3)
    result = airsense.plan(engine, logs=[cruise(rng, 0.0), cruise(rng, 0.0)])
    assert result.detectable_change is not None
