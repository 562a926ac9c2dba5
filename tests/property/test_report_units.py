"""Units that people read: one choice for text and page, by default those of the logs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from airsense.logs.log import Channel, Log
from airsense.logs.own_units import own_units
from airsense.report.as_json import to_plain
from airsense.report.node import node_of
from airsense.report.units_shown import Shown, shown_for
from tests.published.published import Published
from tests.report_results import COMPARE

# NIST Special Publication 811 (2008), appendix B.8: pound and inch are exact, horsepower is the
# one of 550 foot pounds-force a second.
CASES = (
    ("kg/s", Published("NIST SP 811 B.8: 1 lb = 4.535 924 E-01 kg", printed="132.277")),
    ("Pa", Published("NIST SP 811 B.8: 1 psi = 6.894 757 E+03 Pa", printed="0.000145038")),
    ("W", Published("NIST SP 811 B.8: 1 hp (550 ft lbf/s) = 7.456 999 E+02 W", printed="0.001341")),
    ("m", Published("NIST SP 811 B.8: 1 in = 2.54 E-02 m", printed="39.37")),
)


@pytest.mark.parametrize(("canonical", "factor"), CASES)
def test_us_units_are_the_published_ones(canonical: str, factor: Published) -> None:
    factor.check(Shown("us").number(1.0, canonical))


@pytest.mark.parametrize(
    ("canonical", "value", "unit"),
    [
        ("kg/s", 1000.0, "g/s"),
        ("Pa", 0.001, "kPa"),
        ("W", 0.001, "kW"),
        ("m", 1000.0, "mm"),
        ("kg", 1e6, "mg"),
    ],
)
def test_si_units_are_the_ones_in_use(canonical: str, value: float, unit: str) -> None:
    assert math.isclose(Shown().number(1.0, canonical), value, rel_tol=1e-12)
    assert Shown().unit(canonical) == unit


def test_temperatures_shift() -> None:
    assert math.isclose(Shown().number(273.15, "K"), 0.0, abs_tol=1e-9)
    assert math.isclose(Shown("us").number(273.15, "K"), 32.0, abs_tol=1e-9)
    assert (Shown().unit("K"), Shown("us").unit("K")) == ("°C", "°F")


def test_what_has_one_unit_only_stays() -> None:
    assert Shown("us").number(1234.0, "rpm") == 1234.0
    assert Shown("us").unit("rpm") == "rpm"


def a_log(**units: str) -> Log:
    """Return a log whose channels were read in these units."""
    time = np.array([0.0, 1.0])
    channels = {
        name: Channel(name=name, header=name, unit_read=unit, time_s=time, value=time)
        for name, unit in units.items()
    }
    return Log(path="x", reader="csv", sha256="", channels=channels)


@pytest.mark.parametrize(
    ("units", "expected"),
    [
        ({"mass_air_flow": "lb/min", "manifold_pressure": "psi"}, "us"),
        ({"mass_air_flow": "g/s", "manifold_pressure": "kPa"}, "si"),
        ({"mass_air_flow": "lb/min", "manifold_pressure": "psig", "charge_temperature": "C"}, "us"),
        ({"mass_air_flow": "g/s", "manifold_pressure": "psi"}, "si"),
        ({"engine_speed": "rpm"}, "si"),
        ({}, "si"),
    ],
)
def test_logs_say_which_units_their_reader_uses(units: dict[str, str], expected: str) -> None:
    assert own_units([a_log(**units)]) == expected


def test_a_wish_goes_before_the_logs() -> None:
    result = node_of(replace(COMPARE, units_read="us"))
    assert shown_for(result, None).system == "us"
    assert shown_for(result, "si").system == "si"
    silent = to_plain(COMPARE)
    del silent["units_read"]
    assert shown_for(node_of(silent), None).system == "si"
