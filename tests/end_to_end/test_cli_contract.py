"""The command line: exit codes, JSON keys of the contract, files, errors without a traceback.

Errors run as a program of its own, so that an escaping traceback would be seen.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from airsense.cli.check import command as check_command
from airsense.cli.common import VERDICTS
from airsense.cli.main import cli, main
from airsense.errors import InputError
from airsense.evidence.level import CheckVerdict
from airsense.evidence.verdict import Verdict
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.demo import engine_toml
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.writing import write_csv

COMMANDS = (
    "audit", "channels", "check", "compare", "demo", "new", "plan", "report", "rescale", "screen",
    "tube",
)  # fmt: skip
# The contract: guaranteed keys (more may be added).
COMPARE_KEYS = {
    "schema", "window", "pairs", "logs", "priors", "findings", "assumptions", "cautions",
    "boost_control", "power_corrections",
}  # fmt: skip
PAIR_KEYS = {
    "intake", "tune", "baseline", "question", "verdict", "reading_cause", "sentence",
    "airflow_change_indicated", "airflow_change", "airflow_change_weather",
    "airflow_change_demand", "airflow_change_feedback", "airflow_change_intake",
    "indicated_surplus", "sensor_skew", "brake_power_change", "fuel_change", "estimates", "causes",
    "by_speed", "next_measurement",
}  # fmt: skip
CHECK_KEYS = {
    "schema", "verdict", "sensor_error", "estimates", "causes", "findings", "channels",
}  # fmt: skip


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with engine.toml and two logs a side, sensor +8 % and nothing else."""
    folder = tmp_path_factory.mktemp("shop")
    (campaign,) = simulate_campaigns(TURBO_DIESEL, [Case(n_before=2, n_after=2, skew=0.08)], 3)
    for part, logs in (("before", campaign.before), ("after", campaign.after)):
        for log in logs:
            write_csv(log, folder / part)
    (folder / "engine.toml").write_text(engine_toml(TURBO_DIESEL), encoding="utf-8")
    return folder


def logs(shop: Path, part: str) -> list[str]:
    return sorted(str(p) for p in (shop / part).iterdir())


def compare_args(shop: Path) -> list[str]:
    args = ["compare", "--engine", str(shop / "engine.toml")]
    for part in ("before", "after"):
        for path in logs(shop, part):
            args += [f"--{part}", path]
    return args


def check_args(shop: Path) -> list[str]:
    return ["check", *logs(shop, "before"), "--engine", str(shop / "engine.toml")]


