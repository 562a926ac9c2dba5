"""The formats that can be read: one module each, one row here.

A reader module has `accepts(head: bytes) -> bool`, which looks at the first bytes, and
`open_source(content: Content) -> Source`. The first that accepts is taken; CSV comes last.
"""

from __future__ import annotations

import importlib
from typing import cast

from airsense.errors import InputError
from airsense.logs.container import Content
from airsense.logs.source import Source

READERS = (
    ("mdf", "airsense.logs.mdf_file"),
    ("parquet", "airsense.logs.parquet_file"),
    ("obd", "airsense.logs.obd_text"),
    ("csv", "airsense.logs.csv_file"),
)


def open_source(content: Content) -> tuple[str, Source]:
    """Return the name of the reader and the opened log.

    Raises
    ------
    InputError
        If no reader can make a log of the bytes.
    """
    for name, module_name in READERS:
        module = importlib.import_module(module_name)
        if module.accepts(content.head):
            return name, cast(Source, module.open_source(content))
    raise InputError(
        "format of the log is unknown",
        where=content.path,
        got=repr(content.head[:16]),
        allowed=", ".join(name for name, _ in READERS),
        fix="export the log as CSV",
    )
