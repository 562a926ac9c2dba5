"""The progress bar: late, on a terminal's standard error only, and gone afterwards."""

from __future__ import annotations

import pytest

from airsense.cli import progress
from airsense.cli.progress import Bar


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Return the time that the bar sees; a test moves it."""
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def work(clock: list[float], *, seconds: float, quiet: bool = False) -> None:
    with Bar("logs", quiet=quiet) as bar:
        bar(0, 10)
        clock[0] = seconds
        for done in range(1, 11):
            bar(done, 10)


def test_on_a_terminal_it_shows_done_of_total(
    clock: list[float], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    work(clock, seconds=1.5)
    shown = capsys.readouterr()
    assert "logs" in shown.err
    assert "10/10" in shown.err
    assert shown.out == ""


@pytest.mark.parametrize(("seconds", "quiet"), [(0.9, False), (1.5, True)])
def test_short_or_quiet_work_shows_none(
    clock: list[float],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    seconds: float,
    quiet: bool,
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    work(clock, seconds=seconds, quiet=quiet)
    assert capsys.readouterr() == ("", "")


def test_a_pipe_sees_none(clock: list[float], capsys: pytest.CaptureFixture[str]) -> None:
    work(clock, seconds=1.5)
    assert capsys.readouterr() == ("", "")
