"""Files that come with the program: inside a wheel, or beside the package in a checkout."""

from __future__ import annotations

import csv
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def shipped_path(name: str) -> Path:
    """Return the path of a file or folder, such as `reference_data/fuels.csv`.

    Raises
    ------
    FileNotFoundError
        If the installation lacks it: a packaging defect, not a user's fault.
    """
    for folder in (_PACKAGE, _PACKAGE.parent):
        if (folder / name).exists():
            return folder / name
    raise FileNotFoundError(f"{name} is missing from this installation")


def reference_path(name: str) -> Path:
    """Return the path of a file of `reference_data`.

    Raises
    ------
    FileNotFoundError
        As `shipped_path`.
    """
    return shipped_path(f"reference_data/{name}")


def reference_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table by column; lines that begin with # are its notes.

    Raises
    ------
    FileNotFoundError
        As `shipped_path`.
    """
    with reference_path(name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))
