"""Conversion factors against the printed ones."""

from __future__ import annotations

import pytest

from airsense.units import parse_unit, to_si
from tests.published.published import Published

SP811 = "NIST SP 811 (2008), appendix B.8, from memory"

FACTORS = [
    ("psi", "Pa", "6.894757e3"),
    ("inHg", "Pa", "3.386389e3"),
    ("mmHg", "Pa", "1.333224e2"),
    ("inH2O", "Pa", "2.490889e2"),
    ("cmH2O", "Pa", "9.80665e1"),
    ("mmH2O", "Pa", "9.80665"),
    ("kgf/cm2", "Pa", "9.80665e4"),
    ("atm", "Pa", "1.01325e5"),
    ("mbar", "Pa", "1.0e2"),
    ("lb/min", "kg/s", "7.559873e-3"),
    ("lb/h", "kg/s", "1.259979e-4"),
    ("gal/h", "m3/s", "1.051503e-6"),
    ("hp", "W", "7.456999e2"),
    ("PS", "W", "7.354988e2"),
    ("lb-ft", "N*m", "1.355818"),
    ("kgf·m", "N*m", "9.80665"),
    ("mph", "m/s", "4.4704e-1"),
    ("knot", "m/s", "5.144444e-1"),
]


@pytest.mark.parametrize(("unit", "si", "printed"), FACTORS)
def test_factor_is_the_printed_one(unit: str, si: str, printed: str) -> None:
    Published(f"{SP811}, {unit}", printed=printed).check(to_si([1.0], unit, si)[0])


def test_temperature_scales_meet_at_the_fixed_points() -> None:
    # ITS-90 definition of the Celsius scale; Fahrenheit: 32 and 212 by definition.
    assert to_si([0.0, 100.0], "degC", "K").tolist() == [273.15, 373.15]
    assert to_si([32.0, 212.0], "degF", "K") == pytest.approx([273.15, 373.15], rel=1e-12)


def test_a_hertz_is_a_turn_a_second_and_not_a_radian() -> None:
    assert to_si([50.0], "Hz", "rpm")[0] == pytest.approx(3000.0, rel=1e-12)
    Published("2*pi to ten digits, by hand", printed="9.549296586").check(
        to_si([1.0], "rad/s", "rpm")[0]
    )


@pytest.mark.parametrize(
    ("canonical", "spellings", "factor"),
    [
        ("Pa", ("kPa", "kPa abs", "kpa(a)", "kPa_abs", "KPA", "[kPa]", "kPa g"), 1e3),
        ("Pa", ("psi", "psig", "psia", "PSI", "psi(g)", "lb/in²"), 6894.757),
        ("Pa", ("bar", "bar(a)", "barg", "bara"), 1e5),
        ("Pa", ("mbar", "hPa", "mb"), 100.0),
        ("kg/s", ("g/s", "gm/s", "g/sec", "gps", "G/S"), 1e-3),
        ("kg/s", ("kg/h", "kg/hr", "kg / h"), 1.0 / 3600.0),
        ("kg/s", ("lb/min", "lbs/min", "Lb/Min"), 0.007559873),
        ("kg", ("mg/stroke", "mg/str", "mg/stk", "mg/cyl", "mg"), 1e-6),
        ("m3", ("mm3/stroke", "mm³/str", "mm^3"[:2] + "3/stk"), 1e-9),
        ("m3/s", ("l/h", "L/hr", "lph"), 1e-3 / 3600.0),
        ("1", ("%", "pct"), 0.01),
        ("1", ("ppm",), 1e-6),
        ("N*m", ("N·m", "Nm", "N.m", "N-m"), 1.0),
        ("N*m", ("lb-ft", "ft-lb", "lbft", "ft·lbf"), 1.355818),
        ("m/s", ("km/h", "kph", "kmh"), 1.0 / 3.6),
        ("rpm", ("rpm", "1/min", "min-1", "r/min", "min⁻¹"), 1.0),
        ("s", ("ms", "msec"), 1e-3),
        ("V", ("mV",), 1e-3),
        ("us", ("us", "µs", "μs"), 1.0),
    ],
)
def test_spellings_of_one_unit_agree(
    canonical: str, spellings: tuple[str, ...], factor: float
) -> None:
    for spelling in spellings:
        assert to_si([1.0], spelling, canonical)[0] == pytest.approx(factor, rel=1e-6), spelling


@pytest.mark.parametrize(
    ("text", "reference"),
    [("psig", "gauge"), ("bar(a)", "absolute"), ("kPa abs", "absolute"), ("kPa", "")],
)
def test_a_pressure_unit_may_name_its_reference(text: str, reference: str) -> None:
    unit = parse_unit(text)
    assert unit is not None
    assert unit.reference == reference
