"""Reading an input whole: a plain file of bounded size, and nothing that waits or never ends."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

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
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, NOT_PLAIN, str(path))
        data = stream.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise OSError(errno.EFBIG, f"more than {most_bytes} bytes", str(path))
    return data
