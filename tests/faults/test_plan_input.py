"""The plan command: its answer, its JSON, and five-part errors for what it cannot use."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from airsense.cli.plan import command
from airsense.errors import InputError
from airsense.evidence.planning.resolution import Wish
from airsense.evidence.planning.states import PlannedQuantity
from airsense.jobs import plan

pytestmark = pytest.mark.slow

ENGINE = '[engine]\ndisplacement_l = 3.0\ncylinders = 6\nignition = "compression"\n'
ABSOLUTE = ("engine_speed", "mass_air_flow", "manifold_pressure", "barometric_pressure",
            "charge_temperature", "fuel_per_stroke")  # fmt: skip
FULL = (*ABSOLUTE, "lambda", "brake_power")
POWER = PlannedQuantity.BRAKE_POWER_CHANGE


@pytest.fixture
def engine_file(tmp_path: Path) -> Path:
    path = tmp_path / "engine.toml"
    path.write_text(ENGINE, encoding="utf-8")
    return path


def test_json_has_the_guaranteed_keys(engine_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    sensors = [word for name in FULL for word in ("--sensor", name)]
    words = ["--engine", str(engine_file), "--json", str(out), "--change", "5", *sensors]
    done = CliRunner().invoke(command, words)
    assert done.exit_code == 0, done.output
    data = json.loads(out.read_text(encoding="utf-8"))
    assert data["schema"] == "airsense.plan/1"
    assert isinstance(data["runs_per_configuration"], int)
    assert 0.0 < data["detectable_change"] <= 0.05
    assert data["budget"]
    assert data["wish"]["change"] == pytest.approx(0.05)
    runs = [r["runs_per_configuration"] for r in data["by_runs"]]
    assert runs == sorted(runs)
    assert "counterbalanced" in data["run_orders"][0]["name"]


def test_no_number_of_pulls_is_said_with_the_measurement_that_is_lacking(
    engine_file: Path, tmp_path: Path
) -> None:
    out = tmp_path / "plan.json"
    sensors = [word for name in ABSOLUTE for word in ("--sensor", name)]
    words = ["--engine", str(engine_file), "--quantity", "indicated_surplus", "--change", "5"]
    done = CliRunner().invoke(command, [*words, "--json", str(out), *sensors])
    assert done.exit_code == 0, done.output
    data = json.loads(out.read_text(encoding="utf-8"))
    assert data["runs_per_configuration"] is None
    assert "No number of pulls" in data["sentence"]
    assert "without this: five seconds with the ignition on" in data["sentence"]
    first, *_ = data["next_measurement"]
    assert (first["key"], first["cost"]) == ("still_seconds", "free")
    assert first["runs_per_configuration"] is not None
    # With those seconds planned a few pulls do.
    result = plan.run(
        engine_file,
        sensors=ABSOLUTE,
        still=True,
        quantity=PlannedQuantity.INDICATED_SURPLUS,
        wish=Wish(change=0.05),
    )
    assert result.runs_per_configuration is not None
    assert result.detectable_change <= 0.05


def test_a_larger_wish_needs_no_more_runs(engine_file: Path) -> None:
    small, large = (
        plan.run(engine_file, sensors=FULL, quantity=POWER, wish=Wish(change=c))
        for c in (0.02, 0.04)
    )
    assert small.runs_per_configuration is not None
    assert large.runs_per_configuration is not None
    assert large.runs_per_configuration < small.runs_per_configuration
    assert small.detectable_change <= 0.02


@pytest.mark.parametrize("change", ["0.01", "0.0999"])
def test_a_fraction_for_percent_is_refused_with_the_reason(engine_file: Path, change: str) -> None:
    with pytest.raises(InputError, match="percent") as raised:
        CliRunner().invoke(
            command, ["--engine", str(engine_file), "--change", change], catch_exceptions=False
        )
    assert all(part in str(raised.value) for part in ("--change", "0.1 %", "1 means 1 %"))


@pytest.mark.parametrize(
    ("sensors", "named"),
    [
        (("boots",), "boots"),
        (("engine_speed", "mass_air_flow"), "say nothing"),
        (("engine_speed", "mass_air_flow", "fuel_per_stroke"), "say nothing"),
    ],
)
def test_sensors_that_cannot_do_it_get_a_five_part_error(
    engine_file: Path, sensors: tuple[str, ...], named: str
) -> None:
    with pytest.raises(InputError) as raised:
        plan.run(engine_file, sensors=sensors)
    error = raised.value
    assert named in str(error)
    assert all((error.what, error.where, error.got, error.allowed, error.fix))


def test_a_missing_engine_file_and_log_are_named(engine_file: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nowhere\.toml"):
        plan.run(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match=r"nowhere\.csv"):
        plan.run(engine_file, [tmp_path / "nowhere.csv"])


@pytest.mark.parametrize(
    "words", [["--change", "0"], ["--change", "x"], ["--power", "1.2"], ["--quantity", "grunt"]]
)
def test_wrong_usage_is_exit_2(engine_file: Path, words: list[str]) -> None:
    assert CliRunner().invoke(command, ["--engine", str(engine_file), *words]).exit_code == 2
