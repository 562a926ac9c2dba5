"""What is typed into a form becomes the setup file that would have been written by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.serve import forms
from airsense.setup.engine import EngineSetup

ENGINE = {"displacement_l": "2,99", "cylinders": "6", "ignition": "compression"}


def made(**fields: str) -> EngineSetup:
    return EngineSetup.model_validate(forms.setup_of({**ENGINE, **fields}))


def test_an_empty_form_declares_only_the_engine() -> None:
    assert forms.setup_of(ENGINE) == {
        "engine": {"displacement_l": 2.99, "cylinders": 6, "ignition": "compression"}
    }


@pytest.mark.parametrize(("typed", "declared"), [("", False), ("true", True), ("no", False)])
def test_one_session_is_declared_by_choice_alone(typed: str, declared: bool) -> None:
    assert made(one_session=typed).weather.one_session is declared


def test_weather_of_either_side_stays_on_its_side() -> None:
    fields = {"weather-before-ambient_temperature_c": "22", "weather-relative_humidity": "0,5"}
    weather = made(**fields).weather
    assert weather.before.ambient_temperature_c == 22.0
    assert weather.after.ambient_temperature_c is None
    assert weather.relative_humidity == 0.5


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_a_number_may_be_typed_with_point_or_comma(value: float) -> None:
    text = f"{value:.3f}"
    point, comma = forms.number(text), forms.number(text.replace(".", ","))
    assert isinstance(point, float) and point == comma
    assert math.isclose(point, value, abs_tol=6e-4)


@pytest.mark.parametrize("text", ["nan", "inf", "1e999", "12 bar", "1,2,3"])
def test_what_is_no_number_stays_as_it_was_typed(text: str) -> None:
    assert forms.number(f" {text} ") == text


@pytest.mark.parametrize(
    ("low", "high"), [("", "3800"), ("3800", "1600"), ("0", "900"), ("a", "9")]
)
def test_half_a_window_is_refused(low: str, high: str) -> None:
    with pytest.raises(InputError) as caught:
        forms.window_of({"rpm_low": low, "rpm_high": high})
    assert "two numbers in rpm" in caught.value.allowed


def test_a_window_and_a_percentage() -> None:
    assert forms.window_of({}) is None
    assert forms.window_of({"rpm_low": "1600", "rpm_high": "3800"}) == (1600.0, 3800.0)
    assert forms.percent({"margin": "1,5"}, "margin", "margin", (0.1, 10.0)) == 0.015
    assert forms.percent({}, "margin", "margin", (0.1, 10.0)) is None
    with pytest.raises(InputError):
        forms.percent({"margin": "50"}, "margin", "margin", (0.1, 10.0))
