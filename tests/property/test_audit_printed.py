"""Figures are read as print has them, and what is ambiguous is asked for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.claims.units import Kind, Mix, possible_mix
from airsense.errors import InputError
from airsense.results import Interval
from airsense.setup.printed import plain_figures, read_printed


@pytest.mark.parametrize(
    ("text", "unit", "value", "half_width"),
    [
        ("250 kW", "W", 250e3, 500.0),
        ("250,5 kW", "W", 250.5e3, 50.0),
        ("1 660 kg/h", "kg/s", 1660 / 3600, 0.5 / 3600),
        ("1\u202f660 kg/h", "kg/s", 1660 / 3600, 0.5 / 3600),
        ("1.660,5 kg/h", "kg/s", 1660.5 / 3600, 0.05 / 3600),
        ("1,660.5 kg/h", "kg/s", 1660.5 / 3600, 0.05 / 3600),
        ("250 to 260 kW", "W", 255e3, 5.5e3),
        ("250-260 kW", "W", 255e3, 5.5e3),
        ("250 kW to 260 kW", "W", 255e3, 5.5e3),
        ("250,5 – 260,5 kW", "W", 255.5e3, 5.05e3),
        ("250 ± 2 kW", "W", 250e3, 2e3),
        ("250 kW ± 2 kW", "W", 250e3, 2e3),
        ("250 kW +- 1 %", "W", 250e3, 2.5e3),
        ("0,875", "1", 0.875, 0.0005),
        ("-0.30 bar", "Pa", -0.3e5, 500.0),
    ],
)
def test_print_is_read(text, unit, value, half_width):
    got = read_printed(text, unit)
    assert got.value == pytest.approx(value, rel=1e-9)
    assert got.half_width == pytest.approx(half_width, rel=1e-6)
    assert got.explicit is ("±" in text or "+-" in text)


@pytest.mark.parametrize("text", ["1,660 kg/h", "138,000 kg/h"])
def test_a_comma_that_may_be_either_is_asked_for(text):
    with pytest.raises(InputError) as raised:
        read_printed(text, "kg/s")
    assert "decimal point" in raised.value.fix


@given(value=st.integers(1000, 99_999_999))
def test_grouped_digits_are_the_number(value):
    assert plain_figures(f"{value:,} mg".replace(",", " ")) == f"{value} mg"


@given(low=st.floats(1.0, 400.0), wide=st.floats(0.0, 50.0), digits=st.integers(0, 2))
def test_a_range_holds_both_of_its_ends(low, wide, digits):
    first, second = f"{low:.{digits}f}", f"{low + wide:.{digits}f}"
    got = read_printed(f"{first} to {second} kW", "W")
    rounding = 500.0 * 10.0**-digits
    assert got.value - got.half_width == pytest.approx(1e3 * float(first) - rounding, abs=1e-6)
    assert got.value + got.half_width == pytest.approx(1e3 * float(second) + rounding, abs=1e-6)


@pytest.mark.parametrize(("factor", "words"), [(1.36, "PS"), (1.341, "hp"), (1 / 1.36, "PS")])
def test_a_sharp_ratio_names_its_mix(factor, words):
    ratio = Interval(factor, factor * 0.995, factor * 1.005)
    assert words in possible_mix((Kind.POWER,), ratio)


def test_a_ratio_of_nothing_known_names_nothing():
    ratio = Interval(2.5, 2.49, 2.51)
    assert possible_mix((Kind.POWER, Kind.FLOW, Kind.PRESSURE), ratio) == ""


@given(middle=st.floats(0.02, 50.0))
def test_what_is_named_fits(middle):
    ratio = Interval(middle, middle * 0.99, middle * 1.01)
    factors = [g for f in (3.6, 0.4536, 7.56, 0.5) for g in (f, 1.0 / f)]
    nearest = min(abs(math.log(middle / f)) for f in factors)
    said = possible_mix((Kind.FLOW,), ratio, (Mix(0.5, "half"),))
    if nearest < 0.018:
        assert "Possible" in said
    elif nearest > 0.022:
        assert said == ""
