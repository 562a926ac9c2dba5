"""Units: round trips, printed figures, and texts that are no units."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.logs.canon import CANON
from airsense.units import converts, from_si, look_up, parse_quantity, parse_unit, to_si

PAIRS = [("psig", "Pa"), ("degF", "K"), ("lb/min", "kg/s"), ("%", "1"), ("mph", "m/s"), ("PS", "W")]
finite = st.floats(-1e6, 1e6, allow_nan=False)


@given(st.sampled_from(PAIRS), st.lists(finite, min_size=1, max_size=5))
def test_there_and_back(pair: tuple[str, str], values: list[float]) -> None:
    unit, si = pair
    back = from_si(to_si(values, unit, si), unit, si)
    assert np.allclose(back, values, rtol=1e-9, atol=1e-6)


@given(st.sampled_from(PAIRS))
def test_nan_stays_nan_and_input_is_left_alone(pair: tuple[str, str]) -> None:
    values = np.array([1.0, np.nan])
    out = to_si(values, *pair)
    assert np.isnan(out[1])
    assert np.isfinite(out[0])
    assert values[0] == 1.0


@given(st.decimals(min_value=-9999, max_value=9999, places=2), st.sampled_from(["kW", "W"]))
def test_a_printed_figure_keeps_value_and_last_digit(number: object, unit: str) -> None:
    read = parse_quantity(f"{number} {unit}", "W")
    factor = 1000.0 if unit == "kW" else 1.0
    assert read.value == pytest.approx(float(str(number)) * factor)
    assert read.half_width_rounding == pytest.approx(0.005 * factor)
    assert read.half_width == read.half_width_rounding


@pytest.mark.parametrize(
    ("text", "unit", "value", "half_width", "explicit"),
    [
        ("31 psi", "Pa", 31 * 6894.757, 0.5 * 6894.757, None),
        ("31 +- 0.3 psi", "Pa", 31 * 6894.757, 0.5 * 6894.757, 0.3 * 6894.757),
        ("31 ± 0.3 psi", "Pa", 31 * 6894.757, 0.5 * 6894.757, 0.3 * 6894.757),
        ("31 +/- 0.3 psi", "Pa", 31 * 6894.757, 0.5 * 6894.757, 0.3 * 6894.757),
        ("62.43 lb/min", "kg/s", 62.43 * 0.00755987283, 0.005 * 0.00755987283, None),
        ("1.9 bar", "Pa", 1.9e5, 5e3, None),
        ("+12 kW", "W", 12e3, 500.0, None),
        ("-12 kW", "W", -12e3, 500.0, None),
        ("2900 rpm", "rpm", 2900.0, 0.5, None),
        ("6 %", "1", 0.06, 0.005, None),
        ("1.30", "1", 1.30, 0.005, None),
        ("25 degC", "K", 298.15, 0.5, None),
        ("1.2e3 Pa", "Pa", 1200.0, 50.0, None),
        ("70 mg", "kg", 70e-6, 0.5e-6, None),
    ],
)
def test_printed_figures(
    text: str, unit: str, value: float, half_width: float, explicit: float | None
) -> None:
    read = parse_quantity(text, unit)
    assert read.value == pytest.approx(value, rel=1e-6)
    assert read.half_width_rounding == pytest.approx(half_width, rel=1e-6)
    if explicit is None:
        assert read.u_explicit is None
        assert read.half_width == read.half_width_rounding
    else:
        assert read.u_explicit == pytest.approx(explicit, rel=1e-6)
        assert read.half_width == read.u_explicit


def test_a_change_of_temperature_has_no_offset() -> None:
    assert parse_quantity("+5 degC", "K", difference=True).value == pytest.approx(5.0)
    assert parse_quantity("+9 degF", "K", difference=True).value == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("", "Pa"), ("psi", "Pa"), ("31", "Pa"), ("1,900 rpm", "rpm"), ("31 furlong", "Pa"),
        ("31 kW", "Pa"), ("31 +- psi", "Pa"), ("nan psi", "Pa"), ("1e9999 Pa", "Pa"),
        ("3 1 psi", "Pa"), ("31 psi 4", "Pa"), ("1e999 Pa", "Pa"), ("1" * 300 + " Pa", "Pa"),
    ],
)  # fmt: skip
def test_what_is_no_quantity_is_refused_in_five_parts(text: str, unit: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_quantity(text, unit, where="claims.toml, [[result]] boost_pressure")
    error = caught.value
    assert "claims.toml" in error.where
    assert all((error.what, error.got, error.allowed, error.fix))


@given(st.text(max_size=60))
def test_any_text_is_a_unit_or_none_but_never_a_crash(text: str) -> None:
    for unit in (look_up(text), parse_unit(text)):
        if unit is not None:
            for row in CANON.values():
                if row.unit:
                    assert converts(unit, row.unit) in (True, False)


@given(st.text(max_size=80))
def test_any_text_is_a_quantity_or_refused(text: str) -> None:
    try:
        read = parse_quantity(text, "Pa")
    except InputError:
        return
    assert math.isfinite(read.value)


@pytest.mark.parametrize(
    "text", ["9**9**9", "m**99999", "2 m", "x" * 5000, "__import__('os')", "m/", "/s", "°" * 30]
)
def test_hostile_unit_texts_do_no_harm(text: str) -> None:
    unit = parse_unit(text)
    assert unit is None or not converts(unit, "Pa")


def test_an_angle_is_no_fraction_and_a_count_no_percentage() -> None:
    for text in ("deg", "counts"):
        unit = parse_unit(text)
        assert unit is not None
        assert not converts(unit, "1")
