"""Parquet logs, read by pyarrow (extra `parquet`): only the columns that are needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO, Any

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.clock import Clock, numeric_clock, text_clock, unroll_midnight
from airsense.logs.container import Content
from airsense.logs.headers import Header, repair_text
from airsense.logs.recognise import Match, Recognition
from airsense.logs.source import MAX_CELLS, Table, missing_library, no_time, too_large


def accepts(head: bytes) -> bool:
    """Whether the file starts as Parquet does."""
    return head.startswith(b"PAR1")


def open_source(content: Content) -> ParquetSource:
    """Read the schema.

    Raises
    ------
    InputError
        If pyarrow is missing or the file is damaged.
    """
    try:
        from pyarrow import parquet
    except ImportError:
        raise missing_library(content.path, "Parquet", "pyarrow", "parquet") from None
    stream = content.opener()
    try:
        file = parquet.ParquetFile(stream)
        schema = file.schema_arrow
    except Exception as error:  # pyarrow raises errors of many kinds on damaged files
        stream.close()
        raise _damaged(content.path, error) from None
    headers = tuple(Header(repair_text(f.name), repair_text(_unit(f.metadata))) for f in schema)
    return ParquetSource(content.path, stream, file, headers)


def _unit(metadata: Any) -> str:
    raw = (metadata or {}).get(b"unit", b"")
    return str(raw.decode("utf-8", errors="replace"))


@dataclass(frozen=True)
class ParquetSource:
    """An opened Parquet file."""

    path: str
    stream: IO[bytes]
    file: Any
    headers: Sequence[Header]

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Read the recognised columns."""
        time = recognition.time
        if time is None:
            raise no_time(self.path, self.headers)
        rows = int(self.file.metadata.num_rows)
        if rows * (len(recognition.columns) + 1) > MAX_CELLS:
            raise too_large(self.path, rows)
        names = [field.name for field in self.file.schema_arrow]
        values = {c: self._numbers(names[c]) for c in recognition.columns}
        return [
            Table(
                self._clock(names[time.column], time),
                values,
                np.arange(1, rows + 1, dtype=np.int64),
                place="row",
            )
        ]

    def close(self) -> None:
        """Let go of the file."""
        self.file.close()
        self.stream.close()

    def _column(self, name: str) -> Any:
        try:
            return self.file.read(columns=[name], use_threads=True).column(0).combine_chunks()
        except Exception as error:  # pyarrow raises errors of many kinds on damaged files
            raise _damaged(f"{self.path}, column {name!r}", error) from None

    def _numbers(self, name: str) -> FloatArray:
        """Return a column as numbers; one of another kind is all NaN, and named as empty."""
        import pyarrow as pa

        column = self._column(name)
        try:
            cast = column.cast(pa.float64(), safe=False)
        except pa.ArrowException:
            return np.full(len(column), np.nan)
        return np.asarray(cast.to_numpy(zero_copy_only=False), dtype=np.float64)

    def _clock(self, name: str, time: Match) -> Clock:
        import pyarrow as pa

        column = self._column(name)
        kind = column.type
        where = f"{self.path}, column {time.header!r}"
        if pa.types.is_temporal(kind) and not pa.types.is_date(kind):
            return _temporal_clock(column)
        if pa.types.is_integer(kind) or pa.types.is_floating(kind):
            return numeric_clock(self._numbers(name), time.unit)
        return text_clock(np.array(column.to_pylist(), dtype=object), time.unit, where=where)


def _temporal_clock(column: Any) -> Clock:
    import pyarrow as pa
    from pyarrow import compute

    stamped = pa.types.is_timestamp(column.type)
    filled = column.drop_null()
    if not len(filled):
        return Clock(np.full(len(column), np.nan), str(column.type))
    ticks = column.cast(pa.int32() if column.type.bit_width == 32 else pa.int64())
    # Whole ticks are subtracted first: a double cannot hold nanoseconds since 1970.
    since = compute.subtract_checked(ticks, ticks.drop_null()[0])
    per_second = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}[column.type.unit]
    seconds = np.asarray(since.to_numpy(zero_copy_only=False), dtype=np.float64) / per_second
    if pa.types.is_time(column.type):
        seconds = unroll_midnight(seconds)
    return Clock(seconds, str(column.type), started=str(filled[0]) if stamped else None)


def _damaged(where: str, error: Exception) -> InputError:
    return InputError(
        "Parquet file cannot be read",
        where=where,
        got=(str(error).splitlines() or [type(error).__name__])[0][:160],
        allowed="a whole Parquet file",
        fix="write the file again, or export CSV",
    )
