"""Writing files: whole or not at all, and never over another without being told to."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from airsense.errors import InputError


def refuse_overwrite(path: str | Path, *, force: bool) -> None:
    """Raise if `path` exists and may not be replaced, or cannot be written where it is wanted.

    Raises
    ------
    InputError
        If the file exists and `force` is false, is a folder, device, pipe or socket, or its
        folder is missing.
    """
    file = Path(path)
    try:
        mode = file.stat().st_mode
    except FileNotFoundError:
        mode = 0
    except OSError as error:  # such as a name that is too long, or a link to itself
        raise _refused_by_system(file, error) from None
    if stat.S_ISDIR(mode):
        raise _error(file, "it is a folder", "a file name", "give a file name inside the folder")
    if mode and not stat.S_ISREG(mode):
        raise _error(
            file,
            "it is a device, pipe or socket",
            "a plain file, or a new file name",
            "give a file name; --json - writes to standard output",
        )
    if not file.absolute().parent.is_dir():
        raise _error(
            file,
            f"the folder {file.parent} does not exist",
            "an existing folder",
            "create it first",
        )
    if (mode or file.is_symlink()) and not force:
        raise _error(
            file, "the file exists", "a new file name", "choose another name, or add --force"
        )


def refuse_clash(outputs: Sequence[Path], others: Iterable[object]) -> None:
    """Raise if two outputs are one file, or an output is one of the `others`.

    Parameters
    ----------
    outputs : sequence of Path
        Files that will be written.
    others : iterable
        What else was named: paths, or sequences of them; anything else is passed over.

    Raises
    ------
    InputError
        Whatever `--force` says: what stands there would be lost.
    """
    named = list(_paths(others))
    for k, out in enumerate(outputs):
        for other in (*outputs[:k], *named):
            if _same_file(out, other):
                raise _error(
                    out,
                    "the same file as another one that this command reads or writes",
                    "a file of its own; --force does not change that",
                    "choose another name",
                )


def refuse_inputs(outputs: Sequence[Path], result: Any) -> None:
    """Raise if an output is a file that the result was made from, named or found by the job.

    Raises
    ------
    InputError
        As `refuse_clash`.
    """
    plain = isinstance(result, dict)
    inputs = result.get("inputs", ()) if plain else getattr(result, "inputs", ())
    found = [Path(i["path"] if plain else i.path) for i in inputs]
    screened = () if plain else getattr(result, "logs", ())
    found += [Path(result.source, row.log) for row in screened if hasattr(row, "log")]
    refuse_clash(outputs, found)


def _paths(values: Iterable[object]) -> Iterator[Path]:
    for value in values:
        if isinstance(value, Path):
            yield value
        elif isinstance(value, tuple | list):
            yield from _paths(value)


def _same_file(a: Path, b: Path) -> bool:
    try:
        if a.exists() and b.exists():
            return a.samefile(b)
        return a.resolve() == b.resolve()
    except (OSError, RuntimeError):  # a name that no file can have, a link to itself
        return a.absolute() == b.absolute()


def write_text(path: str | Path, text: str, *, force: bool = False) -> None:
    """Write a text file atomically: a killed run leaves the old file or none.

    Raises
    ------
    InputError
        As `refuse_overwrite`, or if the disk refuses.
    """
    write_bytes(path, text.encode("utf-8"), force=force)


def write_bytes(path: str | Path, data: bytes, *, force: bool = False) -> None:
    """Write a file atomically; see `write_text`."""
    refuse_overwrite(path, force=force)
    file = Path(path)
    try:
        handle, name = tempfile.mkstemp(dir=file.absolute().parent, prefix=".airsense-")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            temporary.chmod(0o666 & ~_umask())
            temporary.replace(file)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _refused_by_system(file, error) from None


def _refused_by_system(file: Path, error: OSError) -> InputError:
    return _error(
        file,
        error.strerror or type(error).__name__,
        "a name and a place that can be written",
        "check name, rights and space",
    )


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _error(file: Path, got: str, allowed: str, fix: str) -> InputError:
    return InputError(
        "output cannot be written", where=str(file), got=got, allowed=allowed, fix=fix
    )
