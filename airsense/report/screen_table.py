"""The rows of a screen as a table for spreadsheets and data frames."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict, dataclass
from typing import Any

from airsense.errors import InputError
from airsense.report.node import Node, node_of

# A cell that begins so is a formula to a spreadsheet, and file names come from strangers.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatRow:
    """One log in one line; fractions are plain, findings as `code x count`."""

    log: str
    vehicle: str
    outcome: str
    suspicion: float | None
    sensor_error: float | None
    sensor_error_low: float | None
    sensor_error_high: float | None
    leading_cause: str
    cause_probability: float | None
    started: str
    dated_by: str
    engine_speed_low_rpm: float | None
    engine_speed_high_rpm: float | None
    reader: str
    findings: int
    finding_codes: str
    problem: str
    where: str
    fix: str
    sha256: str


def flat_rows(result: Any) -> tuple[FlatRow, ...]:
    """Return one flat row a log, in the order of the result."""
    return tuple(_flat(row) for row in node_of(result).logs)


def _flat(row: Node) -> FlatRow:
    error, window, problem = row.sensor_error, row.engine_speed_rpm, row.problem
    findings = row.findings or ()
    return FlatRow(
        log=row.log,
        vehicle=row.vehicle or "",
        outcome=row.outcome,
        suspicion=row.suspicion,
        sensor_error=None if error is None else error.value,
        sensor_error_low=None if error is None else error.low,
        sensor_error_high=None if error is None else error.high,
        leading_cause=row.leading_cause or "",
        cause_probability=row.cause_probability,
        started=row.started or "",
        dated_by=row.dated_by or "",
        engine_speed_low_rpm=None if window is None else window[0],
        engine_speed_high_rpm=None if window is None else window[1],
        reader=row.reader or "",
        findings=sum(f.count for f in findings),
        finding_codes="; ".join(
            f.code if f.count == 1 else f"{f.code} x {f.count}" for f in findings
        ),
        problem="" if problem is None else problem.what,
        where="" if problem is None else problem.where,
        fix="" if problem is None else problem.fix,
        sha256=row.sha256 or "",
    )


def to_csv(result: Any) -> str:
    """Return the rows as CSV; no cell of text starts a formula."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, list(FlatRow.__dataclass_fields__), lineterminator="\n")
    writer.writeheader()
    for row in flat_rows(result):
        writer.writerow({name: _harmless(value) for name, value in asdict(row).items()})
    return stream.getvalue()


def _harmless(value: Any) -> Any:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def to_parquet(result: Any) -> bytes:
    """Return the rows as a Parquet file.

    Raises
    ------
    InputError
        If the library for Parquet is not installed.
    """
    require_parquet()
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {"str": pa.string(), "int": pa.int64(), "float | None": pa.float64()}
    schema = pa.schema(
        [(name, kinds[str(f.type)]) for name, f in FlatRow.__dataclass_fields__.items()]
    )
    table = pa.Table.from_pylist([asdict(row) for row in flat_rows(result)], schema=schema)
    stream = io.BytesIO()
    pq.write_table(table, stream)
    return stream.getvalue()


def require_parquet() -> None:
    """Raise if Parquet cannot be written.

    Raises
    ------
    InputError
        Says what to install.
    """
    from importlib.util import find_spec

    if find_spec("pyarrow") is None:
        raise InputError(
            "writing Parquet needs pyarrow",
            where="--parquet",
            got="pyarrow is not installed",
            allowed="airsense with the extra parquet",
            fix="pip install 'airsense[parquet]', or use --csv",
        )
