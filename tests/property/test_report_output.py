"""Where an answer goes: one screen, everything, or nothing but the JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from airsense.cli.common import VERDICTS
from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.evidence.verdict import Verdict
from airsense.report.as_json import to_json
from airsense.report.text import MOST_LINES
from tests.report_results import COMPARE, PAIR


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    """Return a saved comparison."""
    file = tmp_path / "result.json"
    file.write_text(to_json(COMPARE), encoding="utf-8")
    return file


def run(*arguments: str | Path) -> Result:
    """Run the command line in this process."""
    return CliRunner().invoke(cli, [str(a) for a in arguments])


def test_the_default_is_one_screen(saved: Path) -> None:
    found = run("report", saved)
    assert found.exit_code == 0, found.output
    assert len(found.output.splitlines()) <= MOST_LINES
    assert "PART OF IT IS IN THE READING ONLY" in found.output
    assert PAIR.sentences[1] not in " ".join(found.output.split())


def test_all_prints_everything(saved: Path) -> None:
    found = run("report", saved, "--all")
    assert found.exit_code == 0, found.output
    assert len(found.output.splitlines()) > 2 * MOST_LINES
    assert PAIR.sentences[1] in " ".join(found.output.split())


@pytest.mark.parametrize("extra", [(), ("--all",), ("--quiet",)])
def test_json_on_standard_output_stands_alone(saved: Path, extra: tuple[str, ...]) -> None:
    found = run("report", saved, "--json", "-", *extra)
    assert found.exit_code == 0, found.output
    assert json.loads(found.output) == json.loads(saved.read_text("utf-8"))
    assert not Path("-").exists()


def test_the_page_is_written_beside_the_json(saved: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    found = run("report", saved, "--json", "-", "--report", page)
    assert json.loads(found.output)["schema"] == "airsense.compare/2" and page.exists()


def test_an_older_result_has_to_be_made_again(saved: Path) -> None:
    older = {**json.loads(saved.read_text("utf-8")), "schema": "airsense.compare/1"}
    saved.write_text(json.dumps(older), encoding="utf-8")
    found = run("report", saved)
    assert isinstance(found.exception, InputError)
    assert "made again" in str(found.exception) and str(saved) in str(found.exception)


def test_the_words_of_fail_on_are_those_of_the_verdict() -> None:
    assert set(VERDICTS) == {v.value for v in Verdict}
