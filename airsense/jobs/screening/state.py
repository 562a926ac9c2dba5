"""What a screen has finished, kept line by line so that a killed run goes on where it stopped."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import airsense
from airsense.errors import InputError
from airsense.jobs.screening.result import ScreenRow
from airsense.reading import MOST_RESULT_BYTES, read_bounded
from airsense.report.as_json import to_plain
from airsense.results import InputFile

if TYPE_CHECKING:
    from pydantic import TypeAdapter

SCHEMA = "airsense.screen-state/1"
# What a row holds of a log; a change of it makes earlier rows stale.
ROW = "row/2"


def fingerprint(inputs: Sequence[InputFile], rpm: tuple[float, float] | None) -> str:
    """Return the digest of all that an answer hangs on beside the log itself."""
    text = " ".join((airsense.__version__, ROW, repr(rpm), *(file.sha256 for file in inputs)))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


class State:
    """Rows that were finished before, by name, and a place to add to them.

    Each row is one line, appended by one write: a killed run leaves whole lines and at most one
    torn one, which is passed over, so that its log is done again. Each line carries its checksum.
    """

    def __init__(self, path: Path | None, key: str) -> None:
        self._path = path
        self._key = key
        self.rows: dict[str, ScreenRow] = {}
        self._file: int | None = None
        if path is not None:
            self._open(path)

    def add(self, row: ScreenRow) -> None:
        """Keep a finished row."""
        if self._file is not None and row.finished:
            told = {"key": self._key, "row": to_plain(row)}
            self._append({**told, "sha256": _checksum(told)})

    def close(self) -> None:
        """Let go of the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _open(self, path: Path) -> None:
        try:
            text = read_bounded(path, MOST_RESULT_BYTES) if path.exists() else b""
            if text:
                self._read(path, text)
            self._file = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
            if not text:
                self._append({"schema": SCHEMA})
            elif not text.endswith(b"\n"):
                os.write(self._file, b"\n")
        except OSError as error:
            raise InputError(
                "state of the screen cannot be kept",
                where=str(path),
                got=error.strerror or type(error).__name__,
                allowed="a file that can be read and written",
                fix="give --state FILE in a folder that you may write to",
            ) from None

    def _read(self, path: Path, text: bytes) -> None:
        lines = text.split(b"\n")
        if _parsed(lines[0]).get("schema") != SCHEMA:
            raise InputError(
                "file is no state of a screen",
                where=f"{path}, line 1",
                got=repr(lines[0][:60]),
                allowed=f'a file that begins with {{"schema": "{SCHEMA}"}}',
                fix="give --state another file: this one is left as it is",
            )
        for line in lines[1:]:
            plain = _parsed(line)
            # A line that was edited is not believed: its log is done again.
            if plain.pop("sha256", "") == _checksum(plain) and plain.get("key") == self._key:
                row = _row_from(plain.get("row"))
                if row is not None:
                    self.rows[row.log] = row

    def _append(self, plain: dict[str, Any]) -> None:
        assert self._file is not None
        line = json.dumps(plain, allow_nan=False) + "\n"
        os.write(self._file, line.encode("utf-8"))


def _checksum(plain: dict[str, Any]) -> str:
    """Return the digest of a line's content, however its keys are ordered."""
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode("utf-8")).hexdigest()


def _parsed(line: bytes) -> dict[str, Any]:
    try:
        plain = json.loads(line)
    except (ValueError, RecursionError):  # a torn or damaged line
        return {}
    return plain if isinstance(plain, dict) else {}


@cache
def _adapter() -> TypeAdapter[ScreenRow]:
    from pydantic import TypeAdapter

    return TypeAdapter(ScreenRow)


def _row_from(plain: Any) -> ScreenRow | None:
    from pydantic import ValidationError

    try:
        return _adapter().validate_python(plain)
    except ValidationError:  # a damaged line: the log is done again
        return None
