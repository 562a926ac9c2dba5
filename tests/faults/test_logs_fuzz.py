"""Mutated logs, tables and TOML files: an answer or a five-part refusal, in time and in memory.

AIRSENSE_FUZZ sets the number of cases (200 if absent, 10000 for the long run), AIRSENSE_FUZZ_SEED
the seed; the seed is printed, and a failing case is kept in the test's folder.
"""

from __future__ import annotations

import gzip
import io
import os
import random
import resource
import signal
import warnings
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.logs.read import read_log
from airsense.setup.campaign import Campaign
from airsense.setup.claims import Claims
from airsense.setup.load import load_engine, load_model
from airsense.transfer.file import read_table
from tests.faults.test_logs_formats import RAW, write_mdf, write_parquet
from tests.log_writing import drive, text

CASES = int(os.environ.get("AIRSENSE_FUZZ", "200"))
SEED = int(os.environ.get("AIRSENSE_FUZZ_SEED", str(random.SystemRandom().randrange(10**9))))
LONGEST_S = 10
LARGEST_GROWTH_BYTES = 1_500_000_000
TEMPLATES = Path(__file__).resolve().parents[2] / "airsense" / "setup" / "templates"
TABLE = "signal [V],flow [kg/h]\n" + "".join(f"{i / 10},{i**2}.0\n" for i in range(50))
TOKENS = [
    b",", b";", b"\t", b"|", b'"', b"'", b"\n", b"\r", b"\r\n", b"\0", b"\xff", b"\xfe\xff",
    b"NaN", b"inf", b"-", b"1e999", b"-1e308", b"9" * 400, b"0x1F", b"[", b"]", b"(", b"{",
    b"[kPa]", b"=",
    b"[[run]]", b"Time", b"MAP", b"rpm", b"\xc2\xb0C", b"\xc3\x82\xc2\xb0C", b"23:59:59.999",
    b"2031-02-30T25:61:61", b"00:00:00", b"../../x", b"%s%n", b"{0}", b"A" * 5000, b" ", b"\x1b[2J",
]  # fmt: skip


def check_log(path: Path) -> None:
    log = read_log(path)
    for channel in log.channels.values():
        assert channel.value.size == channel.time_s.size > 0
        assert np.isfinite(channel.value).all()
        assert np.isfinite(channel.time_s).all()
        assert (np.diff(channel.time_s) > 0.0).all()


Target = tuple[str, bytes, Callable[[Path], object]]


@pytest.fixture(scope="module")
def targets(tmp_path_factory: pytest.TempPathFactory) -> list[Target]:
    folder = tmp_path_factory.mktemp("seeds")
    columns = drive(rate_hz=5.0, seconds=20.0)
    plain = text(columns).encode()
    semicolons = text(columns, delimiter=";", decimal=",", preamble="Logger 1\n\n").encode("utf-16")
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", plain)
    write_parquet(folder / "a.parquet", columns)
    write_mdf(folder / "a.mf4", columns)
    logs = [
        ("a.csv", plain), ("a.tsv", plain.replace(b",", b"\t")), ("b.csv", semicolons),
        ("a.csv.gz", gzip.compress(plain, mtime=0)), ("a.zip", zipped.getvalue()),
        ("a.parquet", (folder / "a.parquet").read_bytes()),
        ("a.mf4", (folder / "a.mf4").read_bytes()), ("raw.txt", RAW.encode() * 10),
    ]  # fmt: skip
    return [
        *((name, content, check_log) for name, content in logs),
        ("table.csv", TABLE.encode(), read_table),
        ("engine.toml", (TEMPLATES / "engine.toml").read_bytes(), load_engine),
        (
            "campaign.toml",
            (TEMPLATES / "campaign.toml").read_bytes(),
            lambda path: load_model(path, Campaign),
        ),
        (
            "claims.toml",
            (TEMPLATES / "claims.toml").read_bytes(),
            lambda path: load_model(path, Claims),
        ),
    ]


def mutate(content: bytes, rng: random.Random) -> bytes:
    """Return a copy with a few random changes of many kinds."""
    data = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 3, 8))):
        size = len(data)
        place = rng.randrange(size + 1)
        length = min(rng.choice((1, 2, 5, 50, 2000)), size - place)
        kind = rng.randrange(9)
        if kind == 0 and size:
            data[rng.randrange(size)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del data[place : place + length]
        elif kind == 2:
            data[place:place] = rng.choice(TOKENS)
        elif kind == 3:
            data[place:place] = data[place : place + length] * rng.choice((1, 2, 30))
        elif kind == 4:
            data[place : place + length] = rng.randbytes(length)
        elif kind == 5:
            lines = bytes(data).split(b"\n")
            rng.shuffle(lines)
            data = bytearray(b"\n".join(lines))
        elif kind == 6:
            data = data[:place]
        elif kind == 7:
            data = bytearray(bytes(data).replace(rng.choice(TOKENS[:5]), rng.choice(TOKENS)))
        else:
            data = bytearray(bytes(data).replace(b"%d" % rng.randrange(10), rng.choice(TOKENS)))
        if len(data) > 3_000_000:
            data = data[:3_000_000]
    return bytes(data)


@contextmanager
def deadline(seconds: int) -> Iterator[None]:
    def late(*_: object) -> None:
        raise TimeoutError(f"longer than {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def attempt(path: Path, run: Callable[[Path], object]) -> tuple[bool, str | None]:
    """Return whether there was an answer, and what went wrong, None if nothing did."""
    before = path.read_bytes()
    try:
        with deadline(LONGEST_S), warnings.catch_warnings():
            # Other people's warnings on damaged files are theirs; our own code is run with
            # warnings as errors in every other test.
            warnings.simplefilter("ignore")
            run(path)
    except InputError as error:
        parts = (error.what, error.where, error.got, error.allowed, error.fix)
        if not all(parts) or len(str(error)) > 4000:
            return False, f"not in five parts: {parts}"
        return False, None
    except BaseException as error:  # whatever it is, it is the find
        return False, f"{type(error).__name__}: {error}"
    return True, "the input was changed" if path.read_bytes() != before else None


@pytest.mark.slow
def test_mutated_files(
    targets: list[Target], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = random.Random(SEED)
    start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    failures, answered = [], 0
    for number in range(CASES):
        name, content, run = targets[number % len(targets)]
        path = tmp_path / name
        path.write_bytes(mutate(content, rng))
        answer, wrong = attempt(path, run)
        answered += answer
        if wrong is not None:
            kept = path.rename(tmp_path / f"failure-{number}-{name}")
            failures.append(f"{kept}: {wrong}")
        else:
            path.unlink()
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - start) * 1024
    with capsys.disabled():
        print(f"\n{CASES} mutated, seed {SEED}: {answered} answered, {len(failures)} failures")
    assert not failures, f"seed {SEED}: " + "\n".join(failures[:20])
    assert grown < LARGEST_GROWTH_BYTES
    # Mutations so mild that all pass, or so wild that all are refused, would test little.
    assert 0.2 * CASES < answered < 0.8 * CASES
