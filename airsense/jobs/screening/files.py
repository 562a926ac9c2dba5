"""The logs of a folder on this machine, or of a remote one that fsspec can list."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path, PurePosixPath
from typing import Any

from airsense.errors import InputError

LOG_SUFFIXES = frozenset(
    {".csv", ".tsv", ".txt", ".log", ".gz", ".zip", ".parquet", ".mf4", ".mdf", ".dat"}
)
# As many as a message holds.
MOST_NAMES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundLog:
    """A log: its path below the folder, and where its bytes lie.

    `filesystem` is that of fsspec, None for a file of this machine.
    """

    name: str
    place: str
    vehicle: str
    filesystem: Any = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """The logs of a folder, by name, and the files that are none by their name.

    `shared` says whether other processes see the files too: what lies in memory they do not.
    """

    logs: tuple[FoundLog, ...]
    left_out: tuple[str, ...]
    shared: bool = True


def find_logs(source: str, patterns: Sequence[str] = (), vehicle: str | None = None) -> Listing:
    """List the logs of a folder and the folders below it.

    Parameters
    ----------
    source : str
        A folder, or a URL that fsspec understands.
    patterns : sequence of str
        Which files are logs, as `*.csv`; by their ending if none is given.
    vehicle : str, optional
        Regular expression, searched in the path below the folder: its first group, or else the
        match, names the vehicle. By default that is the first folder of the path.

    Raises
    ------
    InputError
        If the folder cannot be listed, or holds no log.
    """
    filesystem, places = _remote(source) if "://" in source else (None, _local(source))
    pattern = _compiled(vehicle)
    logs, left_out = [], []
    for name in sorted(places):
        if _is_log(name, patterns):
            logs.append(
                FoundLog(
                    name=name,
                    place=places[name],
                    vehicle=_vehicle_of(name, pattern),
                    filesystem=filesystem,
                )
            )
        else:
            left_out.append(name)
    if not logs:
        raise _no_logs(source, left_out, patterns)
    shared = filesystem is None or "memory" not in _protocols(filesystem)
    return Listing(logs=tuple(logs), left_out=tuple(left_out), shared=shared)


def _local(source: str) -> dict[str, str]:
    folder = Path(source)
    if not folder.is_dir():
        got = "a file" if folder.exists() else "no such folder"
        raise _unlistable(source, got)
    places = {}
    for parent, folders, names in os.walk(folder, onerror=_raise):
        folders[:] = [f for f in folders if not f.startswith(".")]
        for name in names:
            path = Path(parent, name)
            if not name.startswith(".") and path.is_file():
                places[_shown(path.relative_to(folder).as_posix())] = str(path.absolute())
    return places


def _raise(error: OSError) -> None:
    raise _unlistable(str(error.filename), error.strerror or type(error).__name__)


def _remote(source: str) -> tuple[Any, dict[str, str]]:
    import fsspec

    try:
        filesystem, root = fsspec.core.url_to_fs(source)
        found = filesystem.find(root)
        if not filesystem.isdir(root):
            raise FileNotFoundError(2, "no such folder")
    except Exception as error:  # each kind of storage has errors of its own
        raise _unlistable(source, f"{type(error).__name__}: {error}"[:160]) from None
    names = {_shown(place.removeprefix(root).lstrip("/")): place for place in found}
    hidden = [name for name in names if any(part.startswith(".") for part in name.split("/"))]
    return filesystem, {name: place for name, place in names.items() if name not in hidden}


def _shown(name: str) -> str:
    """Return a name that any terminal, table and JSON file can hold; names come from strangers."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)


def _protocols(filesystem: Any) -> tuple[str, ...]:
    protocol = filesystem.protocol
    return (protocol,) if isinstance(protocol, str) else tuple(protocol)


def _is_log(name: str, patterns: Sequence[str]) -> bool:
    if patterns:
        return any(fnmatch(name, p) or fnmatch(PurePosixPath(name).name, p) for p in patterns)
    return PurePosixPath(name).suffix.lower() in LOG_SUFFIXES


def _compiled(vehicle: str | None) -> re.Pattern[str] | None:
    if vehicle is None:
        return None
    try:
        return re.compile(vehicle)
    except re.error as error:
        raise InputError(
            "pattern for the vehicle cannot be used",
            where="--vehicle",
            got=f"{vehicle!r}: {error}"[:160],
            allowed="a regular expression; its first group names the vehicle",
            fix=r"write one such as '(bus-\d+)'",
        ) from None


def _vehicle_of(name: str, pattern: re.Pattern[str] | None) -> str:
    if pattern is None:
        folder, slash, _ = name.partition("/")
        return folder if slash else ""
    match = pattern.search(name)
    if match is None:
        return ""
    return (match.group(1) if pattern.groups else match.group()) or ""


@contextmanager
def local_copy(place: str, filesystem: Any) -> Iterator[Path]:
    """Yield a file of this machine with the bytes of a log; a remote one is fetched for the while.

    Raises
    ------
    InputError
        If a remote log cannot be fetched.
    """
    if filesystem is None:
        yield Path(place)
        return
    # Only the ending is kept, so that no remote name becomes a local path.
    with tempfile.TemporaryDirectory(prefix="airsense-") as folder:
        copy = Path(folder, "log" + PurePosixPath(place).suffix)
        try:
            with filesystem.open(place, "rb") as stream, copy.open("wb") as out:
                shutil.copyfileobj(stream, out, 1 << 20)
        except Exception as error:  # each kind of storage has errors of its own
            raise InputError(
                "log cannot be fetched",
                where=place,
                got=f"{type(error).__name__}: {error}"[:160],
                allowed="a log that this storage hands over",
                fix="check rights and connection, then run the screen again",
            ) from None
        yield copy


def _unlistable(source: str, got: str) -> InputError:
    return InputError(
        "folder of logs cannot be listed",
        where=source,
        got=got,
        allowed="a folder, or a URL that fsspec understands, such as s3://bucket/logs",
        fix="check the path, its rights, and for a URL that the library for its storage is "
        "installed",
    )


def _no_logs(source: str, left_out: Sequence[str], patterns: Sequence[str]) -> InputError:
    shown = ", ".join(left_out[:MOST_NAMES])
    return InputError(
        "folder holds no log",
        where=source,
        got=f"{len(left_out)} other files" + (f": {shown}"[:200] if shown else ""),
        allowed=" ".join(patterns)
        if patterns
        else "files ending in " + " ".join(sorted(LOG_SUFFIXES)),
        fix="give the folder of the logs, or --pattern '*.ext' for another ending",
    )
