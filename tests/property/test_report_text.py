"""Text on a terminal: narrow windows, pipes, no colour when not wanted, markup stays text."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from rich.console import Console

from airsense.report import text_report
from airsense.report.as_json import to_plain
from airsense.report.node import Node
from tests.report_results import KINDS, result_of

NARROW = 60
# These work from the plain view too, so that hostile names can be put in.
FROM_PLAIN = ("check", "compare", "screen")
HOSTILE = "[bold red]x[/] [/nonsense] [link=http://example.invalid]y[/link]"


def text_of(kind: str, result: Any, width: int = 100, **console: Any) -> str:
    """Return what a kind of result prints."""
    import importlib

    stream = io.StringIO()
    module = importlib.import_module(f"airsense.report.text_{kind}")
    options = {"color_system": None, "highlight": False, **console}
    module.render(result, Console(file=stream, width=width, **options), None)
    return stream.getvalue()


@pytest.mark.parametrize("kind", KINDS)
def test_a_narrow_window_loses_nothing(kind: str) -> None:
    wide = re.findall(r"[−+-]?\d+\.\d+", text_of(kind, result_of(kind), 400))
    narrow = re.findall(r"[−+-]?\d+\.\d+", text_of(kind, result_of(kind), NARROW).replace("\n", ""))
    assert len(narrow) >= 0.9 * len(wide)
    assert "…" not in text_of(kind, result_of(kind), NARROW)


@pytest.mark.parametrize("kind", FROM_PLAIN)
def test_lines_fit_a_narrow_window(kind: str) -> None:
    for line in text_of(kind, result_of(kind), NARROW).splitlines():
        assert len(line.rstrip()) <= NARROW


@pytest.mark.parametrize("kind", KINDS)
def test_a_pipe_gets_no_escape_codes(kind: str) -> None:
    assert "\x1b" not in text_of(kind, result_of(kind))


def test_no_color_is_respected(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    said = text_of("compare", result_of("compare"), color_system="truecolor", force_terminal=True)
    assert not re.search(r"\x1b\[[\d;]*3\d", said)
    monkeypatch.delenv("NO_COLOR")
    said = text_of("compare", result_of("compare"), color_system="truecolor", force_terminal=True)
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


@pytest.mark.parametrize("kind", FROM_PLAIN)
def test_markup_in_names_stays_text(kind: str) -> None:
    said = text_of(kind, Node(hostile(to_plain(result_of(kind)))), 400)
    assert HOSTILE in said


@pytest.mark.parametrize("kind", KINDS)
def test_a_result_read_back_gives_the_same_answer(kind: str) -> None:
    stream = io.StringIO()
    plain = to_plain(result_of(kind))
    text_report.render(plain, Console(file=stream, width=400, color_system=None), None)
    said = stream.getvalue()
    if kind == "audit":
        assert all(v["sentence"] in said for v in plain["verdicts"])
    elif kind in ("compare", "demo"):
        assert plain.get("compare", plain)["pairs"][0]["sentence"] in said
    elif kind != "channels":
        assert plain["sentence"] in said
