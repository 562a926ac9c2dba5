"""[[measured]], [priors], [weather], [power]: what is taken, and errors that name the remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from airsense.cause import Cause
from airsense.errors import InputError
from airsense.physics.boost_control import BoostLaw
from airsense.setup.engine import BoostControl, EngineSetup
from airsense.setup.load import load_engine
from airsense.setup.measured import KINDS, ChargePipePressureTest, check_configurations, kind_of

ENGINE = '[engine]\ndisplacement_l = 2.99\ncylinders = 6\nignition = "compression"\n'
PRESSURE = '[[measured]]\nwhat = "charge_pipe_pressure_test"\nconfiguration = "after"\n'
REST = '[[measured]]\nwhat = "manifold_pressure_at_rest"\nconfiguration = "after"\n'

SOUND = {
    "charge_pipe_pressure_test": 'result = "tight"\nat_boost_kpa = 120',
    "manifold_pressure_at_rest": "reading_kpa = 98.4\nbarometer_kpa = 97.9",
    "intake_smoke_test": 'result = "leak"',
    "charge_thermometer": "reading_c = 41\nreference_c = 40.2",
    "fuel_by_weight": "logged_kg = 1.91\nweighed_kg = 1.95",
    "lambda_reference": "reading = 1.0\nreference = 0.99",
    "recirculation": 'result = "blocked"',
}


def load(tmp_path: Path, text: str) -> EngineSetup:
    path = tmp_path / "engine.toml"
    path.write_text(ENGINE + text, encoding="utf-8")
    return load_engine(path)


def refused(tmp_path: Path, text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        load(tmp_path, text)
    error = caught.value
    assert "engine.toml" in error.where
    assert all((error.what, error.got, error.allowed, error.fix))
    return error


def test_every_kind_is_read_as_its_own_model(tmp_path: Path) -> None:
    assert {kind_of(model) for model in KINDS} == set(SOUND)
    text = "".join(
        f'[[measured]]\nwhat = "{what}"\nconfiguration = "before"\n{keys}\n'
        for what, keys in SOUND.items()
    )
    measured = load(tmp_path, text).measured
    assert [one.what for one in measured] == list(SOUND)
    assert [type(one) for one in measured] == list(KINDS)


def test_a_loss_needs_its_pressure(tmp_path: Path) -> None:
    sound = load(tmp_path, PRESSURE + "loss_gps = 4.2\nat_boost_kpa = 120\n").measured
    assert sound == (
        ChargePipePressureTest(configuration="after", loss_gps=4.2, at_boost_kpa=120.0),
    )
    for wrong in ("loss_gps = 4.2\n", "at_boost_kpa = 120\n", 'loss_gps = 1.0\nresult = "tight"\n'):
        error = refused(tmp_path, PRESSURE + wrong)
        assert "loss_gps with at_boost_kpa" in error.allowed
        assert "line 5, [[measured]] number 1" in error.where


@pytest.mark.parametrize(
    ("text", "what", "where", "allowed", "fix"),
    [
        (REST + "reading_kpa = 98.4\nbarometer_kpa = 98\nloss_gps = 1\n", "unknown key loss_gps",
         "line 10, [[measured]] number 1 loss_gps",
         "configuration, what, reading_kpa, barometer_kpa", "take the key out"),
        (REST + "reading_kpa = 98.4\nbarometer = 98\n", "unknown key barometer", "line 9",
         "barometer_kpa", "write barometer_kpa"),
        (REST + "reading_kpa = 98.4\n", "barometer_kpa is missing", "[[measured]] number 1",
         "reading_kpa, barometer_kpa", "add barometer_kpa to [[measured]] number 1"),
        (REST + "reading_kpa = 984\nbarometer_kpa = 98\n", "reading_kpa is outside", "line 8",
         "200", "reading_kpa"),
        (REST.replace("_at_rest", ""), "what is not one of the choices",
         "line 6, [[measured]] number 1 what", "'recirculation'", "manifold_pressure_at_rest"),
        ('[[measured]]\nconfiguration = "after"\n', "what is missing", "[[measured]] number 1",
         "recirculation", "add what"),
        (PRESSURE + 'result = "fine"\n', "result is not one of the choices", "line 8", "'tight'",
         "result"),
        (PRESSURE.replace("after", "") + 'result = "tight"\n', "configuration cannot be used",
         "line 7", "1 character", "configuration"),
        (PRESSURE + 'result = "tight"\n' + REST + "reading_kpa = 98.4\n",
         "barometer_kpa is missing", "[[measured]] number 2", "barometer_kpa", "number 2"),
        ("[priors.sensor_scales]\nsize = 0.02\n", "unknown key sensor_scales",
         "line 5, [priors] sensor_scales", "'sensor_scale'", "write sensor_scale"),
        ("[priors.sensor_scale]\nsizes = 0.02\n", "unknown key sizes",
         "line 6, [priors.sensor_scale] sizes", "probability, size", "write size"),
        ("[priors.sensor_scale]\n", "cannot be used", "line 5", "probability, size or both",
         "sensor_scale"),
        ("[priors.sensor_scale]\nsize = 3\n", "cannot be used", "priors", "fraction of the flow",
         "priors"),
        ("[priors.pulsation]\nprobability = 5\n", "probability is outside", "line 6", "1",
         "probability"),
        ("[weather.befor]\nrelative_humidity = 0.4\n", "unknown key befor", "[weather] befor",
         "before", "write before"),
        ("[weather.before]\nrelative_humidity = 40\n", "relative_humidity is outside",
         "line 6, [weather.before] relative_humidity", "1", "45 % = 0.45"),
        ("[weather]\nbarometric_pressure_kpa = 1013\n", "barometric_pressure_kpa is outside",
         "line 6", "115", "1013 mbar"),
        ('[power]\nat = "hub"\n', "at is not one of the choices", "line 6, [power] at", "'wheels'",
         "at"),
        ("[power]\ncorrected = true\n", "corrected cannot be used", "line 6", "string",
         "corrected"),
        ('boost_control = "pressure"\n', "boost_control is not one of the choices",
         "line 5, [engine] boost_control", "'ratio_inlet'", "boost_control"),
        ('cooler = "ice"\n', "cooler is not one of the choices", "line 5, [engine] cooler",
         "'water'", "cooler"),
    ],
)  # fmt: skip
def test_a_wrong_word_is_refused_with_what_is_allowed(
    tmp_path: Path, text: str, what: str, where: str, allowed: str, fix: str
) -> None:
    error = refused(tmp_path, text)
    assert what in error.what
    assert where in error.where
    assert allowed in error.allowed
    assert fix in error.fix


def test_a_misspelt_key_tells_only_the_keys_of_its_own_kind(tmp_path: Path) -> None:
    error = refused(tmp_path, PRESSURE + 'results = "tight"\n')
    assert error.fix == "write result"
    assert error.allowed == "configuration, what, result, loss_gps, at_boost_kpa"


def test_priors_in_kelvin_may_be_large(tmp_path: Path) -> None:
    priors = load(tmp_path, "[priors.charge_temperature]\nsize = 8\nprobability = 0.1\n").priors
    assert priors[Cause.CHARGE_TEMPERATURE].size == 8.0


def test_none_has_no_prior_of_its_own(tmp_path: Path) -> None:
    error = refused(tmp_path, "[priors.none]\nprobability = 0.5\n")
    assert "what the causes leave" in f"{error.what} {error.allowed} {error.got} {error.fix}"


def test_the_names_are_those_of_the_judgement() -> None:
    assert {c.value for c in BoostControl} == {law.value for law in BoostLaw} | {"unknown"}


def test_weather_by_configuration(tmp_path: Path) -> None:
    text = "[weather]\nambient_temperature_c = 20\n[weather.after]\nambient_temperature_c = 6\n"
    weather = load(tmp_path, text).weather
    assert (weather.ambient_temperature_c, weather.after.ambient_temperature_c) == (20.0, 6.0)
    assert weather.before.ambient_temperature_c is None
    said = [one.said_by for one in (weather, weather.before, weather.after)]
    assert said == ["declared", "declared for before", "declared for after"]


def test_a_measurement_of_a_configuration_that_nobody_drove_is_named(tmp_path: Path) -> None:
    measured = load(tmp_path, PRESSURE + 'result = "tight"\n').measured
    check_configurations(measured, ("before", "after"), where="engine.toml")
    with pytest.raises(InputError) as caught:
        check_configurations(measured, ("stock", "open"), where="campaign.toml")
    assert "[[measured]] number 1" in caught.value.where
    assert caught.value.got == "'after'"
