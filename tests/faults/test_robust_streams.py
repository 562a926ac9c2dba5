"""Terminals of any encoding, readers that go, and screens that are told what is not so."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from airsense.cli.main import LazyGroup
from airsense.cli.streams import settle_streams
from airsense.errors import InputError
from airsense.jobs.screen import ScreenOptions, run
from airsense.jobs.screening.cluster import require_address
from airsense.jobs.screening.result import Outcome
from tests.screen_logs import write_engine, write_log

pytestmark = pytest.mark.slow

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "two_boxes"
AIRSENSE = f"{sys.executable} -c 'from airsense.cli.main import main; main()'"
COMPARE = "compare --engine engine.toml --before before_1.csv --after after_1.csv"
ENCODINGS = ("ascii", "cp1252", "cp437")


def shell(
    command: str, *, encoding: str = "utf-8", folder: Path = EXAMPLE
) -> subprocess.CompletedProcess[bytes]:
    """Run a line of bash in which `airsense` is the command line."""
    environment = {
        **os.environ,
        "PYTHONIOENCODING": encoding,
        "PYTHONPATH": str(EXAMPLE.parents[1]),
        "OPENBLAS_NUM_THREADS": "1",
    }
    return subprocess.run(
        ["bash", "-c", f'airsense() {{ {AIRSENSE} "$@"; }}; {command}'],
        cwd=folder,
        env=environment,
        capture_output=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize(
    "command",
    [f"{COMPARE} --all", "audit claims.toml --all"],
)
def test_any_terminal_can_show_an_answer(command: str, encoding: str) -> None:
    found = shell(f"airsense {command}", encoding=encoding)
    assert found.returncode == 0, found.stderr
    said = found.stdout.decode(encoding)
    assert len(said) > 300
    if encoding == "ascii":
        assert "?" * 3 not in said
        assert "?" not in "".join(line for line in said.splitlines() if "%" in line)


def test_a_minus_stays_a_minus() -> None:
    plain = shell(f"airsense {COMPARE}", encoding="ascii").stdout.decode("ascii")
    full = shell(f"airsense {COMPARE}").stdout.decode("utf-8")
    assert "−" in full
    assert full.replace("−", "-").replace("–", "-").replace("…", "...") == plain


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_an_error_can_name_any_file(encoding: str) -> None:
    found = shell("airsense audit 'nö→漢.toml'", encoding=encoding)
    assert found.returncode == 1
    assert b"Traceback" not in found.stderr
    assert b".toml" in found.stderr


def test_json_on_standard_output_is_utf_8_whatever_the_terminal() -> None:
    found = shell("airsense audit claims.toml --json -", encoding="ascii")
    assert json.loads(found.stdout.decode("utf-8"))["schema"].startswith("airsense.audit/")


@pytest.mark.parametrize(
    ("letter", "plain"),
    [("−", "-"), ("×", "x"), ("±", "+-"), ("“", '"'), ("█", "#"), ("─", "-"), ("é", "e"),
     ("₂", "2"), ("漢", "?"), ("…", "..."), ("≤", "<=")],
)  # fmt: skip
def test_what_stands_for_a_letter(letter: str, plain: str) -> None:
    settle_streams()
    assert letter.encode("ascii", errors="airsense.plain").decode() == plain
    assert f"a{letter}b".encode("utf-8", errors="airsense.plain").decode() == f"a{letter}b"


class TestReadersThatGo:
    @pytest.mark.parametrize(
        "command", [f"{COMPARE} --all", f"{COMPARE} --json -", "--help", "compare --help"]
    )
    def test_a_reader_that_goes_at_once_leaves_no_trace(self, command: str) -> None:
        found = shell(f"airsense {command} | true; echo ${{PIPESTATUS[0]}}")
        assert found.stderr == b""
        assert found.stdout.split() in ([b"0"], [b"141"])

    def test_the_first_line_can_be_had(self) -> None:
        found = shell(f"airsense {COMPARE} --all | head -1")
        assert found.stderr == b""
        assert len(found.stdout.splitlines()) == 1

    def test_files_are_written_all_the_same(self, tmp_path: Path) -> None:
        out = tmp_path / "out.json"
        shell(f"airsense {COMPARE} --all --json {out} | true")
        assert json.loads(out.read_text("utf-8"))["schema"] == "airsense.compare/2"

    @pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
    def test_closed_streams_do_not_stop_it(self, closed: str) -> None:
        assert shell(f"airsense {COMPARE} {closed}").returncode == 0

    def test_a_full_disk_is_said(self) -> None:
        found = shell(f"airsense {COMPARE} --all > /dev/full")
        assert found.returncode == 1
        assert b"Traceback" not in found.stderr


class TestState:
    @pytest.fixture
    def place(self, tmp_path: Path) -> Path:
        write_engine(tmp_path)
        for k in range(2):
            write_log(tmp_path / "logs" / f"log_{k}.csv", seed=k)
        return tmp_path

    def screen(self, place: Path) -> dict[str, Outcome]:
        options = ScreenOptions(workers=1, state=place / "state.jsonl")
        result = run(str(place / "logs"), place / "engine.toml", options)
        return {row.log: row.outcome for row in result.logs}

    def lines(self, place: Path) -> list[str]:
        return (place / "state.jsonl").read_text("utf-8").splitlines()

    def test_an_edited_line_is_not_believed(self, place: Path) -> None:
        first = self.screen(place)
        head, line, other = self.lines(place)
        plain = json.loads(line)
        name = plain["row"]["log"]
        lie = "implausible" if first[name] is not Outcome.IMPLAUSIBLE else "plausible"
        plain["row"]["outcome"] = lie
        edited = "\n".join((head, json.dumps(plain), other)) + "\n"
        (place / "state.jsonl").write_text(edited, "utf-8")
        assert self.screen(place) == first
        assert len(self.lines(place)) == 4  # the edited log was done again, and only that one

    def test_a_line_without_a_checksum_is_not_believed(self, place: Path) -> None:
        first = self.screen(place)
        head, *rows = self.lines(place)
        bare = [json.dumps({k: v for k, v in json.loads(r).items() if k != "sha256"}) for r in rows]
        (place / "state.jsonl").write_text("\n".join((head, *bare)) + "\n", "utf-8")
        assert self.screen(place) == first
        assert len(self.lines(place)) == 5

    def test_whole_lines_are_believed_whatever_the_order_of_their_keys(self, place: Path) -> None:
        self.screen(place)
        head, *rows = self.lines(place)
        turned = [json.dumps(dict(reversed(json.loads(r).items()))) for r in rows]
        (place / "state.jsonl").write_text("\n".join((head, *turned)) + "\n", "utf-8")
        self.screen(place)
        assert len(self.lines(place)) == 3


BAD_ADDRESSES = (
    "nonsense", "", "tcp://", "tcp://host", "host:", ":8786", "tcp://host:0", "tcp://host:99999",
    "ftp://host:21", "tcp://a b:80", "tcp://127.0.0.1:1", "tcp://no.such.host.invalid:8786",
    f"tcp://{'x' * 300}:80", "tcp://[::g]:80", "tcp://host:8786:1",
)  # fmt: skip


@pytest.mark.parametrize("address", BAD_ADDRESSES)
def test_no_address_of_a_cluster_is_refused_at_once(address: str) -> None:
    started = time.monotonic()
    with pytest.raises(InputError, match="cluster cannot be used"):
        require_address(address)
    assert time.monotonic() - started < 5.0  # a name may have to be asked for


def test_the_address_is_checked_before_anything_else(tmp_path: Path) -> None:
    started = time.monotonic()
    found = shell("airsense screen missing --engine missing --cluster nonsense", folder=tmp_path)
    assert found.returncode == 1
    assert b"where: --cluster nonsense" in found.stderr
    assert all(f"\n  {part}: ".encode() in found.stderr for part in ("got", "allowed", "fix"))
    assert time.monotonic() - started < 10.0  # starting Python on a busy machine included
    assert list(tmp_path.iterdir()) == []


def test_commands_are_listed_without_loading_them() -> None:
    """The streams are settled before any command: `main` must not load one to do so."""
    code = "import sys, airsense.cli.main; print([m for m in sys.modules if m == 'numpy'])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert found.stdout.strip() == b"[]"
    assert isinstance(LazyGroup(), LazyGroup)
