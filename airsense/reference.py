"""Where the reference tables lie: inside a wheel, or beside the package in a checkout."""

from __future__ import annotations

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
