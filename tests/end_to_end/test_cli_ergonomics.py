"""How commands take logs and percent, what they print, and help for every option."""

from __future__ import annotations

import importlib
import json
import shutil
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from airsense.cli.common import LogsOption, Percent, _repeated
from airsense.cli.main import _COMMANDS, cli
from airsense.errors import InputError
from airsense.jobs.log_folder import log_files

BOXES = Path(__file__).resolve().parents[2] / "examples" / "two_boxes"
ENGINE = ["--engine", str(BOXES / "engine.toml")]
TABLE = ["--table", str(BOXES / "maf_table.csv")]


def logs(part: str) -> list[str]:
    return sorted(map(str, BOXES.glob(f"{part}_*.csv")))


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with one folder a configuration, other files among the logs."""
    place = tmp_path_factory.mktemp("pulls")
    for part in ("before", "after"):
        (place / part / "deeper").mkdir(parents=True)
        for path in logs(part):
            shutil.copy(path, place / part)
        shutil.copy(path, place / part / "deeper" / "not_this_one.csv")
        (place / part / "notes.md").write_text("windy", encoding="utf-8")
        (place / part / ".hidden.csv").write_text("no log", encoding="utf-8")
    return place


def run(*args: str) -> Result:
    return CliRunner().invoke(cli, list(args))


def answered(*args: str) -> Any:
    """Return what a command wrote to standard output as JSON; nothing else may stand there."""
    name, *others = args
    done = run(name, "--json", "-", *others)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def given(result: Any) -> list[tuple[str, str]]:
    return [(row["role"], Path(row["path"]).name) for row in result["logs"]]


def error_of(*args: str) -> InputError:
    done = run(*args)
    assert isinstance(done.exception, InputError), done.output
    return done.exception


# --- several logs ----------------------------------------------------------------------------


def test_logs_as_a_shell_expands_them(folders: Path) -> None:
    before, after = logs("before"), logs("after")
    want = [("before", Path(p).name) for p in before] + [("after", Path(p).name) for p in after]
    repeated = [a for p in before for a in ("--before", p)] + [
        a for p in after for a in ("--after", p)
    ]
    spellings = (
        ["--before", *before, "--after", *after, *ENGINE],
        [*ENGINE, *repeated],
        [f"--before={before[0]}", *before[1:], *ENGINE, "--after", *after],
        ["--after", after[0], "--before", *before[:2], "--after", *after[1:], *ENGINE, "--before",
         before[2]],
        ["--before", str(folders / "before"), "--after", str(folders / "after"), *ENGINE],
    )  # fmt: skip
    results = [answered("compare", *args) for args in spellings]
    for result in results:
        assert given(result) == want
        assert result["pairs"] == results[0]["pairs"]


@pytest.mark.parametrize(
    ("args", "spread"),
    [
        (["--a", "1", "2", "--b", "3"], ["--a", "1", "--a", "2", "--b", "3"]),
        (["x", "--a", "1", "-q", "y"], ["x", "--a", "1", "-q", "y"]),
        (["--a=1", "2", "--b=3", "4"], ["--a=1", "--a", "2", "--b=3", "4"]),
        (["--a"], ["--a"]),
        (["--a", "--b", "3"], ["--a", "--b", "3"]),
        (["--a", "1", "--", "2", "-3"], ["--a", "1", "--", "2", "-3"]),
        (["--b", "1", "2"], ["--b", "1", "2"]),
        ([], []),
    ],
)
def test_an_option_is_repeated_before_each_value(args: list[str], spread: list[str]) -> None:
    assert list(_repeated(args, {"--a"})) == spread


@pytest.mark.parametrize(
    "args",
    [
        ("compare", "--before", "--after", "a.csv", *ENGINE),
        ("compare", *ENGINE, "--after", "a.csv", "--before"),
        ("plan", *ENGINE, "--log"),
        ("compare", "--before", "a.csv", "--quiet", "b.csv", "--after", "c.csv", *ENGINE),
        ("rescale", "--baseline", "a.csv", "b.csv", *ENGINE, *TABLE),
    ],
)
def test_values_that_are_missing_or_astray_are_wrong_usage(args: tuple[str, ...]) -> None:
    done = run(*args)
    assert done.exit_code == 2
    assert "Usage:" in done.output or "requires an argument" in done.output


def test_positional_logs_stand_ahead_of_those_of_an_option() -> None:
    before, after = logs("before"), logs("after")
    result = answered("rescale", *after, *ENGINE, *TABLE, "--baseline", *before)
    assert (result["runs"], result["baseline_runs"]) == (3, 3)
    last = answered("rescale", *ENGINE, *TABLE, "--baseline", *before, "--", *after)
    assert (last["runs"], last["baseline_runs"]) == (3, 3)
    assert last["cells"] == result["cells"]


def test_a_plan_takes_several_pilot_logs(folders: Path) -> None:
    args = ("plan", *ENGINE, "--quantity", "brake_power_change", "--log")
    of_files = answered(*args, *logs("before")[:2])
    assert [i["role"] for i in of_files["inputs"]] == ["setup", "pilot log", "pilot log"]
    of_folder = answered(*args, str(folders / "before"))
    assert [i["role"] for i in of_folder["inputs"]].count("pilot log") == 3


def test_a_folder_stands_for_its_logs(folders: Path) -> None:
    result = answered("check", str(folders / "before"), *ENGINE)
    assert given(result) == [("log", f"before_{k}.csv") for k in (1, 2, 3)]
    both = answered("check", str(folders / "before"), logs("after")[0], *ENGINE)
    assert [name for _, name in given(both)][-1] == "after_1.csv"


def test_a_folder_comes_in_the_order_of_its_numbers(tmp_path: Path) -> None:
    for name in ("run_10.csv", "run_9.csv", "Run_2.CSV", "a.log.gz", "c.toml", ".x.csv"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    (tmp_path / "folder.csv").mkdir()
    single = tmp_path / "c.toml"
    found = log_files([tmp_path, single], where="--log")
    assert [p.name for p in found] == ["a.log.gz", "Run_2.CSV", "run_9.csv", "run_10.csv", "c.toml"]


@pytest.mark.parametrize(
    ("inside", "got"),
    [
        ((), "an empty folder"),
        (("deeper/a.csv", "engine.toml"), "deeper/, engine.toml"),
        (tuple(f"{k}.jpg" for k in range(8)), "4.jpg and 3 more"),
    ],
)
def test_a_folder_without_logs_says_so(inside: tuple[str, ...], got: str, tmp_path: Path) -> None:
    for name in inside:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("x", encoding="utf-8")
    other = logs("after")
    for args, where in (
        (("compare", "--before", str(tmp_path), "--after", *other, *ENGINE), "--before"),
        (("compare", "--before", *other, "--after", other[0], str(tmp_path), *ENGINE), "--after"),
        (("check", str(tmp_path), *ENGINE), "LOGS"),
        (("rescale", *other, *ENGINE, *TABLE, "--baseline", str(tmp_path)), "--baseline"),
        (("plan", *ENGINE, "--log", str(tmp_path)), "--log"),
    ):
        error = error_of(*args)
        assert error.what == "folder holds no log"
        assert error.where == f"{where}: {tmp_path}"
        assert error.got.endswith(got)
        assert ".csv" in error.allowed
        assert error.fix


# --- one screen -----------------------------------------------------------------------------

PULLS = ["--before", *logs("before"), "--after", *logs("after"), *ENGINE]
COMMANDS = {
    "compare": ["compare", *PULLS],
    "one pull a side": [
        "compare", "--before", logs("before")[0], "--after", logs("after")[0], *ENGINE,
    ],
    "two tunes": ["compare", *PULLS, "--tune-before", "mild", "--tune-after", "keen"],
    "campaign": ["compare", str(BOXES.parent / "campaign_two_boxes.toml")],
    "check": ["check", *logs("before"), *ENGINE],
    "rescale": ["rescale", *logs("after"), *ENGINE, *TABLE, "--baseline", *logs("before")],
    "audit": ["audit", str(BOXES / "claims.toml")],
    "audit of a hill climb": ["audit", str(BOXES.parent / "claims_hill_climb.toml")],
    "audit of a wide mouth": ["audit", str(BOXES.parent / "claims_wide_mouth.toml")],
    "channels": ["channels", logs("before")[0]],
    "plan": ["plan", *ENGINE],
    "plan after a pilot": ["plan", *ENGINE, "--log", *logs("before")[:2]],
    "screen": ["screen", str(BOXES), *ENGINE, "--workers", "1"],
    "tube": ["tube", "--bore-before", "80", "--bore-after", "78.1"],
}  # fmt: skip


@pytest.mark.parametrize("columns", [60, 100])
@pytest.mark.parametrize("args", COMMANDS.values(), ids=COMMANDS)
@pytest.mark.slow
def test_the_answer_is_one_screen_without_a_line_twice(
    args: list[str], columns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # where a screen keeps its state
    done = CliRunner().invoke(cli, args, env={"COLUMNS": str(columns), "NO_COLOR": "1"})
    assert done.exit_code == 0, done.output
    lines = [line.rstrip() for line in done.stdout.splitlines()]
    assert len(lines) <= 40
    assert max(map(len, lines)) <= columns
    said = [line for line in lines if line]
    assert len(said) > 5
    assert {line for line in said if said.count(line) > 1} == set()
    assert "\x1b" not in done.stdout


def test_what_can_be_recognised_is_listed_without_a_log() -> None:
    listed = run("channels", "--all")
    assert listed.exit_code == 0
    for name in ("boost_demand", "wheel_power", "injector_time", "relative_humidity"):
        assert f"{name}: unit" in listed.output
    alone = run("channels")
    assert alone.exit_code == 2
    assert "--all" in alone.output


# --- tunes -----------------------------------------------------------------------------------


def test_two_tunes_of_one_intake() -> None:
    args = ["compare", "--before", *logs("before"), "--after", *logs("after"), *ENGINE]
    (pair,) = answered(*args, "--tune-before", "mild", "--tune-after", "keen")["pairs"]
    assert (pair["question"], pair["tune"]) == ("tune", "keen")
    assert pair["verdict"] in {"tune_gain_supported", "tune_no_gain", "undetermined"}
    (same,) = answered(*args, "--tune-before", "mild", "--tune-after", "mild")["pairs"]
    assert same["question"] == "intake"


@pytest.mark.parametrize(
    "args",
    [
        ("--before", "a", "--after", "b", *ENGINE, "--tune-before", "mild"),
        ("--before", "a", "--after", "b", *ENGINE, "--tune-after", "keen"),
        ("--before", "a", "--after", "b", *ENGINE, "--tune-before", "", "--tune-after", "keen"),
        ("c.toml", "--tune-before", "mild", "--tune-after", "keen"),
    ],
)
def test_tunes_go_together_and_not_with_a_campaign(args: tuple[str, ...]) -> None:
    done = run("compare", *args)
    assert done.exit_code == 2
    assert "tune" in done.output


# --- percent ---------------------------------------------------------------------------------

SPELLINGS = ["2", "2.0", "2%", "2 %", " 2 "]


@pytest.mark.parametrize("text", SPELLINGS)
def test_percent_has_one_spelling_everywhere(text: str) -> None:
    assert Percent().convert(text, None, None) == pytest.approx(0.02)
    result = answered("plan", *ENGINE, "--change", text, "--quantity", "brake_power_change",
                      "--sensor", "brake_power")  # fmt: skip
    assert result["wish"]["change"] == pytest.approx(0.02)


def test_all_options_of_percent_are_of_that_kind() -> None:
    found = {
        (name, option.opts[0]): option
        for name in ("compare", "plan", "rescale")
        for option in command(name).params
        if isinstance(option.type, Percent)
    }
    assert set(found) == {
        ("compare", "--margin"), ("plan", "--change"), ("rescale", "--max-step"),
        ("rescale", "--apply"),
    }  # fmt: skip
    for option in found.values():
        assert "PERCENT" in option.make_metavar(click.Context(command("plan")))


@pytest.mark.parametrize("text", ["two", "", "%", "nan", "inf", "-1", "101", "2%%", "0.02 of 1"])
@pytest.mark.parametrize("option", ["--margin", "--change"])
def test_what_is_no_percent_is_wrong_usage(text: str, option: str) -> None:
    args = {
        "--margin": ["compare", "--before", "a", "--after", "b", *ENGINE],
        "--change": ["plan", *ENGINE],
    }[option]
    done = run(*args, option, text)
    assert done.exit_code == 2
    assert option in done.output


def test_a_fraction_for_a_percent_is_refused_with_the_reason() -> None:
    error = error_of("plan", *ENGINE, "--change", "0.03")
    assert "0.03 %" in error.got
    assert "percent" in error.allowed


def test_a_margin_reaches_the_result() -> None:
    args = ["compare", "--before", *logs("before"), "--after", *logs("after"), *ENGINE]
    assert answered(*args)["margin"] == pytest.approx(0.01)
    assert answered(*args, "--margin", "2.5%")["margin"] == pytest.approx(0.025)


# --- output and help -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "schema"),
    [
        (("audit", str(BOXES / "claims.toml")), "airsense.audit/2"),
        (("channels", str(BOXES / "before_1.csv")), "airsense.channels/1"),
        (("tube", "--bore-before", "80", "--bore-after", "78"), "airsense.tube/1"),
        (("rescale", *logs("after"), *ENGINE, *TABLE), "airsense.rescale/2"),
    ],
)
def test_json_on_standard_output_stands_alone(args: tuple[str, ...], schema: str) -> None:
    result = answered(*args)
    assert result["schema"] == schema
    assert answered(*args, "--quiet") == result
    assert answered(*args, "--all") == result


def test_all_prints_more() -> None:
    args = ("check", *logs("before"), *ENGINE)
    short, full = run(*args).output, run(*args, "--all").output
    assert len(full.splitlines()) > 1.5 * len(short.splitlines())


def command(name: str) -> click.Command:
    found = importlib.import_module(f"airsense.cli.{name}").command
    assert isinstance(found, click.Command)
    return found


@pytest.mark.parametrize("name", _COMMANDS)
def test_every_option_has_help(name: str) -> None:
    shown = run(name, "--help").output
    for option in command(name).params:
        if isinstance(option, click.Option):
            assert option.help, option.opts
            assert len(option.help) > 8, option.opts
            assert option.opts[0] in shown


def test_options_that_take_several_logs_say_so() -> None:
    taking = {
        (name, option.opts[0])
        for name in _COMMANDS
        for option in command(name).params
        if isinstance(option, LogsOption)
    }
    assert taking == {
        ("compare", "--before"), ("compare", "--after"), ("plan", "--log"),
        ("rescale", "--baseline"),
    }  # fmt: skip
    for name, option in taking:
        assert f"{option} LOG..." in run(name, "--help").output


def test_commands_that_answer_share_their_output_options() -> None:
    for name in set(_COMMANDS) - {"new", "serve"}:
        own = {p.opts[0] for p in command(name).params}
        assert {"--json", "--all", "--quiet", "--force", "--units"} <= own, name


def test_the_options_of_python_are_those_of_the_commands() -> None:
    """What one way in can say, the other can, but for files and the terminal."""
    from airsense import api

    for name in ("compare", "check", "plan"):
        options = {p.name for p in command(name).params} - _OF_THE_TERMINAL
        names = set(getattr(api, name).__annotations__) - {"return", "engine"}
        assert options - {"engine_file", "campaign", "tune_before", "tune_after"} == names - {
            "tunes"
        }


_OF_THE_TERMINAL = {
    "json_file", "report_file", "figures", "figure_formats", "units", "everything", "quiet",
    "force", "fail_on", "output",
}  # fmt: skip
