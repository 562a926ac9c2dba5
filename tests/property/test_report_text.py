"""Text on a terminal: narrow windows, pipes, no colour when not wanted, markup stays text."""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pytest
from rich.console import Console

from airsense.report.as_json import to_json, to_plain
from airsense.report.text import MOST_LINES, render
from tests.report_results import KINDS, result_of

NARROW = 60
HOSTILE = "[bold red]x[/] [/nonsense] [link=http://example.invalid]y[/link]"


def text_of(result: Any, width: int = 100, *, everything: bool = False, **console: Any) -> str:
    """Return what a result prints."""
    stream = io.StringIO()
    options = {"color_system": None, "highlight": False, **console}
    render(result, Console(file=stream, width=width, **options), everything=everything)
    return stream.getvalue()


@pytest.mark.parametrize("kind", KINDS)
def test_a_narrow_window_loses_nothing(kind: str) -> None:
    number = re.compile(r"[−+-]?\d+\.\d+")
    wide = number.findall(text_of(result_of(kind), 400, everything=True))
    narrow = text_of(result_of(kind), NARROW, everything=True)
    assert len(number.findall(narrow)) >= 0.9 * len(wide)
    assert "…" not in narrow


def test_a_number_that_leads_a_row_keeps_its_unit() -> None:
    said = text_of(result_of("tube"), NARROW, everything=True)
    assert re.search(r"flow, g/s \d", said)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("width", [NARROW, 80])
def test_one_screen_is_enough(kind: str, width: int) -> None:
    lines = text_of(result_of(kind), width).splitlines()
    assert 0 < len(lines) <= MOST_LINES
    assert max(len(line.rstrip()) for line in lines) <= width


@pytest.mark.parametrize("kind", KINDS)
def test_every_caution_is_shown(kind: str) -> None:
    said = " ".join(text_of(result_of(kind), NARROW).split())
    for caution in to_plain(result_of(kind)).get("cautions", ()):
        assert " ".join(caution.split()) in said


@pytest.mark.parametrize("kind", KINDS)
def test_a_pipe_gets_no_escape_codes(kind: str) -> None:
    assert "\x1b" not in text_of(result_of(kind))


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    colours: dict[str, Any] = {"color_system": "truecolor", "force_terminal": True}
    monkeypatch.setenv("NO_COLOR", "1")
    said = text_of(result_of("compare"), **colours)
    assert not re.search(r"\x1b\[[\d;]*3\d", said)
    monkeypatch.delenv("NO_COLOR")
    said = text_of(result_of("compare"), **colours)
    assert re.search(r"\x1b\[[\d;]*3\d", said), "colour where it is wanted"


def hostile(value: Any) -> Any:
    """Return a result whose free texts hold markup of the terminal library."""
    if isinstance(value, dict):
        return {
            k: HOSTILE
            if k in ("sentence", "intake", "message", "log", "label", "note", "path", "reason")
            and isinstance(v, str)
            else hostile(v)
            for k, v in value.items()
        }
    return [hostile(v) for v in value] if isinstance(value, list) else value


@pytest.mark.parametrize("kind", KINDS)
def test_markup_in_names_stays_text(kind: str) -> None:
    said = text_of(hostile(to_plain(result_of(kind))), 400, everything=True)
    assert HOSTILE in said


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("everything", [False, True])
def test_a_result_read_back_gives_the_same_answer(kind: str, everything: bool) -> None:
    again = json.loads(to_json(result_of(kind)))
    said = text_of(again, everything=everything)
    assert said == text_of(result_of(kind), everything=everything)
