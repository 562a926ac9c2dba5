"""Raw request and response text: a time, then the bytes of a J1979 service 01 response.

One exchange a line; the request may stand before the response, a CAN identifier and a length
byte too. All of these are the same sample::

    12.345 41 0C 1A F8
    12.345 01 0C -> 41 0C 1A F8
    12:00:12.345 7E8 04 41 0C 1A F8 00 00 00
    12.345 010C: 410C1AF8

Lines without such a response (comments, "NO DATA", negative responses) are counted.
"""

from __future__ import annotations

import io
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from airsense.errors import InputError
from airsense.logs.clock import CLOCK, Clock, numeric_clock, text_clock
from airsense.logs.container import Content
from airsense.logs.headers import Header
from airsense.logs.obd_pids import Field, decode, pids
from airsense.logs.recognise import Recognition
from airsense.logs.source import Table
from airsense.results import Finding, Severity

# Three days of polling; more is no log of a drive.
MAX_LINES = 5_000_000
_RESPONSE = 0x41
_LINE = re.compile(
    r"\s*(?P<time>\d+(?:\.\d+)?|\d{1,2}:\d\d:\d\d(?:[.,]\d+)?)[\s,;:]+"
    r"(?:(?P<request>(?:[0-9A-Fa-f]{2}\s?)+)\s*(?:->|=>|>|:)\s*)?"
    r"(?:(?P<sender>[0-9A-Fa-f]{3}|18DAF1[0-9A-Fa-f]{2})\s+)?"
    r"(?P<bytes>(?:[0-9A-Fa-f]{2}\s*)+)$"
)


def accepts(head: bytes) -> bool:
    """Whether most lines are a time and a service 01 response."""
    lines = [ln for ln in head.decode("latin-1").splitlines()[:-1] if ln.strip()]
    lines = [ln for ln in lines if not ln.lstrip().startswith(("#", ";"))]
    hits = sum(bool(_records(ln)) for ln in lines)
    return bool(lines) and hits > 0.5 * len(lines)


def open_source(content: Content) -> ObdSource:
    """Decode raw exchange text.

    Raises
    ------
    InputError
        If no line holds a response that is known, or there are too many lines.
    """
    source = ObdSource(content.path)
    with content.opener() as stream:
        text = io.TextIOWrapper(stream, "utf-8-sig", errors="replace")
        for number, line in enumerate(text, start=1):
            if number > MAX_LINES:
                raise _refused(content.path, f"more than {MAX_LINES:,} lines", "split the log")
            source.take(number, line)
    if not source.samples:
        raise _refused(content.path, "no known response", "log service 01, such as 01 0C")
    return source


@dataclass(frozen=True, slots=True)
class _Key:
    """A quantity as one control unit sends it."""

    header: str
    unit: str
    sender: str


@dataclass
class ObdSource:
    """Decoded responses, each quantity with its own times."""

    path: str
    samples: dict[_Key, list[tuple[str, float, int]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    unread: list[int] = field(default_factory=list)

    def take(self, number: int, line: str) -> None:
        """Decode one line; count it where there is nothing to decode."""
        records = _records(line)
        for stamp, sender, quantity, value in records:
            self.samples[_Key(quantity.header, quantity.unit, sender)].append(
                (stamp, value, number)
            )
        if not records and line.strip() and not line.lstrip().startswith(("#", ";")):
            self.unread.append(number)

    @property
    def _keys(self) -> list[_Key]:
        return list(self.samples)

    @property
    def headers(self) -> Sequence[Header]:
        """Return one header a quantity; a second control unit's carry its identifier."""
        senders = Counter(key.sender for key in self._keys)
        main = max(senders, key=lambda s: (senders[s], -int(s or "0", 16)))
        names = {key.header for key in self._keys if key.sender == main}
        return [
            Header(
                key.header
                if key.sender == main or key.header not in names
                else f"{key.header} ({key.sender})",
                key.unit,
            )
            for key in self._keys
        ]

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Return one table a quantity."""
        keys = self._keys
        findings = self._findings()
        tables = []
        for column in recognition.columns:
            stamps, values, lines = zip(*self.samples[keys[column]], strict=True)
            tables.append(
                Table(
                    _clock(stamps, f"{self.path}, line {lines[0]}"),
                    {column: np.array(values, dtype=np.float64)},
                    np.array(lines, dtype=np.int64),
                    findings=findings,
                )
            )
            findings = ()
        return tables

    def close(self) -> None:
        """Do nothing: no file is held open."""

    def _findings(self) -> tuple[Finding, ...]:
        if not self.unread:
            return ()
        return (
            Finding(
                code="lines_without_response",
                severity=Severity.INFO,
                message=f"{len(self.unread)} lines hold no response that is known; left out",
                fix="none needed if the control unit does not support these requests",
                where=f"line {self.unread[0]}",
            ),
        )


def _records(line: str) -> list[tuple[str, str, Field, float]]:
    match = _LINE.fullmatch(line.strip()) if len(line) < 400 else None
    if match is None:
        return []
    data = bytes.fromhex("".join(match["bytes"].split()))
    if match["sender"] and data and 0 < data[0] < len(data):
        data = data[1 : 1 + data[0]]
    if not data or data[0] != _RESPONSE:
        return []
    sender = (match["sender"] or "").upper()
    return [(match["time"], sender, f, value) for f, value in _quantities(data[1:])]


def _quantities(data: bytes) -> Iterator[tuple[Field, float]]:
    """Yield the quantities of all parameters in one response; stop at one that is unknown."""
    while data:
        pid = pids().get(data[0])
        if pid is None:
            return
        yield from decode(pid, data[1 : 1 + pid.size])
        data = data[1 + pid.size :]


def _clock(stamps: Sequence[str], where: str) -> Clock:
    if CLOCK.fullmatch(stamps[0]) and ":" in stamps[0]:
        return text_clock(np.array(stamps, dtype=object), "", where=where)
    return numeric_clock(np.array(stamps, dtype=np.float64), "s")


def _refused(path: str, got: str, fix: str) -> InputError:
    return InputError(
        "raw exchange text cannot be used",
        where=path,
        got=got,
        allowed="lines of a time and a response, such as `12.345 01 0C -> 41 0C 1A F8`",
        fix=fix,
    )
