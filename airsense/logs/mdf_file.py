"""ASAM MDF measurement files, read by asammdf (extra `mdf`); each channel keeps its own times."""

from __future__ import annotations

import gc
import logging
import sys
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from airsense.errors import InputError
from airsense.logs.clock import Clock
from airsense.logs.container import MAX_PACKING, MIN_BOMB_BYTES, Content
from airsense.logs.headers import Header, repair_text
from airsense.logs.recognise import Recognition
from airsense.logs.source import MAX_CELLS, Table, missing_library, too_large

_MARKS = (b"MDF     ", b"UnFinMF ")


def accepts(head: bytes) -> bool:
    """Whether the file starts as MDF does."""
    return head.startswith(_MARKS)


def open_source(content: Content) -> MdfSource:
    """Read the channel list.

    Raises
    ------
    InputError
        If asammdf is missing, or the file is damaged or lies inside an archive.
    """
    try:
        import asammdf
    except ImportError:
        raise missing_library(content.path, "ASAM MDF", "asammdf", "mdf") from None
    if content.file is None:
        raise _damaged(content.path, "an MDF file inside an archive", fix="unpack it first")
    with _guarded(content.path):
        mdf = asammdf.MDF(content.file)
        places = tuple(_places(mdf))
        headers = tuple(_headers(mdf, places))
    return MdfSource(content.path, mdf, places, headers)


def _places(mdf: Any) -> Iterator[tuple[int, int]]:
    """Yield group and index of every channel but the time masters."""
    for group_index, group in enumerate(mdf.groups):
        master = mdf.masters_db.get(group_index)
        for index in range(len(group.channels)):
            if index != master:
                yield group_index, index


def _headers(mdf: Any, places: Sequence[tuple[int, int]]) -> Iterator[Header]:
    """Yield name and unit; a name that comes again is numbered."""
    seen: Counter[str] = Counter()
    for group, index in places:
        name = repair_text(mdf.groups[group].channels[index].name)
        unit = repair_text(mdf.get_channel_unit(group=group, index=index) or "")
        seen[name] += 1
        yield Header(name if seen[name] == 1 else f"{name} #{seen[name]}", unit)


@dataclass(frozen=True)
class MdfSource:
    """An opened MDF file."""

    path: str
    mdf: Any
    places: Sequence[tuple[int, int]]
    headers: Sequence[Header]

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Read the recognised channels, one table each."""
        with _guarded(self.path):
            self._refuse_beyond_measure({self.places[c][0] for c in recognition.columns})
            started = self.mdf.header.start_time
            return [self._table(c, started.isoformat()) for c in recognition.columns]

    def _refuse_beyond_measure(self, groups: set[int]) -> None:
        """Refuse groups whose stated size no file of this size can hold, before they are read."""
        allowed = max(MAX_PACKING * Path(self.path).stat().st_size, MIN_BOMB_BYTES)
        for number in groups:
            group = self.mdf.groups[number]
            head = group.channel_group
            record = int(head.samples_byte_nr) + int(getattr(head, "invalidation_bytes_nr", 0))
            if int(head.cycles_nr) * record > allowed:
                raise _damaged(self.path, f"group {number} of {head.cycles_nr} x {record} bytes")
            if int(head.cycles_nr) * len(group.channels) > MAX_CELLS:
                raise too_large(self.path, int(head.cycles_nr))

    def close(self) -> None:
        """Let go of the file."""
        self.mdf.close()

    def _table(self, column: int, started: str) -> Table:
        group, index = self.places[column]
        signal = self.mdf.get(group=group, index=index)
        samples = np.asarray(signal.samples)
        if samples.dtype.kind in "biuf" and samples.ndim == 1:
            values = samples.astype(np.float64)
        else:
            values = np.full(len(samples), np.nan)
        times = np.asarray(signal.timestamps, dtype=np.float64)
        return Table(
            Clock(times, "s", started=started),
            {column: values},
            np.arange(1, times.size + 1, dtype=np.int64),
            place="record",
        )


@contextmanager
def _guarded(path: str) -> Iterator[None]:
    """Turn whatever asammdf raises on a damaged file into one error, and keep its log quiet.

    A half-opened file fails once more when it is let go of, which Python would print; so it is
    let go of here, out of earshot.
    """
    logger = logging.getLogger("asammdf")
    level, hook = logger.level, sys.unraisablehook
    logger.setLevel(logging.CRITICAL)
    got: str | None = None
    try:
        yield
    except InputError:
        raise
    except Exception as error:  # a damaged file makes it raise errors of any kind
        got = str(error) or type(error).__name__
        traceback.clear_frames(error.__traceback__)
        sys.unraisablehook = _unheard
        gc.collect()
    finally:
        logger.setLevel(level)
        sys.unraisablehook = hook
    if got is not None:
        raise _damaged(path, got)


def _unheard(_: object) -> None:
    """Take a report about an object that could not be let go of, and say nothing."""


def _damaged(path: str, got: str, fix: str = "write the file again, or export CSV") -> InputError:
    return InputError(
        "MDF file cannot be read",
        where=path,
        got=got.splitlines()[0][:160] if got else "nothing",
        allowed="a whole ASAM MDF file of version 3 or 4",
        fix=fix,
    )
