"""Read one log file: the way in for everything that works on logs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

from airsense.logs.assemble import assemble
from airsense.logs.container import digest, open_container
from airsense.logs.log import Log
from airsense.logs.recognise import recognise
from airsense.logs.registry import open_source


def read_log(path: str | Path, *, channels: Mapping[str, str | Sequence[str]] | None = None) -> Log:
    """Read a log file into SI channels, each on its own time base.

    Parameters
    ----------
    path : str or Path
        A log in any format of `airsense.logs.registry`, plain, gzipped or alone in a zip.
    channels : mapping, optional
        Canonical name -> header, where recognition needs help; a unit may stand in brackets
        behind the header.

    Returns
    -------
    Log
        Time starts at 0 s at the first row. What was left out or assumed is in `findings`.

    Raises
    ------
    InputError
        If the file holds no log, or a needed channel is ambiguous or lacks a unit.
    """
    where = str(path)
    content = open_container(path)
    with ThreadPoolExecutor(1) as beside:
        sha256 = beside.submit(digest, path)
        reader, source = open_source(content)
        with closing(source):
            recognition = recognise(source.headers, channels, where=where)
            tables = source.load(recognition)
            headers = source.headers
    assembly = assemble(tables, recognition, where=where)
    used = set(assembly.columns)
    if recognition.time is not None:
        used.add(recognition.time.column)
    return Log(
        path=where,
        reader=reader,
        sha256=sha256.result(),
        channels=assembly.channels,
        ignored=tuple(h.text for i, h in enumerate(headers) if h.text and i not in used),
        findings=assembly.findings,
        started=next((t.clock.started for t in tables if t.clock.started), None),
    )
