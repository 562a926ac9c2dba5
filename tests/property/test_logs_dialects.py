"""The same drive, written as loggers of many kinds write it, reads as the same log."""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airsense.logs.log import Log
from airsense.logs.read import read_log
from tests.log_writing import Columns, drive, save, text

PREAMBLES = ("", "Logger 7\nSession: 12\n\n", "# comment\n# made, by, hand, today, here, now, x\n")
EXPECTED = {
    "engine_speed": ("Engine RPM [rpm]", 1.0, 0.0),
    "manifold_pressure": ("Intake Manifold Absolute Pressure [kPa]", 1e3, 0.0),
    "mass_air_flow": ("Mass Air Flow [g/s]", 1e-3, 0.0),
    "intake_temperature": ("Intake Air Temperature [degC]", 1.0, 273.15),
    "barometric_pressure": ("Barometric Pressure [kPa]", 1e3, 0.0),
    "lambda": ("Lambda", 1.0, 0.0),
}


def assert_same(log: Log, columns: Columns, first_s: float = 0.0) -> None:
    time = columns["Time [s]"]
    for name, (header, factor, offset) in EXPECTED.items():
        channel = log[name]
        assert np.allclose(channel.value, columns[header] * factor + offset, rtol=1e-9), name
        assert np.allclose(channel.time_s, time - first_s, atol=2e-3), name
    assert set(log.channels) == set(EXPECTED)


