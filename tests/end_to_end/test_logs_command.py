"""`airsense channels`: the table, the JSON, the user's own names, and refusals."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from airsense.cli.main import cli
from tests.log_writing import drive, save, text

ENGINE = """
[engine]
displacement_l = 2.0
cylinders = 4
ignition = "compression"
[channels]
mass_air_flow = "Air in [g/s]"
"""


@pytest.fixture
def log(tmp_path: Path) -> Path:
    columns = {h.replace("Mass Air Flow [g/s]", "Air in"): v for h, v in drive().items()}
    return save(tmp_path / "log.csv", text(columns))


def call(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, ["channels", *map(str, arguments)])


def test_without_help_an_unknown_header_is_ignored_and_shown(log: Path) -> None:
    run = call(log)
    assert run.exit_code == 0
    assert "ignored: Air in" in run.output
    assert "engine_speed" in run.output


def test_the_setup_names_a_channel_and_its_unit(log: Path, tmp_path: Path) -> None:
    engine = save(tmp_path / "engine.toml", ENGINE)
    out = tmp_path / "out.json"
    run = call(log, "--engine", engine, "--json", out, "--all")
    assert run.exit_code == 0
    assert "[channels]" in run.output
    row = next(r for r in json.loads(out.read_text())["channels"] if r["name"] == "mass_air_flow")
    assert row["header"] == "Air in"
    assert row["unit_read"] == "g/s"
    assert row["recognised_by"] == "[channels]"
    assert row["rate_hz"] == pytest.approx(10.0)
    assert row["high"] == pytest.approx(row["high_read"] / 1000.0)
    assert row["resolution_read"] == pytest.approx(0.01)


def test_json_is_not_overwritten_without_force(log: Path, tmp_path: Path) -> None:
    out = save(tmp_path / "out.json", "mine")
    assert call(log, "--json", out).exit_code != 0
    assert out.read_text() == "mine"
    assert call(log, "--json", out, "--force").exit_code == 0
    assert json.loads(out.read_text())["schema"] == "airsense.channels/1"


def test_markup_in_headers_is_shown_as_it_stands(tmp_path: Path) -> None:
    columns = drive() | {"[red]gear[/]": drive()["Lambda"], "[bold": drive()["Lambda"]}
    run = call(save(tmp_path / "log.csv", text(columns)))
    assert run.exit_code == 0
    assert "[red]gear[/]" in run.output
    assert "[bold" in run.output


def test_a_refusal_has_exit_code_1_and_no_traceback(tmp_path: Path) -> None:
    path = save(tmp_path / "log.csv", b"\x89PNG" + bytes(range(256)) * 40)
    code = "from airsense.cli.main import main; main()"
    run = subprocess.run(
        [sys.executable, "-c", code, "channels", str(path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 1
    assert "Traceback" not in run.stderr
    for part in ("where:", "got:", "allowed:", "fix:", str(path)):
        assert part in run.stderr
