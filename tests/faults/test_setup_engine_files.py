"""Malformed engine.toml: five parts that name file, line or key; never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from airsense.cause import Cause
from airsense.errors import InputError
from airsense.setup.engine import BoostControl, Ignition, Induction
from airsense.setup.load import load_engine
from airsense.setup.measured import ChargePipePressureTest
from airsense.setup.power import DeclaredPower, PowerAt
from airsense.setup.template import Template, template_text

GOOD = """\
[engine]
displacement_l = 2.99
cylinders = 6
ignition = "compression"
"""

# name, text, what must be named in `where`, in `got` and in `fix`.
BAD = [
    ("a word for a truth value", GOOD + '[weather]\none_session = "yes"\n', "one_session", "'yes'",
     "one_session"),
    ("empty", "", "engine", "nothing", "add the section [engine]"),
    ("no displacement", '[engine]\ncylinders = 6\nignition = "spark"\n', "displacement_l",
     "nothing", "add displacement_l to engine"),
    ("cubic centimetres", GOOD.replace("2.99", "1998"), "line 2, [engine] displacement_l", "1998",
     "1.998 l"),
    ("negative", GOOD.replace("2.99", "-2.99"), "displacement_l", "-2.99", "litres"),
    ("not a number", GOOD.replace("2.99", "nan"), "displacement_l", "nan", "litres"),
    ("infinite", GOOD.replace("2.99", "inf"), "displacement_l", "inf", "litres"),
    ("text for a number", GOOD.replace("2.99", '"2.99"'), "displacement_l", "'2.99'", "litres"),
    ("truth value for a number", GOOD.replace("2.99", "true"), "displacement_l", "True", "litres"),
    ("date for a number", GOOD.replace("2.99", "2020-01-01"), "displacement_l", "2020", "litres"),
    ("list for a number", GOOD.replace("2.99", "[2.99]"), "displacement_l", "[2.99]", "litres"),
    ("half a cylinder", GOOD.replace("6", "6.5"), "line 3, [engine] cylinders", "6.5", "cylinders"),
    ("no cylinders", GOOD.replace("6", "0"), "cylinders", "0", "cylinders"),
    ("three strokes", GOOD + "strokes = 3\n", "engine", "3", "engine"),
    ("wrong ignition", GOOD.replace("compression", "diesel"), "line 4, [engine] ignition",
     "'diesel'", "ignition"),
    ("wrong induction", GOOD + 'induction = "supercharged"\n', "line 5, [engine] induction",
     "'supercharged'", "induction"),
    ("misspelt key", GOOD + "displacment = 3\n", "line 5, [engine] displacment", "3",
     "write displacement_l"),
    ("misspelt section", GOOD + "[charge_temprature]\n", "line 5, charge_temprature", "{}",
     "write charge_temperature"),
    ("key in the wrong section", GOOD + 'time_constant_s = 1.5\n', "time_constant_s", "1.5",
     "move it"),
    ("number for a section", "engine = 5\n", "line 1, engine", "5", "engine"),
    ("list of engines", GOOD.replace("[engine]", "[[engine]]"), "engine", "displacement_l",
     "engine"),
    ("efficiency in per cent", GOOD + "volumetric_efficiency = 92\n", "volumetric_efficiency",
     "92", "92 % = 0.92"),
    ("heating value in kJ", GOOD + "[fuel]\nlower_heating_value_mj_kg = 42900\n",
     "line 6, [fuel] lower_heating_value_mj_kg", "42900", "42.9"),
    ("density in kg/m3", GOOD + "[fuel]\ndensity_kg_l = 835\n", "line 6, [fuel] density_kg_l",
     "835", "0.835"),
    ("oxygen alone", GOOD + "[fuel]\noxygen_to_carbon = 0.1\n", "line 5, fuel", "0.1", "fuel"),
    ("unknown place", GOOD + '[charge_temperature]\nplace = "manifold"\n', "place", "'manifold'",
     "place"),
    ("negative lag", GOOD + "[charge_temperature]\ntime_constant_s = -1\n", "time_constant_s",
     "-1", "seconds"),
    ("no uncertainty", GOOD + "[uncertainty]\nfuel_run = 0\n", "line 6, [uncertainty] fuel_run",
     "0", "fuel_run"),
    ("uncertainty in per cent", GOOD + "[uncertainty]\nlambda_run = 2.0\n", "lambda_run", "2.0",
     "lambda_run"),
    ("endless uncertainty", GOOD + "[uncertainty]\ncharge_temperature_run_k = inf\n",
     "charge_temperature_run_k", "inf", "charge_temperature_run_k"),
    ("unknown uncertainty", GOOD + "[uncertainty]\nmap_run = 0.01\n", "map_run", "0.01", ""),
    ("number for a header", GOOD + "[channels]\nmass_air_flow = 5\n",
     "line 6, [channels] mass_air_flow", "5", "mass_air_flow"),
    ("bore in metres", GOOD + "[intake]\nbore_before_mm = 0.08\n", "bore_before_mm", "0.08", ""),
    ("map without file", GOOD + "[compressor_map]\n", "compressor_map", "nothing", "add file"),
    ("duplicate key", GOOD + "cylinders = 6\n", "line 5", "cylinders = 6", "overwrite"),
    ("open section", "[engine\ndisplacement_l = 2\n", "line 1", "[engine", "line 1"),
    ("open text", '[engine]\nname = "x\n', "line 2", 'name = "x', "line 2"),
    ("no value", GOOD + "strokes =\n", "line 5", "strokes =", "line 5"),
    ("a log, not a setup", "time;rpm;maf\n0;800;3\n", "line 1", "time;rpm;maf", "line 1"),
    ("ends in the middle", GOOD + "name", "line 5", "name", "end"),
    ("dotted keys", "engine.displacement_l = 1998\nengine.cylinders = 6\n", "displacement_l",
     "1998", "1.998 l"),
    ("nested too deep", "a = " + "[" * 30_000, "engine.toml", "no TOML reader", ""),
    ("endless digits", GOOD.replace("6", "6" * 5000), "engine.toml", "no TOML reader", "digits"),
]  # fmt: skip


def refuse(path: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        load_engine(path)
    error = caught.value
    for part in (error.what, error.where, error.got, error.allowed, error.fix):
        assert part.strip()
    assert "\n" not in error.what
    assert path.name in error.where
    return error


@pytest.mark.parametrize(("text", "where", "got", "fix"), [b[1:] for b in BAD],
                         ids=[b[0] for b in BAD])  # fmt: skip
def test_bad_text(text: str, where: str, got: str, fix: str, tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(text, encoding="utf-8")
    error = refuse(path)
    assert where in error.where
    assert got in error.got
    assert fix in error.fix
    assert len(str(error)) < 2000, "the first fault, not a dump"


def test_a_truth_value_is_asked_for_in_plain_words(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(GOOD + '[weather]\none_session = "yes"\n', encoding="utf-8")
    assert refuse(path).allowed == "true or false, without quotes"


def test_other_faults_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(GOOD.replace("2.99", "1998").replace("6", "0"), encoding="utf-8")
    assert "(1 more below it)" in refuse(path).what


def test_allowed_names_the_choices(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(GOOD.replace("compression", "diesel"), encoding="utf-8")
    assert refuse(path).allowed == "'compression' or 'spark'"
    path.write_text(GOOD + "displacment = 3\n", encoding="utf-8")
    assert "displacement_l, cylinders" in refuse(path).allowed


def test_missing_file(tmp_path: Path) -> None:
    error = refuse(tmp_path / "engine.toml")
    assert error.what == "setup file cannot be read"
    assert "No such file" in error.got
    assert "airsense new engine" in error.fix


def test_folder(tmp_path: Path) -> None:
    folder = tmp_path / "engine.toml"
    folder.mkdir()
    assert "directory" in refuse(folder).got


@pytest.mark.parametrize("data", [b"\xff\xfe\x00[engine]", b"PK\x03\x04\x80\x81", b"[engine]\xa0"])
def test_binary(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_bytes(data)
    error = refuse(path)
    assert "UTF-8" in error.what
    assert "byte" in error.where
    assert f"0x{next(b for b in data if b > 0x7F):02x}" in error.got


def test_null_bytes(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_bytes(GOOD.encode() + b"\x00")
    assert "line 5" in refuse(path).where


def test_huge(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text("# " + "x" * 1_000_001, encoding="utf-8")
    error = refuse(path)
    assert "too large" in error.what
    assert "1 MB" in error.allowed
    path.write_text(GOOD + "# " + "x" * 900_000, encoding="utf-8")
    assert load_engine(path).engine.cylinders == 6


def test_missing_table_of_breathing(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(GOOD + 'volumetric_efficiency = "ve.csv"\n', encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_engine(path)
    assert "ve.csv" in str(caught.value)


def test_defaults_of_a_bare_setup(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text("\ufeff" + GOOD, encoding="utf-8")  # a byte-order mark does no harm
    setup = load_engine(path)
    engine = setup.engine
    assert (engine.displacement_l, engine.cylinders, engine.strokes) == (2.99, 6, 4)
    assert engine.displacement_m3 == pytest.approx(2.99e-3)
    assert engine.cycles_per_rev == 0.5
    assert (engine.ignition, engine.induction) == (Ignition.COMPRESSION, Induction.TURBOCHARGED)
    assert engine.volumetric_efficiency is None
    assert setup.fuel.name == ""
    assert setup.charge_temperature.place is None
    assert setup.compressor_map is None
    assert setup.channels == {}
    assert (engine.boost_control, engine.cooler) == (BoostControl.UNKNOWN, "air")
    assert setup.power == DeclaredPower(at=None, corrected=None)
    assert all(v is None for v in setup.weather.before.model_dump().values())
    assert (setup.measured, setup.priors) == ((), {})
    assert all(v is None for v in setup.uncertainty.model_dump().values())


def test_whole_numbers_are_numbers(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(GOOD.replace("2.99", "3") + "volumetric_efficiency = 1\n", encoding="utf-8")
    engine = load_engine(path).engine
    assert engine.displacement_l == 3.0
    assert engine.volumetric_efficiency == 1.0
    assert isinstance(engine.volumetric_efficiency, float)


def test_the_template_loads(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(template_text(Template.ENGINE), encoding="utf-8")
    setup = load_engine(path)
    assert setup.engine.cylinders == 6
    assert setup.fuel.name == "diesel"


def test_every_commented_key_of_the_template_is_allowed(tmp_path: Path) -> None:
    """Each key can be brought to life by taking its hash away."""
    lines, own_fuel = [], False
    for line in template_text(Template.ENGINE).splitlines():
        bare = line.removeprefix("# ")
        is_key = line.startswith("# ") and (" = " in bare or bare.startswith("["))
        own_fuel = own_fuel or "hydrogen_to_carbon" in line
        needs_file = bare.startswith(("[compressor_map]", "file", "reference_", "cooler_drop"))
        known = bare[0:1].islower() or bare.startswith("[")
        lines.append(bare if is_key and not needs_file and known else line)
    path = tmp_path / "engine.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    setup = load_engine(path)
    assert own_fuel
    assert setup.fuel.hydrogen_to_carbon == 1.86
    assert setup.uncertainty.fuel_run == 0.007
    assert setup.intake.bore_after_mm == 78.1
    assert setup.channels["mass_air_flow"] == "Air in (g/s)"
    assert setup.engine.boost_control is BoostControl.UNKNOWN
    assert setup.weather.relative_humidity == 0.45
    assert setup.power == DeclaredPower(at=PowerAt.WHEELS, corrected="no")
    assert setup.measured == (ChargePipePressureTest(configuration="after", result="tight"),)
    assert setup.priors[Cause.LEAK_AFTER_COMPRESSOR].size == 0.03
