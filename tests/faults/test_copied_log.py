"""A log that is given twice is no repeat, and the result says so."""

from __future__ import annotations

import shutil
from pathlib import Path

from airsense.jobs import compare

EXAMPLE = Path(__file__).parents[2] / "examples" / "two_boxes"


def _copies(before: tuple[Path, ...], after: tuple[Path, ...]) -> list[str]:
    result = compare.run(EXAMPLE / "engine.toml", before, after)
    return [f.where for f in result.findings if f.code == "same_content"]


def test_a_log_given_twice_is_named(tmp_path: Path) -> None:
    copy = tmp_path / "again.csv"
    shutil.copy(EXAMPLE / "before_1.csv", copy)

    said = _copies((EXAMPLE / "before_1.csv", copy), (EXAMPLE / "after_1.csv",))

    assert len(said) == 1
    assert "again.csv" in said[0]
    assert "before_1.csv" in said[0]


def test_the_same_log_before_and_after_is_named() -> None:
    one = (EXAMPLE / "before_1.csv",)

    assert len(_copies(one, one)) == 1


def test_different_logs_are_not_called_copies() -> None:
    two = (EXAMPLE / "before_1.csv", EXAMPLE / "before_2.csv")

    assert _copies(two, (EXAMPLE / "after_1.csv",)) == []
