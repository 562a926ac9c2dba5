"""Logs as they are given: files, or a folder for all logs that lie directly in it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from airsense.errors import InputError
from airsense.jobs.screening.files import LOG_SUFFIXES, MOST_NAMES


def log_files(given: Iterable[Path], *, where: str) -> tuple[Path, ...]:
    """Return the files that are meant: a file as it is, of a folder the logs directly in it.

    The logs of a folder come by name, `run_2` before `run_10`. `where` is the option or argument
    that they were given to, for messages.

    Raises
    ------
    InputError
        If a folder cannot be listed, or no log lies directly in it.
    """
    return tuple(
        file for path in given for file in (_logs_in(path, where) if path.is_dir() else (path,))
    )


def _logs_in(folder: Path, where: str) -> list[Path]:
    place = f"{where}: {folder}"
    try:
        inside = [p for p in folder.iterdir() if not p.name.startswith(".")]
    except OSError as error:
        raise InputError(
            "folder cannot be listed",
            where=place,
            got=error.strerror or type(error).__name__,
            allowed="a folder that you may read",
            fix="check the path and its rights",
        ) from None
    logs = [p for p in inside if p.suffix.lower() in LOG_SUFFIXES and p.is_file()]
    if not logs:
        raise InputError(
            "folder holds no log",
            where=place,
            got=_listed(inside),
            allowed="files directly in the folder that end in " + " ".join(sorted(LOG_SUFFIXES)),
            fix="give the folder that the logs of this configuration lie in, or the logs",
        )
    return sorted(logs, key=_by_number)


def _listed(inside: list[Path]) -> str:
    names = [p.name + ("/" if p.is_dir() else "") for p in sorted(inside)]
    if not names:
        return "an empty folder"
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more


def _by_number(path: Path) -> list[tuple[int, str]]:
    """Return a key that sorts numbers in a name by value."""
    parts = re.findall(r"\d+|\D+", path.name.casefold())
    return [(int(p), "") if p.isdecimal() else (-1, p) for p in parts]