MARKS = [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")]


@pytest.mark.parametrize(("delimiter", "decimal"), MARKS)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
def test_delimiter_decimal_mark_and_encoding(
    tmp_path: Path, delimiter: str, decimal: str, encoding: str
) -> None:
    columns = drive(seconds=20.0)
    named = {h.replace("[degC]", "[°C]"): v for h, v in columns.items()}
    path = save(tmp_path / "a.csv", text(named, delimiter=delimiter, decimal=decimal), encoding)
    assert_same(read_log(path), columns)


@pytest.mark.parametrize("preamble", PREAMBLES)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_preamble_and_line_ends(tmp_path: Path, preamble: str, newline: str) -> None:
    columns = drive(seconds=20.0)
    content = text(columns, preamble=preamble.replace("\n", newline), newline=newline)
    assert_same(read_log(save(tmp_path / "a.csv", content)), columns)


UNIT_FORMS = (
    "{n} [{u}]", "{n} ({u})", "{n} {{{u}}}", "{n} <{u}>", "{n}[{u}]", "{n} / {u}", "{n} {u}",
)  # fmt: skip


@pytest.mark.parametrize("form", UNIT_FORMS)
def test_units_in_brackets_of_any_kind(tmp_path: Path, form: str) -> None:
    columns = drive(seconds=20.0)
    renamed = {}
    for header, values in columns.items():
        name, _, unit = header.partition(" [")
        renamed[form.format(n=name, u=unit.rstrip("]")) if unit else name] = values
    assert_same(read_log(save(tmp_path / "a.csv", text(renamed))), columns)


@pytest.mark.parametrize("wrap", ["{}", "[{}]", "({})"])
def test_units_in_a_second_row(tmp_path: Path, wrap: str) -> None:
    columns = drive(seconds=20.0)
    names = {h.partition(" [")[0]: v for h, v in columns.items()}
    units = [h.partition(" [")[2].rstrip("]") for h in columns]
    content = text(names, units=[wrap.format(u) if u else "" for u in units])
    assert_same(read_log(save(tmp_path / "a.csv", content)), columns)


def clock(seconds: float) -> str:
    hours, rest = divmod(round(seconds * 1000) % 86_400_000, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


@pytest.mark.parametrize(
    ("header", "write"),
    [
        ("Time", lambda t: clock(41_000.0 + t)),
        ("Time (hh:mm:ss.fff)", lambda t: clock(41_000.0 + t)),
        ("Time", lambda t: clock(86_390.0 + t)),
        ("timestamp", lambda t: f"2031-03-01T{clock(41_000.0 + t)}"),
        ("timestamp", lambda t: f"2031-03-01 {clock(41_000.0 + t)}+02:00"),
        ("date time", lambda t: f"01.03.2031 {clock(41_000.0 + t)}"),
        ("Time [ms]", lambda t: round(t * 1000)),
        ("Time", lambda t: round(t * 1000)),
        ("time_us", lambda t: round(t * 1e6)),
        ("Time", lambda t: round(t * 1e6)),
        ("Time", lambda t: 1_900_000_000 + t),
        ("elapsed time (min)", lambda t: f"{t / 60.0:.9f}"),
        ("t", lambda t: t),
    ],
)  # fmt: skip
def test_time_in_every_form(tmp_path: Path, header: str, write: object) -> None:
    columns = drive(seconds=40.0)
    times = [write(t) for t in columns["Time [s]"]]  # type: ignore[operator]
    renamed = {header: [f"{t:.3f}" if isinstance(t, float) else t for t in times]}
    renamed |= {h: v for h, v in columns.items() if h != "Time [s]"}
    assert_same(read_log(save(tmp_path / "a.csv", text(renamed))), columns)


def test_a_clock_without_fractions_is_spread_over_its_rows(tmp_path: Path) -> None:
    columns = drive(seconds=40.0)
    renamed: dict[str, object] = {"Time": [clock(float(int(t))) for t in columns["Time [s]"]]}
    renamed |= {h: v for h, v in columns.items() if h != "Time [s]"}
    log = read_log(save(tmp_path / "a.csv", text(renamed)))  # type: ignore[arg-type]
    assert log["engine_speed"].rate_hz == pytest.approx(10.0, rel=0.01)
    assert log["engine_speed"].value.size == columns["Time [s]"].size
    assert "coarse_clock" in [f.code for f in log.findings]


@pytest.mark.parametrize("degree", ["Â°C", "Ã‚Â°C", "�C", "º C", "℃", "deg C", "DegC"])
def test_degree_signs_however_they_were_spoilt(tmp_path: Path, degree: str) -> None:
    columns = drive(seconds=20.0)
    renamed = {h.replace("degC", degree): v for h, v in columns.items()}
    assert_same(read_log(save(tmp_path / "a.csv", text(renamed))), columns)


@pytest.mark.parametrize("word", ["NaN", "-", "N/A", "null", "", "--", "#N/A", "nan"])
def test_words_for_a_missing_value_are_missing_values(tmp_path: Path, word: str) -> None:
    columns = drive(seconds=20.0)
    cells = [word if i % 7 == 3 else f"{v:g}" for i, v in enumerate(columns["Lambda"])]
    log = read_log(save(tmp_path / "a.csv", text(columns | {"Lambda": cells})))  # type: ignore[dict-item]
    kept = np.arange(columns["Lambda"].size) % 7 != 3
    assert np.allclose(log["lambda"].value, columns["Lambda"][kept])
    assert np.allclose(log["lambda"].time_s, columns["Time [s]"][kept])
    assert log["engine_speed"].value.size == kept.size


def test_quoted_fields_trailing_delimiter_and_repeated_header(tmp_path: Path) -> None:
    columns = drive(seconds=20.0)
    lines = text(columns).splitlines()
    quoted = [",".join(f'"{cell}"' for cell in line.split(",")) for line in lines]
    assert_same(read_log(save(tmp_path / "q.csv", "\n".join(quoted))), columns)
    trailing = [line + "," for line in lines]
    assert_same(read_log(save(tmp_path / "t.csv", "\n".join(trailing))), columns)
    data_only = [lines[0], *(line + "," for line in lines[1:])]
    assert_same(read_log(save(tmp_path / "d.csv", "\n".join(data_only))), columns)
    again = [*lines[:50], lines[0], *lines[50:]]
    log = read_log(save(tmp_path / "r.csv", "\n".join(again)))
    assert_same(log, columns)
    assert any(f.code == "time_missing" and f.where == "line 51" for f in log.findings)


def test_gzip_and_zip_members_read_as_the_file_does(tmp_path: Path) -> None:
    columns = drive(seconds=20.0)
    content = text(columns).encode()
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(content))
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../../inner/log.csv", content)
    for name in ("a.csv.gz", "a.zip"):
        assert_same(read_log(tmp_path / name), columns)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv.gz", "a.zip"]


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.sampled_from(MARKS),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    st.sampled_from(PREAMBLES),
    st.sampled_from(["\n", "\r\n"]),
    st.booleans(),
    st.permutations(range(7)),
    st.integers(0, 1000),
)
def test_any_mixture_of_styles_reads_the_same(
    tmp_path: Path,
    marks: tuple[str, str],
    encoding: str,
    preamble: str,
    newline: str,
    unit_row: bool,
    order: list[int],
    seed: int,
) -> None:
    columns = drive(seconds=12.0, seed=seed)
    headers = [list(columns)[i] for i in order]
    names, units = headers, None
    if unit_row:
        names = [h.partition(" [")[0] for h in headers]
        units = [h.partition(" [")[2].rstrip("]") for h in headers]
    content = text(
        {n: columns[h] for n, h in zip(names, headers, strict=True)},
        delimiter=marks[0],
        decimal=marks[1],
        preamble=preamble.replace("\n", newline),
        units=units,
        newline=newline,
    )
    assert_same(read_log(save(tmp_path / "a.csv", content, encoding)), columns)


def test_reading_changes_nothing_and_gives_the_digest_of_the_file(tmp_path: Path) -> None:
    import hashlib

    path = save(tmp_path / "a.csv", text(drive(seconds=5.0)))
    before = path.read_bytes()
    log = read_log(path)
    assert path.read_bytes() == before
    assert log.sha256 == hashlib.sha256(before).hexdigest()
    assert log.reader == "csv"
