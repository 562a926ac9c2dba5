"""The reference tables: inside a wheel, or beside the package in a checkout."""

from __future__ import annotations

import csv
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def reference_path(name: str) -> Path:
    """Return the path of a file of `reference_data`.

    Raises
    ------
    FileNotFoundError
        If the installation lacks it: a packaging defect, not a user's fault.
    """
    for folder in (_PACKAGE / "reference_data", _PACKAGE.parent / "reference_data"):
        path = folder / name
        if path.exists():
            return path
    raise FileNotFoundError(f"reference_data/{name} is missing from this installation")


def reference_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table by column; lines that begin with # are its notes.

    Raises
    ------
    FileNotFoundError
        As `reference_path`.
    """
    with reference_path(name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
