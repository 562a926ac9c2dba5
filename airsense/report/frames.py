"""The tables of a result as pandas DataFrames: one row an entry, tidy columns, SI and fractions."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from enum import Enum
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from airsense.errors import InputError
from airsense.results import Interval, Presented

if TYPE_CHECKING:
    import pandas as pd

# The table that is the answer, by kind of result.
MAIN: Mapping[str, str] = MappingProxyType(
    {
        "audit": "verdicts",
        "channels": "channels",
        "check": "estimates",
        "compare": "pairs",
        "demo": "truth",
        "plan": "by_runs",
        "rescale": "cells",
        "screen": "logs",
        "tube": "by_flow",
    }
)
# What tells the rows of an answer apart: carried into the tables that lie inside them.
_KEYS = ("intake", "tune", "baseline", "claim", "vehicle", "log")
_PLAIN = ("str", "float", "int", "bool")


def frame_of(result: Presented, table: str | None = None) -> pd.DataFrame:
    """Return a table of a result; see `Presented.to_frame`."""
    import pandas as pd

    name = table or MAIN[kind_of(result)]
    if name not in tables(result):
        raise InputError(
            "the result has no such table",
            where=f"to_frame of {type(result).__name__}",
            got=repr(name),
            allowed=", ".join(sorted(tables(result))),
            fix="name one of these, or none for the answer itself",
        )
    return pd.DataFrame(list(_rows(result, name)))


def kind_of(result: Any) -> str:
    """Return the kind of a result, such as 'compare'."""
    return str(result.schema).partition("/")[0].removeprefix("airsense.")


def tables(result: Presented) -> frozenset[str]:
    """Return the names of the tables of a result, those inside the rows of its answer too."""
    own = _tables_of(result)
    inner = [_tables_of(row) for row in getattr(result, MAIN[kind_of(result)])[:1]]
    return own.union(*inner)


def _tables_of(value: Any) -> frozenset[str]:
    return frozenset(f.name for f in dataclasses.fields(value) if _is_table(str(f.type)))


def _is_table(kind: str) -> bool:
    """Return whether a field holds rows: a tuple of anything but plain values."""
    inner = kind.removeprefix("tuple[").partition(",")[0].rstrip("]")
    return kind.startswith("tuple[") and inner not in _PLAIN


def _rows(result: Presented, name: str) -> Iterator[dict[str, Any]]:
    if name in _tables_of(result):
        for row in getattr(result, name):
            yield dict(_cells(row))
        return
    for outer in getattr(result, MAIN[kind_of(result)]):
        keys = {key: getattr(outer, key) for key in _KEYS if hasattr(outer, key)}
        for row in getattr(outer, name):
            yield keys | dict(_cells(row))


def _cells(row: Any, prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield column and value: three for an interval; rows inside rows are tables of their own."""
    for field in dataclasses.fields(row):
        name, kind = prefix + field.name.rstrip("_"), str(field.type)
        value = getattr(row, field.name)
        if "Interval" in kind and "tuple[" not in kind:
            of = value or Interval(math.nan, math.nan, math.nan)
            yield from ((name, of.value), (f"{name}_low", of.low), (f"{name}_high", of.high))
        elif kind.startswith("tuple["):
            if not _is_table(kind):
                yield name, ", ".join(value) if kind.startswith("tuple[str") else value
        elif dataclasses.is_dataclass(value):
            yield from _cells(value, f"{name}_")
        else:
            yield name, value.value if isinstance(value, Enum) else value
