"""The open road trips beside the checkout.

Data: Marc Weber, "Automotive OBD-II Dataset", Karlsruhe Institute of Technology, 2023,
DOI 10.35097/1130, CC BY 4.0. Displacement is not published: 1.97 l is declared as an assumption.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import pytest

from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.setup.engine import Engine, EngineSetup, Ignition

TRIPS = Path(__file__).resolve().parents[2] / "shared" / "data" / "kit_obd"
LONG = "trip_2017-07-11_long.csv"
SHORT = "trip_2017-08-01_short.csv"
ACCELERATION = "trip_2018-02-23_acceleration.csv"
NAMES = (LONG, SHORT, ACCELERATION)
SETUP = EngineSetup(engine=Engine(displacement_l=1.97, cylinders=4, ignition=Ignition.COMPRESSION))

REQUIRED = os.environ.get("AIRSENSE_REQUIRE_SHARED") == "1"
needs_trips = pytest.mark.skipif(
    not TRIPS.is_dir() and not REQUIRED, reason="the open trips are not at hand"
)


@cache
def trip(name: str) -> Log:
    """Return one trip; missing though required is a failure, not a skip."""
    assert (TRIPS / name).is_file(), f"{TRIPS / name} is required but not there"
    return read_log(TRIPS / name)
