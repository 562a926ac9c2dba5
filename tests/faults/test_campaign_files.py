"""Malformed campaign files: five-part errors that name the place and the remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from airsense.errors import InputError
from airsense.setup.campaign import Campaign, load_campaign
from airsense.setup.load import load_engine, load_model
from airsense.setup.template import Template, template_text

SOUND = """\
engine = "engine.toml"
baseline = "stock"

[[run]]
log = "a1.csv"
intake = "stock"
tune = "road"
order = 1

[[run]]
log = "b1.csv"
intake = "open"
tune = "road"
order = 2
relative_humidity = 0.4

[[intake]]
name = "stock"

[[intake]]
name = "open"
price = 400.0
"""


def write(folder: Path, text: str) -> Path:
    for name in ("a1.csv", "a2.csv", "b1.csv"):
        (folder / name).write_text("x")
    path = folder / "campaign.toml"
    path.write_text(text)
    return path


def refused(folder: Path, text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        load_campaign(write(folder, text))
    error = caught.value
    assert "campaign.toml" in error.where
    assert all((error.what, error.got, error.allowed, error.fix))
    return error


def test_a_sound_file_is_read(tmp_path: Path) -> None:
    campaign = load_campaign(write(tmp_path, SOUND))
    assert campaign.tunes() == ("road",)
    assert campaign.declared("open").price == 400.0
    assert campaign.declared("nobody").price is None


def test_the_template_is_a_sound_campaign(tmp_path: Path) -> None:
    text = template_text(Template.CAMPAIGN)
    path = tmp_path / "campaign.toml"
    path.write_text(text)
    campaign = load_model(path, Campaign)
    for run in campaign.run:
        (tmp_path / run.log).write_text("x")
    assert load_campaign(path) == campaign
    commented = [line for line in text.splitlines() if line.startswith("# ") and " = " in line]
    assert {"ambient_temperature_c", "barometric_pressure_kpa", "relative_humidity"} <= {
        line.removeprefix("# ").split(" = ")[0] for line in commented
    }


def test_the_commented_keys_of_the_template_are_real_keys(tmp_path: Path) -> None:
    text = template_text(Template.CAMPAIGN)
    lines = [
        line.removeprefix("# ")
        if line.startswith("# ") and (" = " in line or line.startswith("# ["))
        else line
        for line in text.splitlines()
    ]
    path = tmp_path / "campaign.toml"
    path.write_text("\n".join(lines))
    campaign = load_model(path, Campaign)
    assert campaign.run[0].barometric_pressure_kpa == 97.8
    assert campaign.declared("stock box").depression_kpa == 4.2
    assert (campaign.run[0].session, campaign.run[1].session) == ("saturday", "")
    assert campaign.weather.ambient_temperature_c == 19.5
    assert campaign.measured[0].configuration == "open box"


@pytest.mark.parametrize(
    ("old", "new", "what", "got", "fix"),
    [
        ('tune = "road"\norder = 1', 'tunes = "road"\norder = 1', "unknown key tunes", "'road'",
         "write tune"),
        ("price = 400.0", "prize = 400.0", "unknown key prize", "400.0", "write price"),
        ("order = 2", "order = 1", "two runs have the same order", "1, as in", "number the runs"),
        ("order = 2\n", "", "the order of some runs is missing", "no order", "number all runs"),
        ("order = 2", "order = 1.5", "order cannot be used", "1.5", "whole number"),
        ('log = "b1.csv"', 'log = "b9.csv"', "a log of the campaign is missing", "'b9.csv'",
         "mend the path"),
        ('log = "b1.csv"', 'log = "a1.csv"', "one log stands for two runs", "'a1.csv'",
         "name the right log"),
        ('log = "b1.csv"', 'log = "./a1.csv"', "one log stands for two runs", "'./a1.csv'",
         "name the right log"),
        ('log = "b1.csv"\n', "", "log is missing", "nothing", "add log"),
        ('intake = "open"', 'intake = "opne"', "unknown intake", "'opne'", "spell the intake"),
        ('name = "open"', 'name = "cone"', "unknown intake", "'open'", "spell the intake"),
        ('name = "open"', 'name = "stock"', "an intake is declared twice", "'stock'", "join"),
        ('baseline = "stock"', 'baseline = "other"', "unknown intake", "'other'", "spell"),
        ('intake = "open"\ntune = "road"', 'intake = "open"\ntune = "race"',
         "the baseline has no run at a tune", "'open'", "add the baseline's log"),
        ('intake = "open"', 'intake = "stock"', "unknown intake", "'open'", "spell the intake"),
        ("relative_humidity = 0.4", "relative_humidity = 40", "relative_humidity is outside",
         "40", "45 % = 0.45"),
        ("relative_humidity = 0.4", "barometric_pressure_kpa = 1013", "barometric_pressure_kpa is",
         "1013", "kPa absolute"),
        ("relative_humidity = 0.4", "ambient_temperature_c = 295.0", "ambient_temperature_c is",
         "295", "degrees Celsius"),
        ("price = 400.0", 'price = 400.0\n[[measured]]\nwhat = "recirculation"\n'
         'configuration = "opne"\nresult = "blocked"', "unknown configuration", "'opne'",
         "name the configuration"),
        ("price = 400.0", 'price = 400.0\n[weather]\nhumidity = 0.4', "unknown key humidity",
         "0.4", "write relative_humidity"),
        ("price = 400.0", "price = -1.0", "price is outside", "-1", "price"),
        ("price = 400.0", "price = nan", "price is outside", "nan", "price"),
        ("price = 400.0", 'price = "cheap"', "price cannot be used", "cheap", "price"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_refused_with_place_and_remedy(
    tmp_path: Path, old: str, new: str, what: str, got: str, fix: str
) -> None:
    assert old in SOUND
    error = refused(tmp_path, SOUND.replace(old, new, 1))
    assert what in error.what
    assert got in error.got
    assert fix in error.fix


def test_a_campaign_of_one_intake_is_refused(tmp_path: Path) -> None:
    text = SOUND.split("[[intake]]", maxsplit=1)[0].replace('"open"', '"stock"')
    assert "one intake only" in refused(tmp_path, text).what


def test_a_campaign_of_one_run_is_refused(tmp_path: Path) -> None:
    text = "[[run]]".join(SOUND.split("[[intake]]", maxsplit=1)[0].split("[[run]]")[:2])
    assert refused(tmp_path, text).what == "run cannot be used"


@pytest.mark.parametrize("text", ["", "[[run]]\n", "engine = 1\n", "= =", "run = 3\n"])
def test_a_broken_file_is_never_a_traceback(tmp_path: Path, text: str) -> None:
    refused(tmp_path, text)


def test_an_unknown_key_is_found_in_its_own_run(tmp_path: Path) -> None:
    error = refused(tmp_path, SOUND.replace("relative_humidity = 0.4", "humidity = 0.4"))
    line = SOUND.splitlines().index("relative_humidity = 0.4") + 1
    assert f"line {line}" in error.where
    assert "relative_humidity" in error.allowed


def test_the_map_file_is_looked_for_beside_the_engine_file(tmp_path: Path) -> None:
    engine = tmp_path / "engine.toml"
    engine.write_text(
        '[engine]\ndisplacement_l = 2.0\ncylinders = 4\nignition = "spark"\n'
        '[compressor_map]\nfile = "map.csv"\n'
    )
    declared = load_engine(engine).compressor_map
    assert declared is not None
    assert declared.file == str(tmp_path / "map.csv")
