"""Short logs of numbers are read without pandas, to the same values; the rest is left to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.logs import csv_file
from airsense.logs.csv_blocks import Job
from airsense.logs.csv_plain import SHORT_CHARS, plain_columns
from airsense.logs.read import read_log

HEADER = ("time (s)", "engine speed (rpm)", "mass air flow (g/s)")
NUMBER = st.one_of(
    st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: f"{x:.6g}"),
    st.floats(0.0, 1e3).map(lambda x: f"{x:.3f}"),
    st.integers(-1000, 9000).map(str),
    st.just(""),
    st.sampled_from(["+3.5", "1e3", "2E-2", ".5", "7.", " 12.5", "-0.0"]),
)


def write(path: Path, rows: list[list[str]], delimiter: str, decimal: str) -> Path:
    lines = [delimiter.join(HEADER)]
    lines += [delimiter.join(c.replace(".", decimal) for c in row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@settings(max_examples=60, deadline=None)
@given(
    cells=st.lists(st.tuples(NUMBER, NUMBER), min_size=12, max_size=30),
    dialect=st.sampled_from([(",", "."), (";", ","), ("\t", "."), (";", ".")]),
)
def test_both_ways_read_the_same(
    cells: list[tuple[str, str]],
    dialect: tuple[str, str],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    rows = [[f"{0.1 * k:.1f}", f"{2000 + 25 * k}", f"{80.5 + k}"] for k in range(12)]
    rows += [[f"{1.2 + 0.1 * k:.1f}", a, b] for k, (a, b) in enumerate(cells)]
    path = write(tmp_path_factory.mktemp("plain") / "log.csv", rows, *dialect)
    plain = read_log(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_file, "plain_columns", lambda opener, job: None)
        bulk = read_log(path)
    assert set(plain.channels) == set(bulk.channels)
    assert [f.code for f in plain.findings] == [f.code for f in bulk.findings]
    for name in plain.channels:
        np.testing.assert_allclose(plain[name].value, bulk[name].value, rtol=1e-14, atol=0.0)
        np.testing.assert_allclose(plain[name].time_s, bulk[name].time_s, rtol=1e-14, atol=0.0)


def columns(tmp_path: Path, body: str, *, decimal: str = ".") -> object:
    path = tmp_path / "log.csv"
    start = "time;engine speed;mass air flow\n"
    path.write_text(start + body, encoding="utf-8")
    plain = start + "0;1;2\n1;2;3\n"
    dialect = csv_file.Dialect(
        encoding="utf-8",
        delimiter=";",
        decimal=decimal,
        quoted='"' in body,
        headers=csv_file.sniff(plain.encode(), where="", complete=True).headers,
        skip_chars=len(start),
        first_line=2,
    )
    job = Job(str(path), dialect, (0, 1, 2), dialect.quoted)
    return plain_columns(lambda: path.open("rb"), job)


@pytest.mark.parametrize(
    "body",
    [
        "0;1;2\n1;two;3\n",
        "0;1;2\n1;2\n",
        "0;1;2\n1;2;3;4\n",
        "0;1;2\n\n1;2;3\n",
        "0;1;2\n1;nan;3\n",
        "0;1;2\n1;inf;3\n",
        "0;1;2\n1;1_0;3\n",
        "0;1;2\n1;\u0661\u0662;3\n",
        "0;1;2\n1;1-2;3\n",
        '0;1;2\n1;"2;3\n',
        '0;1;2\n1;"2\n3";4\n',
        "00:00:01;1;2\n00:00:02;2;3\n",
        "0;1;2\n" * (SHORT_CHARS // 6),
    ],
    ids=[
        *("word", "short row", "wide row", "blank line", "nan", "inf", "underscore"),
        *("other digits", "minus inside", "open quote", "line in a cell", "clock", "long"),
    ],
)
def test_what_is_odd_is_left_to_pandas(tmp_path: Path, body: str) -> None:
    assert columns(tmp_path, body) is None


def test_an_empty_cell_is_nan_and_a_last_delimiter_is_no_column(tmp_path: Path) -> None:
    found = columns(tmp_path, "0;;2;\n1;5;;\n")
    assert isinstance(found, dict)
    np.testing.assert_array_equal(found[1], [np.nan, 5.0])
    np.testing.assert_array_equal(found[2], [2.0, np.nan])


def test_a_point_beside_a_decimal_comma_is_left_to_pandas(tmp_path: Path) -> None:
    assert columns(tmp_path, "0;1,5;2\n1;1.000,5;3\n", decimal=",") is None
    found = columns(tmp_path, "0;1,5;2\n1;2,5;3\n", decimal=",")
    assert isinstance(found, dict)
    np.testing.assert_array_equal(found[1], [1.5, 2.5])
