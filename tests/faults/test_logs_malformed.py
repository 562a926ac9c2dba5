"""Malformed logs: a five-part error or an answer; never another exception, never a long wait."""

from __future__ import annotations

import gzip
import io
import os
import time
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.logs.log import Log
from airsense.logs.read import read_log
from tests.log_writing import drive, text

GOOD = text(drive(seconds=10.0))
HEAD, *ROWS = GOOD.splitlines()


def zipped(**members: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


def column(header: str, cell: Callable[[int], str]) -> str:
    return "\n".join([f"{HEAD},{header}", *(f"{row},{cell(i)}" for i, row in enumerate(ROWS))])


REFUSED = {
    "empty": b"",
    "one line end": b"\n",
    "blanks": b"   \n\n  \n",
    "mark of UTF-8 alone": b"\xef\xbb\xbf",
    "header alone": HEAD.encode(),
    "header and units alone": b"time,rpm\ns,rpm\n",
    "no header": "\n".join(ROWS).encode(),
    "binary": bytes(range(256)) * 200,
    "random bytes": np.random.default_rng(1).bytes(50_000),
    "zeros": b"\0" * 100_000,
    "picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 30,
    "prose": b"This is a letter.\nIt has two lines.\nAnd no numbers at all, none.\n" * 50,
    "page": b"<html><body><p>404</p>\n<p>not found</p></body></html>\n" * 20,
    "one column": b"rpm\n" + b"800\n" * 100,
    "no time": b"rpm,MAP [kPa]\n" + b"800,100\n900,101\n" * 50,
    "time of words": b"time,rpm\n" + b"soon,800\nlater,900\n" * 50,
    "all cells missing": b"time,rpm\n" + b"NaN,NaN\n" * 50,
    "time missing throughout": b"time,rpm\n" + b",800\n,900\n" * 50,
    "decimal commas in a comma file": b"time,rpm\n" + b"0,1,800,5\n0,2,801,5\n" * 50,
    "gzip cut off": gzip.compress(GOOD.encode() * 40)[:-200],
    "gzip of nothing": gzip.compress(b""),
    "gzip head alone": b"\x1f\x8b",
    "gzip with a wrong byte": gzip.compress(GOOD.encode() * 40)[:300] + b"\xff" * 400,
    "zip cut off": zipped(a=GOOD.encode())[:-30],
    "zip of nothing": zipped(),
    "zip of two": zipped(a=GOOD.encode(), b=GOOD.encode()),
    "zip with a wrong byte": zipped(a=GOOD.encode()).replace(b"Engine", b"engine", 1)[:60] + b"x",
    "too many columns": ("time," + ",".join(f"c{i}" for i in range(6000)) + "\n").encode()
    + ("0" + ",1" * 6000 + "\n").encode() * 2,
    "a line without end": b"time,rpm," + b"x" * 3_000_000,
    "a million columns": b"a," * 1_000_000 + b"\n" + b"1," * 1_000_000,
    "unit unknown": column("MAP [blorb]", lambda i: "100").replace(
        "Intake Manifold Absolute Pressure [kPa]", "other"
    ).encode(),
    "one unit, another quantity": GOOD.replace("Mass Air Flow [g/s]", "MAF [cubit]").encode(),
    "duplicate header, other values": column("Mass Air Flow [g/s]", lambda i: f"{i}").encode(),
    "values far from the unit": GOOD.replace("Pressure [kPa]", "Pressure [bar]").encode(),
    "UTF-16 cut in half": GOOD.encode("utf-16")[:61],
}  # fmt: skip

ANSWERED = {
    "one row": f"{HEAD}\n{ROWS[0]}\n".encode(),
    "two rows": f"{HEAD}\n{ROWS[0]}\n{ROWS[1]}".encode(),
    "zero bytes within": GOOD.replace("800", "8\0000", 1).encode(),
    "time repeated": "\n".join([HEAD, *(r for row in ROWS for r in (row, row))]).encode(),
    "time backwards": "\n".join([HEAD, *reversed(ROWS)]).encode(),
    "time stands still": "\n".join([HEAD, *[ROWS[3]] * 40]).encode(),
    "rows shuffled": "\n".join([HEAD, *np.random.default_rng(2).permutation(ROWS)]).encode(),
    "quote never closed": GOOD.replace("Lambda", '"Lambda').encode(),
    "quote opened within": "\n".join([HEAD, *ROWS[:40], '"' + ROWS[40], *ROWS[41:]]).encode(),
    "quote opened late": "\n".join([HEAD, *ROWS * 40, '"' + ROWS[4], *ROWS[5:]]).encode(),
    "cells missing at the end": "\n".join([HEAD, *ROWS[:50], "5.0,800", *ROWS[51:]]).encode(),
    "last row cut": GOOD[:-15].encode(),
    "delimiters change within": "\n".join(
        [HEAD, *ROWS[:60], *(r.replace(",", ";") for r in ROWS[60:])]
    ).encode(),
    "text within": "\n".join([HEAD, *ROWS[:50], "*** lost ***", *ROWS[50:]]).encode(),
    "header repeated": "\n".join([HEAD, *ROWS[:50], HEAD, *ROWS[50:]]).encode(),
    "mark of UTF-8 twice": b"\xef\xbb\xbf\xef\xbb\xbf" + GOOD.encode(),
    "broken UTF-8 within": GOOD.encode()[:9000] + b"\xff\xfe" + GOOD.encode()[9000:],
    "huge numbers": column("Pedal [%]", lambda i: "9" * 400).encode(),
    "infinite numbers": column("Pedal [%]", lambda i: "inf").encode(),
    "hex and others": column("Pedal [%]", lambda i: ("0x1F", "1_000", "１２")[i % 3]).encode(),
    "a column of text": column("gear", lambda i: "N").encode(),
    "nameless columns": column("", lambda i: "1").encode(),
    "header in emoji": column("🚗💨 [kPa]", lambda i: "1").encode(),
    "a very long header": column("x" * 20_000, lambda i: "1").encode(),
    "a formula": column('=HYPERLINK("x")', lambda i: "=1+1").encode(),
    "trailing zeros": GOOD.encode() + b"\0" * 500,
    "gzip of gzip tail": gzip.compress(GOOD.encode()) + b"",
}  # fmt: skip


def attempt(path: Path) -> Log | InputError:
    started = time.perf_counter()
    try:
        return read_log(path)
    except InputError as error:
        return error
    finally:
        assert time.perf_counter() - started < 10.0


@pytest.mark.parametrize("name", REFUSED)
def test_refused_in_five_parts(tmp_path: Path, name: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(REFUSED[name])
    error = attempt(path)
    assert isinstance(error, InputError), error
    assert all((error.what, error.got, error.allowed, error.fix))
    assert str(path) in error.where
    assert len(str(error)) < 2000


@pytest.mark.parametrize("name", ANSWERED)
def test_answered_with_sound_channels(tmp_path: Path, name: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(ANSWERED[name])
    log = attempt(path)
    assert isinstance(log, Log), log
    assert "engine_speed" in log
    for channel in log.channels.values():
        assert channel.value.size == channel.time_s.size > 0
        assert np.isfinite(channel.value).all()
        assert (np.diff(channel.time_s) > 0.0).all()


@pytest.mark.parametrize("name", ["missing", "folder", "no right", "loop", "device"])
def test_paths_that_are_no_files(tmp_path: Path, name: str) -> None:
    path = tmp_path / "log.csv"
    if name == "folder":
        path.mkdir()
    elif name == "no right":
        path.write_text(GOOD)
        path.chmod(0)
        if os.access(path, os.R_OK):
            pytest.skip("this user may read anything")
    elif name == "loop":
        path.symlink_to(path)
    elif name == "device":
        os.mkfifo(path)
    error = attempt(path)
    assert isinstance(error, InputError)
    assert "log.csv" in error.where


def test_a_bomb_is_refused_in_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "log.csv.gz"
    with gzip.open(path, "wb", compresslevel=9) as stream:
        stream.write(f"{HEAD}\n".encode())
        for _ in range(300):
            stream.write(b"0,0,0,0,0,0,0\n" * 70_000)
    tracemalloc.start()
    error = attempt(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert isinstance(error, InputError)
    assert "beyond measure" in error.what
    assert peak < 300e6


def test_an_encrypted_zip_is_refused(tmp_path: Path) -> None:
    content = bytearray(zipped(a=GOOD.encode()))
    content[6] |= 1
    place = content.index(b"PK\x01\x02")
    content[place + 8] |= 1
    (tmp_path / "log.zip").write_bytes(bytes(content))
    error = attempt(tmp_path / "log.zip")
    assert isinstance(error, InputError)
    assert "encrypted" in error.what


def test_more_rows_than_memory_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("airsense.logs.csv_file.MAX_CELLS", 500)
    monkeypatch.setattr("airsense.logs.csv_plain.SHORT_CHARS", 100)
    path = tmp_path / "log.csv"
    path.write_text(GOOD)
    error = attempt(path)
    assert isinstance(error, InputError)
    assert "too large" in error.what


def test_a_row_without_an_end_is_refused_before_it_fills_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("airsense.logs.csv_blocks.MAX_ROW_CHARS", 1_000_000)
    path = tmp_path / "log.csv"
    body = "\n".join(ROWS * 30)
    path.write_text(f"{HEAD}\n{body}\n" + "1" * 3_000_000)
    error = attempt(path)
    assert isinstance(error, InputError)
    assert "no end" in error.what


def test_a_late_quote_without_an_end_does_not_swallow_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("airsense.logs.csv_blocks.MAX_ROW_CHARS", 1_000_000)
    columns = drive(rate_hz=100.0, seconds=400.0)
    lines = text(columns | {"note": ['"a"'] * 40_000}).splitlines()
    lines[3000] = lines[3000].replace('"a"', '"a')
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = attempt(path)
    assert isinstance(log, Log)
    assert log["engine_speed"].value.size == 40_000
