"""Files, gzip and zip members as byte streams; archives are bounded and never unpacked to disk."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from airsense.errors import InputError

# A log packs 5 to 40 times; a bomb packs 1000 times (our choice between the two).
MAX_PACKING = 100
MIN_BOMB_BYTES = 20_000_000
MAX_UNPACKED_BYTES = 4_000_000_000
_GZIP = b"\x1f\x8b"
_ZIP = b"PK\x03\x04"
_HEAD_BYTES = 4096


@dataclass(frozen=True)
class Content:
    """The bytes of one log, wherever they lie.

    Attributes
    ----------
    path : str
        For messages; `archive.zip: member.csv` inside an archive.
    opener : callable
        Opens the bytes from the start, as often as needed; errors come as InputError.
    head : bytes
        The first bytes.
    file : Path or None
        The plain file, None inside an archive.
    """

    path: str
    opener: Callable[[], IO[bytes]]
    head: bytes
    file: Path | None


def open_container(path: str | Path) -> Content:
    """Return the log inside a file.

    Raises
    ------
    InputError
        If the file cannot be read, or the archive is damaged, encrypted, holds no or several
        files, or unpacks beyond measure.
    """
    file = Path(path)
    head = _head(file)
    if head.startswith(_GZIP):
        size = file.stat().st_size
        return _content(str(path), lambda: _bounded(gzip.open(file, "rb"), size, str(path)))
    if head.startswith(_ZIP) or head.startswith(b"PK\x05\x06"):
        return _zip_member(file, str(path))
    return Content(str(path), lambda: file.open("rb"), head, file)


def _head(file: Path) -> bytes:
    try:
        if file.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        if not file.is_file():
            raise FileNotFoundError(2, "no such file" if not file.exists() else "no plain file")
        with file.open("rb") as stream:
            return stream.read(_HEAD_BYTES)
    except OSError as error:
        raise InputError(
            "log cannot be read",
            where=str(file),
            got=error.strerror or type(error).__name__,
            allowed="a readable log file",
            fix="check the path and its rights",
        ) from None


def _content(path: str, opener: Callable[[], IO[bytes]]) -> Content:
    with opener() as stream:
        head = stream.read(_HEAD_BYTES)
    return Content(path, opener, head, None)


def _zip_member(file: Path, path: str) -> Content:
    try:
        with zipfile.ZipFile(file) as archive:
            members = [
                m
                for m in archive.infolist()
                if not m.is_dir() and not m.filename.startswith("__MACOSX")
            ]
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise _damaged(path, str(error)) from None
    if len(members) != 1:
        raise InputError(
            "zip does not hold exactly one log",
            where=path,
            got=f"{len(members)} files" + "".join(f", {m.filename[:60]!r}" for m in members[:5]),
            allowed="one file",
            fix="unpack it, and give the logs one by one",
        )
    member = members[0]
    if member.flag_bits & 1:
        raise InputError(
            "zip is encrypted",
            where=path,
            got=f"{member.filename[:60]!r} with a password",
            allowed="a zip without a password",
            fix="unpack it first",
        )

    def opener() -> IO[bytes]:
        try:
            archive = zipfile.ZipFile(file)  # closed with its only member
            stream = archive.open(member)
        except (zipfile.BadZipFile, OSError, NotImplementedError, RuntimeError) as error:
            raise _damaged(path, str(error)) from None
        return _bounded(stream, member.compress_size, path)

    return _content(f"{path}: {member.filename[:80]}", opener)


class _Bounded(io.RawIOBase):
    """An unpacking stream that stops at a bomb and turns damage into InputError."""

    def __init__(self, stream: IO[bytes] | gzip.GzipFile, packed: int, path: str) -> None:
        super().__init__()
        self._stream = stream
        self._allowed = min(max(packed * MAX_PACKING, MIN_BOMB_BYTES), MAX_UNPACKED_BYTES)
        self._path = path
        self._seen = 0

    def readable(self) -> bool:
        """Return that this can be read."""
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        """Unpack into `buffer`, within the bound."""
        try:
            data = self._stream.read(len(buffer))
        except (EOFError, OSError, zlib.error, zipfile.BadZipFile) as error:
            raise _damaged(self._path, str(error) or type(error).__name__) from None
        self._seen += len(data)
        if self._seen > self._allowed:
            raise InputError(
                "archive unpacks beyond measure",
                where=self._path,
                got=f"more than {self._allowed / 1e6:.0f} MB unpacked",
                allowed=f"at most {MAX_PACKING} times the packed size",
                fix="unpack it yourself if you trust it, and give the log",
            )
        buffer[: len(data)] = data
        return len(data)

    def close(self) -> None:
        """Close the archive too."""
        self._stream.close()
        super().close()


def _bounded(stream: IO[bytes] | gzip.GzipFile, packed: int, path: str) -> IO[bytes]:
    return io.BufferedReader(_Bounded(stream, packed, path), 1 << 17)


def _damaged(path: str, got: str) -> InputError:
    return InputError(
        "archive is damaged",
        where=path,
        got=got[:160],
        allowed="a whole gzip or zip file",
        fix="copy or pack it again",
    )


def digest(path: str | Path) -> str:
    """Return the SHA-256 of a file as it lies on the disk."""
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
