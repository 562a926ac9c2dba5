"""The plan command: its answer, its JSON, and five-part errors for what it cannot use."""

import json

import pytest
from click.testing import CliRunner

from airsense.cli.plan import command
from airsense.errors import InputError
from airsense.jobs import plan

ENGINE = '[engine]\ndisplacement_l = 3.0\ncylinders = 6\nignition = "compression"\n'
FULL = ("engine_speed", "mass_air_flow", "manifold_pressure", "charge_temperature",
        "fuel_per_stroke", "lambda", "brake_power")  # fmt: skip


@pytest.fixture
def engine_file(tmp_path):
    path = tmp_path / "engine.toml"
    path.write_text(ENGINE, encoding="utf-8")
    return path


def test_json_has_the_guaranteed_keys(engine_file, tmp_path):
    out = tmp_path / "plan.json"
    sensors = [word for name in FULL for word in ("--sensor", name)]
    done = CliRunner().invoke(command, ["--engine", str(engine_file), "--json", str(out), *sensors])
    assert done.exit_code == 0, done.output
    data = json.loads(out.read_text(encoding="utf-8"))
    assert data["schema"] == "airsense.plan/1"
    assert isinstance(data["runs_per_configuration"], int)
    assert 0.0 < data["detectable_change"] <= 0.01
    assert data["budget"]
    assert data["next_measurement"][0]["measurement"]
    assert [r["runs_per_configuration"] for r in data["by_runs"]] == sorted(
        r["runs_per_configuration"] for r in data["by_runs"]
    )


def test_out_of_reach_is_said_and_not_made_up(engine_file):
    result = plan.run(engine_file, sensors=("engine_speed", "mass_air_flow", "boost_pressure"))
    assert result.runs_per_configuration is None
    assert "No number of runs" in result.sentence
    assert result.detectable_change > 0.01


def test_text_names_order_budget_and_next_measurement(engine_file):
    done = CliRunner().invoke(command, ["--engine", str(engine_file)])
    assert done.exit_code == 0
    for words in ("counterbalanced", "volumetric efficiency", "wide-band lambda", "assumed:"):
        assert words in done.output


def test_a_wish_moves_the_answer(engine_file):
    from airsense.evidence.planning import Wish

    usual = plan.run(engine_file, sensors=FULL, wish=Wish(change=0.015))
    easy = plan.run(engine_file, sensors=FULL, wish=Wish(change=0.03))
    assert easy.runs_per_configuration < usual.runs_per_configuration


@pytest.mark.parametrize(
    ("sensors", "named"),
    [
        (("boots",), "boots"),
        (("engine_speed", "mass_air_flow"), "say nothing"),
        (("engine_speed", "mass_air_flow", "fuel_per_stroke"), "say nothing"),
    ],
)
def test_sensors_that_cannot_do_it_get_a_five_part_error(engine_file, sensors, named):
    with pytest.raises(InputError) as raised:
        plan.run(engine_file, sensors=sensors)
    error = raised.value
    assert named in str(error)
    assert all((error.what, error.where, error.got, error.allowed, error.fix))


def test_a_missing_engine_file_and_log_are_named(engine_file, tmp_path):
    with pytest.raises(InputError, match=r"nowhere\.toml"):
        plan.run(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        plan.run(engine_file, [tmp_path / "nowhere.csv"])


@pytest.mark.parametrize("words", [["--change", "0"], ["--power", "1.2"], ["--quantity", "grunt"]])
def test_wrong_usage_is_exit_2(engine_file, words):
    assert CliRunner().invoke(command, ["--engine", str(engine_file), *words]).exit_code == 2
