"""What a browser sends: counted while it comes in, and put under names that cannot be paths."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.types import Message

from airsense.errors import InputError
from airsense.serve.kinds import Kind

FORM_FILE = "form.toml"
LONGEST_NAME = 60  # letters; of four bytes each they still make a file name
MOST_FILES, MOST_FIELDS = 200, 2000
DRAIN_S = 120.0
_NOT_SAFE = re.compile(r"[^\w.()+ -]")
# Names of devices, whatever the ending, on one family of systems.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What is taken in one go. [bytes]"""

    file_bytes: int = 300_000_000
    total_bytes: int = 1_000_000_000


class TooLargeError(InputError):
    """More was sent than is taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A form that came in: its figures, and its files by tray."""

    fields: Mapping[str, str]
    files: tuple[tuple[str, UploadFile], ...]


def safe_name(name: str) -> str:
    """Return a file name that is no path, hides nothing and can be written anywhere."""
    last = re.split(r"[/\\]", name)[-1]
    plain = _NOT_SAFE.sub("_", last).strip(" .")
    if not plain or _DEVICES.fullmatch(plain):
        plain = f"file_{plain}"
    stem, dot, ending = plain.rpartition(".")
    return plain if len(plain) <= LONGEST_NAME else f"{stem[: LONGEST_NAME - 12]}{dot}{ending[:11]}"


@asynccontextmanager
async def receive_form(request: Request, limits: Limits) -> AsyncIterator[Sent]:
    """Read a form within the limits; its files are closed, and so gone, on leaving.

    Raises
    ------
    TooLargeError
        If it is larger; what is left is read and dropped, else no browser would show the answer.
    InputError
        If it is no form.
    """
    count = _Counted(request, limits.total_bytes)
    counted = Request(request.scope, count)
    try:
        form = await counted.form(max_files=MOST_FILES, max_fields=MOST_FIELDS)
    except HTTPException as error:
        if count.too_large is not None:
            raise count.too_large from None
        raise InputError(
            "what the browser sent cannot be read",
            where="the form",
            got=error.detail,
            allowed=f"a form with at most {MOST_FILES} files",
            fix="go back and send it again, with fewer files",
        ) from None
    try:
        yield _within(form, limits.file_bytes)
    finally:
        await form.close()


def _within(form: FormData, most: int) -> Sent:
    files = [(k, v) for k, v in form.multi_items() if isinstance(v, UploadFile) and v.filename]
    for _, file in files:
        if (file.size or 0) > most:
            raise _too_large(f"{file.filename!r}: {_mb(file.size or 0)}", most)
    fields = {k: v for k, v in form.multi_items() if isinstance(v, str)}
    return Sent(fields=fields, files=tuple(files))


class _Counted:
    """The messages of a request, stopped where they become more than is allowed."""

    def __init__(self, request: Request, most: int) -> None:
        self._receive = request.receive
        self._most = most
        self._seen = 0
        self.too_large: TooLargeError | None = None
        announced = request.headers.get("content-length", "")
        self._announced = int(announced) if announced.isdecimal() else 0

    async def __call__(self) -> Message:
        """Return the next message.

        Raises
        ------
        MultiPartException
            If the request is larger than what is allowed, announced or not: upon it the parser
            closes what it has opened.
        """
        message = await self._receive()
        self._seen += len(message.get("body", b""))
        size = max(self._seen, self._announced)
        if size > self._most:
            await self._drain(message)
            self.too_large = _too_large(f"{_mb(size)} or more in all", self._most)
            raise MultiPartException(str(self.too_large))
        return message

    async def _drain(self, message: Message) -> None:
        until = time.monotonic() + DRAIN_S
        while message.get("more_body") and time.monotonic() < until:
            message = await self._receive()


def store(kind: Kind, folder: Path, sent: Sent) -> None:
    """Put the files that were sent into the folders of their trays, and take out what was ticked.

    Logs come on top of those that lie there; anything else takes the place of what was there.
    """
    for tray in kind.trays:
        there = folder / tray.key
        there.mkdir(exist_ok=True)
        new = [file for key, file in sent.files if key == tray.key]
        for old in there.iterdir():
            if f"remove-{tray.key}-{old.name}" in sent.fields or (new and not tray.logs):
                old.unlink()
        for file in new if tray.many else new[-1:]:
            with _free(there, safe_name(file.filename or "")).open("xb") as out:
                _copy(file.file, out)


def _copy(source: BinaryIO, target: BinaryIO) -> None:
    source.seek(0)
    shutil.copyfileobj(source, target, 1 << 20)


def _free(folder: Path, name: str) -> Path:
    """Return a path in a folder that is not taken, nor kept for the form's own file."""
    path, count = folder / name, 1
    while path.exists() or path.name == FORM_FILE:
        count += 1
        path = folder / f"{Path(name).stem}-{count}{Path(name).suffix}"
    return path


def _too_large(got: str, most: int) -> TooLargeError:
    return TooLargeError(
        "that is more than is taken in one go",
        where="the form",
        got=got,
        allowed=f"at most {_mb(most)}",
        fix="cut the log to the pulls, log fewer channels, or use airsense in a terminal, "
        "which has no such limit",
    )


def _mb(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
