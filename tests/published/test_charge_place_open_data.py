"""Where the intake temperature of an open data set is taken.

Data: M. Weber, Automotive OBD-II Dataset, Karlsruhe Institute of Technology (2023),
DOI 10.35097/1130, CC BY 4.0. One passenger car; its intake temperature stays within some kelvin of
ambient under boost, so it cannot be the charge behind a cooler.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from airsense.physics.charge import infer_place

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "data" / "kit_obd"
TRIPS = (
    "trip_2017-07-11_long.csv",
    "trip_2017-08-01_short.csv",
    "trip_2018-02-23_acceleration.csv",
)
# Columns by position: the degree signs in some headers are encoded twice.
CLOCK, PRESSURE_KPA, INTAKE_C, AMBIENT_C = 0, 2, 5, 8


def trip(name):
    path = FOLDER / name
    if not path.exists():
        pytest.skip(f"open data set not beside this checkout: {path}")
    frame = pd.read_csv(path)
    time_s = pd.to_timedelta(frame.iloc[:, CLOCK]).dt.total_seconds().to_numpy()
    latest = np.maximum.accumulate(time_s)
    forward = np.concatenate([[True], time_s[1:] > latest[:-1]])
    columns = (frame.iloc[:, k].to_numpy(dtype=float) for k in (PRESSURE_KPA, INTAKE_C, AMBIENT_C))
    pressure, intake, ambient = (column[forward] for column in columns)
    return time_s[forward], 1e3 * pressure, intake + 273.15, ambient + 273.15


@pytest.mark.parametrize("name", TRIPS)
@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize("ambient_known", [True, False])
def test_intake_temperature_sits_ahead_of_the_compressor(name, timed, ambient_known):
    """Trips of the Automotive OBD-II Dataset."""
    time_s, pressure, intake, ambient = trip(name)
    got = infer_place(
        intake,
        ambient if ambient_known else None,
        pressure,
        101325.0,
        time_s=time_s if timed else None,
    )
    assert got.place == "before_compressor"
    assert got.probability < 0.1
    assert abs(got.slope) < 0.08
    assert got.boosted_samples > 300


@pytest.mark.parametrize("name", TRIPS)
def test_the_same_trip_behind_a_cooler_would_be_told(name):
    """Trips of the Automotive OBD-II Dataset, warmed as behind a cooler."""
    # The heat of compression less a cooler of 75 %, put on top of the reading.
    time_s, pressure, intake, ambient = trip(name)
    ratio = np.maximum(np.nan_to_num(pressure, nan=101325.0) / 101325.0, 1.0)
    added = 0.25 * 293.0 * (ratio**0.2857 - 1.0) / 0.72
    got = infer_place(intake + added, ambient, pressure, 101325.0, time_s=time_s)
    assert got.place == "after_cooler"
