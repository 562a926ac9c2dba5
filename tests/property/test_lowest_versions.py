"""The versions that CI tries as the lowest are the lowest that are declared."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).casefold()


def number(version: str) -> tuple[int, ...]:
    """Return a version without trailing zeros."""
    parts = [int(part) for part in version.split(".")]
    while parts and parts[-1] == 0:
        parts.pop()
    return tuple(parts)


def test_each_lower_bound_is_tried() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    declared = dict(line.split(">=") for line in project["dependencies"])
    lines = (ROOT / ".ci" / "lowest.txt").read_text("utf-8").splitlines()
    tried = dict(line.split("==") for line in lines if line and not line.startswith("#"))
    known = {plain(name): number(version) for name, version in tried.items()}
    for name, version in declared.items():
        assert known[plain(name)] == number(version), name
