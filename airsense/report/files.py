"""Writing files: whole or not at all, and never over another without being told to."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from airsense.errors import InputError


def refuse_overwrite(path: str | Path, *, force: bool) -> None:
    """Raise if `path` exists and may not be replaced, or cannot be written where it is wanted.

    Raises
    ------
    InputError
        If the file exists and `force` is false, is a folder, or its folder is missing.
    """
    file = Path(path)
    if file.is_dir():
        raise _error(file, "it is a folder", "a file name", "give a file name inside the folder")
    if not file.absolute().parent.is_dir():
        raise _error(
            file,
            f"the folder {file.parent} does not exist",
            "an existing folder",
            "create it first",
        )
    if (file.exists() or file.is_symlink()) and not force:
        raise _error(
            file, "the file exists", "a new file name", "choose another name, or add --force"
        )


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
        handle, name = tempfile.mkstemp(dir=file.absolute().parent, prefix=f".{file.name}.")
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
        raise _error(
            file,
            error.strerror or type(error).__name__,
            "a writable place",
            "check rights and space",
        ) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _error(file: Path, got: str, allowed: str, fix: str) -> InputError:
    return InputError(
        "output cannot be written", where=str(file), got=got, allowed=allowed, fix=fix
    )