def program(*args: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run airsense as a program."""
    done = subprocess.run(
        [sys.executable, "-c", "from airsense.cli.main import main; main()", *args],
        capture_output=True, text=True, timeout=120, cwd=cwd, check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "200"},
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    assert "Traceback" not in done.stdout
    return done


def inside(*args: str) -> tuple[int, str]:
    """Run a command in this process."""
    done = CliRunner().invoke(cli, list(args))
    if done.exception is not None and not isinstance(done.exception, SystemExit | InputError):
        raise done.exception
    return done.exit_code, done.output


# --- answers ---------------------------------------------------------------------------------


def interval(value: object) -> None:
    assert isinstance(value, dict)
    assert set(value) == {"value", "low", "high"}
    assert value["low"] <= value["value"] <= value["high"]


def test_compare_writes_the_contract(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "compare.json"
    code, text = inside(*compare_args(shop), "--json", str(out))
    assert code == 0, text
    result = json.loads(out.read_text(encoding="utf-8"))
    assert set(result) >= COMPARE_KEYS
    assert result["schema"] == "airsense.compare/2"
    low, high = result["window"]["engine_speed_rpm"]
    assert 1000.0 < low < high < 6000.0
    (pair,) = result["pairs"]
    assert set(pair) >= PAIR_KEYS
    assert pair["verdict"] in VERDICTS
    for name in (
        "airflow_change_indicated", "airflow_change", "airflow_change_weather",
        "airflow_change_demand", "airflow_change_feedback", "airflow_change_intake",
        "indicated_surplus", "sensor_skew", "fuel_change",
    ):  # fmt: skip
        interval(pair[name])
    assert set(pair["next_measurement"]) >= {"key", "cost", "measurement", "reason", "toml"}
    for log in result["logs"]:
        assert set(log) >= {"path", "role", "used", "segments", "odd", "weather"}
        for stretch in log["segments"]:
            assert set(stretch) >= {"kind", "start_s", "stop_s", "used", "reason"}
    for row in result["priors"]:
        assert set(row) >= {"cause", "probability", "size", "unit", "source"}
    assert pair["sensor_skew"]["low"] < 0.08 < pair["sensor_skew"]["high"]
    for row in pair["estimates"]:
        assert set(row) >= {"method", "change", "used", "reason"}
    for row in pair["causes"]:
        assert set(row) >= {"cause", "probability", "not_separable_from"}
    assert pair["causes"][0]["cause"] == "sensor_scale"
    assert len(result["cautions"]) >= 4
    assert any("dynamometer" in c for c in result["cautions"])
    words = text.replace("\n", " ")
    assert "sensor" in words
    assert re.search(r"[+-]\d+\.\d %", words)


def test_check_writes_the_contract(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "check.json"
    code, text = inside(*check_args(shop), "--json", str(out))
    assert code == 0, text
    result = json.loads(out.read_text(encoding="utf-8"))
    assert set(result) >= CHECK_KEYS
    assert result["schema"] == "airsense.check/1"
    assert result["verdict"] in {v.value for v in CheckVerdict}
    interval(result["sensor_error"])
    assert {"engine_speed", "mass_air_flow"} <= {c["name"] for c in result["channels"]}
    for finding in result["findings"]:
        assert set(finding) >= {"code", "severity", "message", "fix"}
    for row in result["estimates"]:
        assert set(row) >= {"method", "used", "reason"}


def test_numbers_in_json_are_finite_or_null(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "c.json"
    inside(*compare_args(shop), "--json", str(out), "--quiet")
    text = out.read_text(encoding="utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text
    json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))


def test_window_and_margin_are_kept(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "c.json"
    code, text = inside(
        *compare_args(shop), "--rpm", "2200:3000", "--margin", "2.5", "--json", str(out)
    )
    assert code == 0, text
    result = json.loads(out.read_text(encoding="utf-8"))
    assert result["window"]["engine_speed_rpm"] == pytest.approx([2200.0, 3000.0])
    assert result["margin"] == pytest.approx(0.025)
    assert all(2200 <= r["engine_speed_rpm"] <= 3000 for r in result["pairs"][0]["by_speed"])


def test_quiet_prints_nothing_and_still_writes(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "c.json"
    code, text = inside(*check_args(shop), "--quiet", "--json", str(out))
    assert (code, text) == (0, "")
    assert json.loads(out.read_text(encoding="utf-8"))["schema"] == "airsense.check/1"


# --- files -----------------------------------------------------------------------------------


def test_nothing_is_overwritten_without_force(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "c.json"
    out.write_text("mine", encoding="utf-8")
    done = program(*check_args(shop), "--json", str(out))
    assert done.returncode == 1
    assert "the file exists" in done.stderr
    assert "--force" in done.stderr
    assert out.read_text(encoding="utf-8") == "mine"
    assert done.stdout == "", "refused before the work"
    code, _ = inside(*check_args(shop), "--json", str(out), "--force", "--quiet")
    assert code == 0
    assert json.loads(out.read_text(encoding="utf-8"))["schema"] == "airsense.check/1"


def test_files_appear_whole(shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure in the middle leaves the old file, and no rest of the new one."""
    out = tmp_path / "c.json"
    out.write_text("mine", encoding="utf-8")

    def broken(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", broken)
    done = CliRunner().invoke(cli, [*check_args(shop), "--json", str(out), "--force", "--quiet"])
    assert isinstance(done.exception, InputError)
    assert "No space left" in str(done.exception)
    assert out.read_text(encoding="utf-8") == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["c.json"]


def test_output_into_a_missing_folder(shop: Path, tmp_path: Path) -> None:
    done = program(*check_args(shop), "--json", str(tmp_path / "no" / "c.json"))
    assert done.returncode == 1
    assert "does not exist" in done.stderr


# --- exit codes ------------------------------------------------------------------------------


def test_condition_that_is_met_exits_3(shop: Path) -> None:
    code, text = inside(*compare_args(shop), "--fail-on", "reading_only", "--fail-on", "no_change")
    assert code == 3
    assert text, "the answer is still shown"
    assert inside(*compare_args(shop), "--fail-on", "gain_supported")[0] == 0
    assert inside(
        *check_args(shop), *(a for v in CheckVerdict for a in ("--fail-on", v.value))
    )[0] == 3  # fmt: skip
    assert program(*compare_args(shop), "--fail-on", "reading_only").returncode == 3


@pytest.mark.parametrize(
    "args",
    [
        ("no-such-command",),
        ("check",),
        ("compare",),
        ("compare", "--before", "a.csv"),
        ("compare", "c.toml", "--engine", "e.toml"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--rpm", "fast"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--rpm", "3000:2000"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--rpm", "0:2000"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--rpm", "2000:inf"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--rpm", "2000"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--margin", "0"),
        ("compare", "--engine", "e.toml", "--before", "a", "--after", "b", "--fail-on", "skewed"),
        ("check", "a.csv", "--engine", "e.toml", "--fail-on", "sensor_skew"),
        ("check", "a.csv", "--engine", "e.toml", "--units", "imperial"),
        ("check", "a.csv", "--engine", "e.toml", "--no-such-option"),
        ("new", "car"),
        ("demo", "--out"),
    ],
)
def test_wrong_usage_exits_2(args: tuple[str, ...]) -> None:
    code, text = inside(*args)
    assert code == 2
    assert "Usage:" in text or "Error" in text


def test_wrong_usage_of_the_program_exits_2() -> None:
    done = program("compare", "--rpm", "fast")
    assert done.returncode == 2
    assert "Usage:" in done.stderr


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("engine.toml", "no.toml"), "setup file cannot be read"),
        (("before_1.csv", "before_9.csv"), "before_9.csv"),
        (("before_1.csv", "../engine.toml"), "engine.toml"),
    ],
)
def test_bad_input_exits_1_in_five_parts(change: tuple[str, str], words: str, shop: Path) -> None:
    done = program(*(a.replace(*change) for a in check_args(shop)))
    assert done.returncode == 1
    assert done.stderr.startswith("error: ")
    assert words in done.stderr
    for part in ("where: ", "got: ", "allowed: ", "fix: "):
        assert part in done.stderr


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("time,rpm\n", ""),
        ("time (s),engine speed (rpm)\n0,800\n1,900\n2,1000\n", "mass air flow"),
        ("\x00\x01\x02", ""),
    ],
)
def test_a_log_that_is_none_exits_1(text: str, words: str, shop: Path, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    done = program("check", str(path), "--engine", str(shop / "engine.toml"))
    assert done.returncode == 1
    assert words in done.stderr
    assert "bad.csv" in done.stderr


def test_a_window_that_no_run_covers_exits_1(shop: Path) -> None:
    code, _ = inside(*check_args(shop), "--rpm", "9000:9500")
    assert code == 1
    done = program(*check_args(shop), "--rpm", "9000:9500")
    assert "no window of engine speed" in done.stderr


def test_interrupts_are_no_tracebacks(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(**_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(check_command, "callback", interrupted)
    monkeypatch.setattr(sys, "argv", ["airsense", "check", "a.csv", "--engine", "e.toml"])
    with pytest.raises(SystemExit) as caught:
        main()
    assert caught.value.code == 130


# --- help, version, templates ----------------------------------------------------------------


def test_help_lists_every_command_and_loads_nothing_heavy() -> None:
    code = (
        "import sys; from airsense.cli.main import main\n"
        "try: main()\n"
        "except SystemExit as e: assert not e.code\n"
        "heavy = {'CoolProp', 'matplotlib', 'pandas', 'scipy', 'pint', 'pydantic', 'rich'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    for args in (["--help"], ["--version"]):
        done = subprocess.run(
            [sys.executable, "-c", code, *args], capture_output=True, text=True, check=True
        )
        assert done.stderr.strip() == "[]"
        if args == ["--help"]:
            for name in COMMANDS:
                assert re.search(rf"^  {name} ", done.stdout, re.MULTILINE)
            assert "certifies nothing" in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_help(name: str) -> None:
    code, text = inside(name, "--help")
    assert code == 0
    assert f"{name} [OPTIONS]" in text


def test_verdict_words_of_the_options_are_those_of_the_evidence() -> None:
    assert set(VERDICTS) == {v.value for v in Verdict}
    option = next(p for p in check_command.params if p.name == "fail_on")
    assert set(option.type.choices) == {v.value for v in CheckVerdict}  # type: ignore[attr-defined]


@pytest.mark.parametrize("kind", ["engine", "campaign", "claims"])
def test_templates(kind: str, tmp_path: Path) -> None:
    code, shown = inside("new", kind)
    assert code == 0
    out = tmp_path / f"{kind}.toml"
    code, text = inside("new", kind, "--out", str(out))
    assert code == 0
    assert str(out) in text.replace("\n", "")
    assert out.read_text(encoding="utf-8") == shown
    done = program("new", kind, "--out", str(out))
    assert done.returncode == 1
    assert "the file exists" in done.stderr
    assert inside("new", kind, "--out", str(out), "--force")[0] == 0


def test_the_template_of_an_engine_checks_a_log(shop: Path, tmp_path: Path) -> None:
    out = tmp_path / "engine.toml"
    assert inside("new", "engine", "--out", str(out))[0] == 0
    code, text = inside("check", *logs(shop, "before"), "--engine", str(out))
    assert code == 0, text
