"""Whatever goes into a result is named with its checksum, so that another person can repeat it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

import airsense
from tests.report_results import AFTER, BEFORE, ENGINE, FOLDER, result_of

pytestmark = pytest.mark.slow

FILES = {
    "audit": (FOLDER / "claims.toml",),
    "check": (ENGINE, *BEFORE[:1]),
    "compare": (ENGINE, *BEFORE, *AFTER),
    "plan": (ENGINE, *BEFORE[:2]),
    "rescale": (ENGINE, FOLDER / "maf_table.csv", *BEFORE[:2], *AFTER),
}


@pytest.mark.parametrize(("kind", "files"), FILES.items())
def test_input_files_are_named_with_their_checksum(kind: str, files: tuple[Path, ...]) -> None:
    named = {item.path: item.sha256 for item in result_of(kind).inputs}
    expected = {str(f): hashlib.sha256(f.read_bytes()).hexdigest() for f in files}
    assert named == expected


@pytest.mark.parametrize("kind", [*FILES, "channels", "screen", "tube"])
def test_a_result_names_its_version(kind: str) -> None:
    assert result_of(kind).version == airsense.__version__
