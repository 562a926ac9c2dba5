"""A pandas DataFrame as a log: its columns are headers, a column or its index is the time."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.logs.assemble import assemble
from airsense.logs.clock import Clock, numeric_clock, text_clock
from airsense.logs.headers import Header, repair_text
from airsense.logs.log import Log
from airsense.logs.recognise import Recognition, recognise
from airsense.logs.source import MAX_CELLS, Table, no_time, too_large
from airsense.results import Finding, Severity

if TYPE_CHECKING:
    import pandas as pd

READER = "dataframe"


def log_of_frame(
    frame: pd.DataFrame,
    units: Mapping[str, str] | None = None,
    *,
    channels: Mapping[str, str | Sequence[str]] | None = None,
    name: str = "",
) -> Log:
    """Return the log that a DataFrame holds; see `Log.from_dataframe`."""
    import pandas as pd

    if not isinstance(frame, pd.DataFrame):
        raise InputError(
            "this is no DataFrame",
            where=name or "frame",
            got=type(frame).__name__,
            allowed="a pandas DataFrame with one column a channel",
            fix="build one: pandas.DataFrame({...})",
        )
    where = name or "DataFrame"
    source = FrameSource(where, frame, _headers(frame, dict(units or {}), where))
    recognition = recognise(source.headers, channels, where=where)
    if recognition.time is None and source.index_tells_time:
        source = source.with_index(dict(units or {}))
        recognition = recognise(source.headers, channels, where=where)
    (table,) = source.load(recognition)
    assembly = assemble([table], recognition, where=where)
    sha256 = _digest(table, recognition)
    used = {*assembly.columns} | ({recognition.time.column} if recognition.time else set())
    return Log(
        path=name or f"DataFrame {sha256[:8]}",
        reader=READER,
        sha256=sha256,
        channels=assembly.channels,
        ignored=tuple(h.text for i, h in enumerate(source.headers) if h.text and i not in used),
        findings=assembly.findings,
        started=table.clock.started,
    )


@dataclass(frozen=True)
class FrameSource:
    """A DataFrame with its headers; where `by_index`, the last header is that of its index."""

    where: str
    frame: pd.DataFrame
    headers: tuple[Header, ...]
    by_index: bool = False

    @property
    def index_tells_time(self) -> bool:
        """Whether the index is a clock: of a time type, of fractions, or called time.

        Whole numbers without a name are the numbers of rows.
        """
        import pandas as pd

        index = self.frame.index
        if isinstance(index, pd.MultiIndex | pd.RangeIndex):
            return False
        timed = isinstance(index, pd.DatetimeIndex | pd.TimedeltaIndex)
        if timed or (index.name is None and index.dtype.kind == "f"):
            return True
        named = Header(repair_text(str(index.name or "")))
        return bool(named.text) and recognise([named], None, where=self.where).time is not None

    def with_index(self, units: Mapping[str, str]) -> FrameSource:
        """Return the source with its index as one more column."""
        own = str(self.frame.index.name or "")
        text = repair_text(own)
        plain = Header(text, units.get(own, ""))
        if recognise([plain], None, where=self.where).time is None:
            plain = Header("time", units.get(own, ""))
        return FrameSource(self.where, self.frame, (*self.headers, plain), by_index=True)

    def load(self, recognition: Recognition) -> Sequence[Table]:
        """Return the recognised columns."""
        time = recognition.time
        if time is None:
            raise _no_time(self)
        rows = len(self.frame)
        if rows * (len(recognition.columns) + 1) > MAX_CELLS:
            raise too_large(self.where, rows)
        findings: list[Finding] = []
        clock = _clock(
            self._column(time.column), time.unit, f"{self.where}, column {time.header!r}"
        )
        columns = {
            c: _numbers(self._column(c), self.headers[c].text, findings)
            for c in recognition.columns
        }
        return [
            Table(
                clock,
                columns,
                np.arange(rows, dtype=np.int64),
                place="row",
                findings=tuple(findings),
            )
        ]

    def _column(self, number: int) -> pd.Series[Any]:
        if self.by_index and number == len(self.headers) - 1:
            return self.frame.index.to_series().reset_index(drop=True)
        return self.frame.iloc[:, number].reset_index(drop=True)


def _headers(frame: pd.DataFrame, units: Mapping[str, str], where: str) -> tuple[Header, ...]:
    if frame.empty:
        raise InputError(
            "the DataFrame is empty",
            where=where,
            got=f"{frame.shape[0]} rows, {frame.shape[1]} columns",
            allowed="a row a sample, a column a channel",
            fix="look at what the frame was read or filtered from",
        )
    names = [str(c) for c in frame.columns]
    unknown = [u for u in units if u not in names and u != frame.index.name]
    if unknown:
        raise InputError(
            "units are given for a column that there is not",
            where=f"{where}, units",
            got=repr(unknown[0]),
            allowed=", ".join(map(repr, names)),
            fix="give the unit under the column's own name",
        )
    return tuple(Header(repair_text(n), repair_text(units.get(n, ""))) for n in names)


def _no_time(source: FrameSource) -> InputError:
    error = no_time(source.where, source.headers)
    index = type(source.frame.index).__name__
    return InputError(
        error.what,
        where=error.where,
        got=f"columns {error.got}; as index a {index}",
        allowed=f"{error.allowed}; or such an index",
        fix='name a column "time", or set it as the index: frame.set_index("…")',
    )


def _clock(series: pd.Series[Any], unit: str, where: str) -> Clock:
    import pandas as pd

    kind = series.dtype
    if isinstance(kind, pd.DatetimeTZDtype) or kind.kind == "M":
        stamps = series.dropna()
        if stamps.empty:
            return Clock(np.full(len(series), np.nan), "date and time")
        first = stamps.iloc[0]
        seconds = (series - first).dt.total_seconds().to_numpy(np.float64, na_value=np.nan)
        return Clock(seconds, "date and time", started=first.isoformat())
    if kind.kind == "m":
        seconds = series.dt.total_seconds().to_numpy(np.float64, na_value=np.nan)
        return Clock(seconds, "duration")
    if kind.kind in "fiu":
        return numeric_clock(series.to_numpy(np.float64, na_value=np.nan), unit)
    cells = [c if isinstance(c, str) or pd.isna(c) else str(c) for c in series]
    return text_clock(np.array(cells, dtype=object), unit, where=where)


def _numbers(series: pd.Series[Any], header: str, findings: list[Finding]) -> FloatArray:
    """Return a column as numbers; text becomes NaN and is counted."""
    import pandas as pd

    if series.dtype.kind in "fiub":
        return series.to_numpy(np.float64, na_value=np.nan)
    numbers = pd.to_numeric(series.astype("object"), errors="coerce").to_numpy(
        np.float64, na_value=np.nan
    )
    lost = np.nonzero(np.isnan(numbers) & series.notna().to_numpy(bool))[0]
    if lost.size:
        findings.append(
            Finding(
                code="unreadable_cells",
                severity=Severity.INFO,
                message=f"{lost.size} cells of {header!r} are no numbers, the first "
                f"{str(series.iloc[lost[0]])[:30]!r}; left out",
                fix="none needed if these mark missing values",
                where=f"row {int(lost[0])}",
            )
        )
    return np.asarray(numbers, dtype=np.float64)


def _digest(table: Table, recognition: Recognition) -> str:
    """Return a checksum of what was recognised: the same samples give the same one."""
    found = hashlib.sha256(table.clock.time_s.tobytes())
    for name, match in sorted(recognition.matches.items()):
        if match.column in table.columns:
            found.update(f"{name} {match.unit}".encode())
            found.update(np.ascontiguousarray(table.columns[match.column]).tobytes())
    return found.hexdigest()
