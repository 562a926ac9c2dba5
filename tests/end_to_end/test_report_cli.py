"""The command line around pages and figures."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.report.as_json import to_json
from airsense.report.html import render_page
from tests.report_results import result_of

pytestmark = pytest.mark.slow


def run(*arguments: str | Path) -> Result:
    """Run the command line in this process."""
    return CliRunner().invoke(cli, [str(a) for a in arguments])


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """Return a saved comparison."""
    file = tmp_path / "result.json"
    file.write_text(to_json(result_of("compare")), encoding="utf-8")
    return file


def test_report_makes_the_same_page_again(saved: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    found = run("report", saved, "--report", page)
    assert found.exit_code == 0, found.output
    assert page.read_text(encoding="utf-8") == render_page(result_of("compare"))
    assert result_of("compare").pairs[0].sentence[:40] in found.output


def test_report_writes_the_same_json_again(saved: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.json"
    assert run("report", saved, "--json", again, "-q").exit_code == 0
    assert again.read_bytes() == saved.read_bytes()


def test_quiet_says_nothing(saved: Path) -> None:
    assert run("report", saved, "--quiet").output == ""


def test_units_reach_the_page(saved: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    run("report", saved, "--report", page, "--units", "us", "-q")
    assert "lb/min" in page.read_text(encoding="utf-8")


def test_figures_are_written_and_the_same_each_time(saved: Path, tmp_path: Path) -> None:
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        formats = ("--figure-format", "svg", "--figure-format", "png", "--figure-format", "pdf")
        assert run("report", saved, "--figures", folder, *formats, "-q").exit_code == 0
    first, second = (sorted(f.iterdir()) for f in folders)
    assert [f.name for f in first] == [f.name for f in second]
    assert {f.suffix for f in first} == {".svg", ".png", ".pdf"} and len(first) >= 18
    for one, two in zip(first, second, strict=True):
        assert one.read_bytes() == two.read_bytes(), one.name
    starts = {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}
    for file in first:
        assert file.read_bytes().startswith(starts[file.suffix])


def test_figures_do_not_replace_files_unasked(saved: Path, tmp_path: Path) -> None:
    folder = tmp_path / "figures"
    assert run("report", saved, "--figures", folder, "-q").exit_code == 0
    before = {f: f.stat().st_mtime_ns for f in folder.iterdir()}
    found = run("report", saved, "--figures", folder, "-q")
    assert isinstance(found.exception, InputError)
    assert before == {f: f.stat().st_mtime_ns for f in folder.iterdir()}
    assert run("report", saved, "--figures", folder, "-q", "--force").exit_code == 0


def test_a_file_in_place_of_the_folder_is_refused(saved: Path) -> None:
    found = run("report", saved, "--figures", saved, "-q")
    assert isinstance(found.exception, InputError)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"\xff\xfe\x00",
        b"[]",
        b'{"schema": "airsense.compare/1"}',
        b'{"schema": "airsense.compare/1", "pairs": NaN}',
        b"[" * 100_000,
        b'{"schema": "airsense.unknown/1"}',
    ],
)
def test_a_bad_result_gets_five_parts_and_no_traceback(content: bytes, tmp_path: Path) -> None:
    file = tmp_path / "bad.json"
    file.write_bytes(content)
    found = run("report", file)
    assert isinstance(found.exception, InputError)
    error = found.exception
    assert all((error.what, error.where, error.got, error.allowed, error.fix))


def test_a_missing_result_is_named(tmp_path: Path) -> None:
    found = run("report", tmp_path / "none.json")
    assert isinstance(found.exception, InputError)
    assert "none.json" in found.exception.where


def test_a_result_with_more_keys_than_ours_is_shown(saved: Path, tmp_path: Path) -> None:
    plain = json.loads(saved.read_text(encoding="utf-8"))
    plain["added_later"] = {"x": [1, 2, 3]}
    saved.write_text(json.dumps(plain), encoding="utf-8")
    page = tmp_path / "page.html"
    assert run("report", saved, "--report", page, "-q").exit_code == 0
    assert "added_later" in page.read_text(encoding="utf-8"), "it stays in the embedded result"


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("pairs",), []),
        (("pairs", 0, "by_speed"), []),
        (("pairs", 0, "causes"), []),
        (("curves", "repeats"), []),
        (("pairs", 0, "airflow_change", "value"), 1e300),
        (("window", "engine_speed_rpm"), [None, None]),
        (("pairs", 0, "by_speed", 0, "airflow_change_indicated"), None),
    ],
)
def test_an_odd_result_is_shown_or_refused_but_never_a_traceback(
    saved: Path, tmp_path: Path, path: tuple[str | int, ...], value: object
) -> None:
    plain = json.loads(saved.read_text(encoding="utf-8"))
    at = plain
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    saved.write_text(json.dumps(plain), encoding="utf-8")
    found = run("report", saved, "--report", tmp_path / "page.html")
    assert found.exception is None or isinstance(found.exception, InputError)


@pytest.mark.parametrize("name", ["\x00", "\x07bell", "\ufffe", "line\nline"])
def test_control_characters_in_names_break_no_page(saved: Path, tmp_path: Path, name: str) -> None:
    plain = json.loads(saved.read_text(encoding="utf-8"))
    plain["engine"] = name
    for item in (*plain["curves"]["flows"], *plain["curves"]["repeats"]):
        item["configuration"] += name
    saved.write_text(json.dumps(plain), encoding="utf-8")
    page = tmp_path / "page.html"
    assert run("report", saved, "--report", page, "-q").exit_code == 0
    assert "\x00" not in page.read_text(encoding="utf-8")


def test_half_a_character_is_refused(saved: Path) -> None:
    text = saved.read_text(encoding="utf-8").replace('"before"', '"\\ud800"', 1)
    saved.write_text(text, encoding="utf-8")
    assert isinstance(run("report", saved).exception, InputError)
