"""Reading an input whole: a plain file of bounded size, and nothing that waits or never ends."""

from __future__ import annotations

import errno
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from airsense.errors import InputError

# What people write by hand or export as a table is a hundredth of this; more is a log.
MOST_INPUT_BYTES = 1_000_000
# A campaign of a hundred runs is below 20 MB, a screen of a hundred thousand logs below 200 MB.
MOST_RESULT_BYTES = 200_000_000
NOT_PLAIN = "it is no plain file (a pipe, device or socket)"


def read_bounded(path: str | Path, most_bytes: int) -> bytes:
    """Return the bytes of a plain file.

    Parameters
    ----------
    path : str or Path
        The file; a link is followed.
    most_bytes : int
        A longer file is refused; one that grows while it is read, too.

    Raises
    ------
    OSError
        If it cannot be opened, is a folder, pipe, device or socket, or is too long; `strerror`
        says it in words.
    """
    # Without waiting: a pipe that nobody writes to would hold the opening up for ever.
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as stream:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            raise OSError(errno.EINVAL, NOT_PLAIN, str(path))
        data = b"" if about.st_size > most_bytes else stream.read(most_bytes + 1)
    if max(about.st_size, len(data)) > most_bytes:
        raise OSError(errno.EFBIG, f"more than {most_bytes} bytes", str(path))
    return data


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a file should be, in the words of its errors: `what` "setup file", `kind` "TOML file".

    `fix` says where a right one comes from, `instead` what to give in place of a far larger file.
    """

    what: str
    kind: str
    fix: str
    instead: str


def read_input(path: str | Path, wanted: Wanted) -> bytes:
    """Return the bytes of what the user named.

    Raises
    ------
    InputError
        If it cannot be opened, is no plain file, or is longer than `MOST_INPUT_BYTES`.
    """
    try:
        return read_bounded(path, MOST_INPUT_BYTES)
    except OSError as error:
        large = error.errno == errno.EFBIG
        raise InputError(
            f"{wanted.what} is far too large" if large else f"{wanted.what} cannot be read",
            where=str(path),
            got=error.strerror or type(error).__name__,
            allowed=f"a readable {wanted.kind}, up to {MOST_INPUT_BYTES // 1_000_000} MB",
            fix=wanted.instead if large else wanted.fix,
        ) from None


def read_text(path: str | Path, wanted: Wanted) -> str:
    """Return the text of what the user named, without a byte-order mark.

    Raises
    ------
    InputError
        As `read_input`, and if it is not UTF-8.
    """
    try:
        return read_input(path, wanted).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{wanted.what} is not text in UTF-8",
            where=f"{path}, byte {error.start}",
            got=f"byte 0x{error.object[error.start]:02x}",
            allowed=f"a {wanted.kind} saved as UTF-8",
            fix="save the file again with UTF-8 encoding",
        ) from None
