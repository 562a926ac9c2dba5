"""Files that must not be read or written: pipes, devices, inputs as outputs, names too long."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pydantic import BaseModel

from airsense.errors import InputError
from airsense.reading import read_bounded
from airsense.report.files import refuse_clash, refuse_overwrite, write_text
from airsense.setup.campaign import Campaign
from airsense.setup.claims import Claims
from airsense.setup.compressor_map import read_map
from airsense.setup.engine import EngineSetup
from airsense.setup.load import load_model

pytestmark = pytest.mark.slow

AIRSENSE = [sys.executable, "-c", "from airsense.cli.main import main; main()"]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "two_boxes"
COMPARE = (
    "compare",
    "--engine",
    "engine.toml",
    "--before",
    "before_1.csv",
    "--after",
    "after_1.csv",
)
ROOT = str(EXAMPLE.parents[1])


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with an engine, two logs, a table and claims."""
    for name in ("engine.toml", "before_1.csv", "after_1.csv", "maf_table.csv", "claims.toml"):
        shutil.copy(EXAMPLE / name, tmp_path)
    return tmp_path


def bounded_memory() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (4_000_000_000, 4_000_000_000))


def run(place: Path, *arguments: str | Path, seconds: float = 60.0) -> tuple[int, str, str]:
    """Run the command line in a process of its own, which has to end."""
    found = subprocess.run(
        [*AIRSENSE, *map(str, arguments)],
        cwd=place,
        env={**os.environ, "PYTHONPATH": ROOT},
        capture_output=True,
        timeout=seconds,
        check=False,
        preexec_fn=bounded_memory,  # what never ends must not take the machine's memory
    )
    return found.returncode, found.stdout.decode("utf-8"), found.stderr.decode("utf-8")


def refused(found: tuple[int, str, str], word: str) -> None:
    """Assert an error in five parts."""
    code, _, said = found
    assert code == 1, said
    assert word in said
    assert "Traceback" not in said
    assert all(f"\n  {part}: " in said for part in ("where", "got", "allowed", "fix"))


@pytest.fixture
def pipe(place: Path) -> Path:
    """A pipe that nobody writes to."""
    os.mkfifo(place / "pipe")
    return place / "pipe"


INPUTS = {
    "engine": ("check", "after_1.csv", "--engine", "ODD"),
    "log": ("check", "ODD", "--engine", "engine.toml"),
    "table": ("rescale", "after_1.csv", "--engine", "engine.toml", "--table", "ODD"),
    "campaign": ("compare", "ODD"),
    "claims": ("audit", "ODD"),
    "state": ("screen", ".", "--engine", "engine.toml", "--state", "ODD"),
    "result": ("report", "ODD"),
}


@pytest.mark.parametrize("name", INPUTS)
def test_a_pipe_is_refused_wherever_a_file_is_read(place: Path, pipe: Path, name: str) -> None:
    arguments = [str(pipe) if a == "ODD" else a for a in INPUTS[name]]
    refused(run(place, *arguments, seconds=30.0), str(pipe))


@pytest.mark.parametrize("name", ["engine", "table", "state", "result"])
def test_an_endless_device_is_refused(place: Path, name: str) -> None:
    arguments = ["/dev/zero" if a == "ODD" else a for a in INPUTS[name]]
    refused(run(place, *arguments, seconds=30.0), "/dev/zero")


@pytest.mark.parametrize("name", ["engine", "table", "state", "result"])
def test_a_huge_file_is_refused_unread(place: Path, name: str) -> None:
    huge = place / "huge"
    with huge.open("wb") as stream:
        stream.truncate(10_000_000_000)  # takes no room on the disk
    arguments = ["huge" if a == "ODD" else a for a in INPUTS[name]]
    refused(run(place, *arguments, seconds=30.0), "bytes")


def test_a_pipe_as_table_of_the_engine_is_refused(place: Path, pipe: Path) -> None:
    old = (place / "engine.toml").read_text("utf-8")
    new = old.replace("[engine]\n", f'[engine]\nvolumetric_efficiency = "{pipe.name}"\n')
    (place / "engine.toml").write_text(new, "utf-8")
    found = run(place, "check", "after_1.csv", "--engine", "engine.toml", seconds=30.0)
    refused(found, "volumetric efficiency")


def test_a_pipe_as_compressor_map_holds_nothing_up(place: Path, pipe: Path) -> None:
    with (place / "engine.toml").open("a", encoding="utf-8") as stream:
        stream.write(f'[compressor_map]\nfile = "{pipe.name}"\n')
    # Without a turbo speed in the log the map is not needed.
    code, _, said = run(place, "check", "after_1.csv", "--engine", "engine.toml", seconds=30.0)
    assert code == 0, said
    with pytest.raises(InputError, match="compressor map cannot be read"):
        read_map(pipe)


def test_reading_stops_at_its_bound(tmp_path: Path) -> None:
    file = tmp_path / "some"
    file.write_bytes(b"x" * 100)
    assert read_bounded(file, 100) == b"x" * 100
    with pytest.raises(OSError, match="more than 99 bytes"):
        read_bounded(file, 99)
    with pytest.raises(OSError, match="no plain file"):
        read_bounded("/dev/null", 99)


class TestOutputs:
    # No real device: a program that fails here, run by root, would replace it for everybody.
    @pytest.mark.parametrize("kind", ["pipe", "folder", "socket"])
    def test_force_replaces_only_plain_files(self, tmp_path: Path, kind: str) -> None:
        out = tmp_path / kind
        if kind == "pipe":
            os.mkfifo(out)
        elif kind == "folder":
            out.mkdir()
        else:
            with socket.socket(socket.AF_UNIX) as opened:
                opened.bind(str(out))
        with pytest.raises(InputError, match="cannot be written"):
            write_text(out, "x", force=True)
        assert out.exists() and not out.is_file()

    def test_a_link_to_a_device_is_not_replaced(self, tmp_path: Path) -> None:
        link = tmp_path / "link"
        link.symlink_to("/dev/null")
        with pytest.raises(InputError, match="cannot be written"):
            write_text(link, "x", force=True)
        assert link.is_symlink()

    def test_two_outputs_of_one_name_are_refused_before_the_work(self, place: Path) -> None:
        found = run(place, *COMPARE, "--json", "x", "--report", "./x")
        refused(found, "same file")
        assert not (place / "x").exists()

    @pytest.mark.parametrize("name", ["engine.toml", "before_1.csv", "link.csv"])
    def test_force_never_replaces_an_input(self, place: Path, name: str) -> None:
        os.link(place / "after_1.csv", place / "link.csv")  # the same file by another name
        before = (place / name).read_bytes()
        refused(run(place, *COMPARE, "--json", name, "--force"), "same file")
        assert (place / name).read_bytes() == before

    def test_an_input_that_a_file_names_is_kept_too(self, place: Path) -> None:
        (place / "table.csv").write_text(
            "intake,engine_speed [rpm],brake_power [kW]\na,2900,250\nb,2900,260\n", "utf-8"
        )
        (place / "c.toml").write_text(
            'table = "table.csv"\n[engine]\ndisplacement_l = 3.0\ncylinders = 6\n'
            'ignition = "compression"\n',
            "utf-8",
        )
        before = (place / "table.csv").read_bytes()
        refused(run(place, "audit", "c.toml", "--json", "table.csv", "--force"), "same file")
        assert (place / "table.csv").read_bytes() == before

    def test_a_screened_log_is_kept(self, place: Path) -> None:
        before = (place / "after_1.csv").read_bytes()
        screen = ("screen", ".", "--engine", "engine.toml", "--workers", "1", "--state", "s")
        refused(run(place, *screen, "--csv", "after_1.csv", "--force"), "same file")
        assert (place / "after_1.csv").read_bytes() == before

    def test_a_new_table_is_no_log(self, place: Path) -> None:
        before = (place / "after_1.csv").read_bytes()
        rescale = ("rescale", "after_1.csv", "--engine", "engine.toml", "--table", "maf_table.csv")
        baseline = ("--baseline", "before_1.csv", "--out", "after_1.csv", "--force")
        refused(run(place, *rescale, *baseline), "same file")
        assert (place / "after_1.csv").read_bytes() == before

    def test_different_files_do_not_clash(self, tmp_path: Path) -> None:
        (tmp_path / "a").write_text("x", "utf-8")
        refuse_clash([tmp_path / "b", tmp_path / "c"], [tmp_path / "a", 7, None, (tmp_path / "d",)])


class TestNames:
    LONG = "n" * 300

    def test_an_output_of_300_letters_is_refused(self, place: Path) -> None:
        refused(run(place, *COMPARE, "--json", self.LONG), "too long")

    @pytest.mark.parametrize("name", ["engine", "log", "state", "result"])
    def test_an_input_of_300_letters_is_refused(self, place: Path, name: str) -> None:
        refused(run(place, *(self.LONG if a == "ODD" else a for a in INPUTS[name])), self.LONG)

    @pytest.mark.parametrize("option", ["--figures", "--report"])
    def test_other_outputs_too(self, place: Path, option: str) -> None:
        refused(run(place, *COMPARE, option, self.LONG), "too long")

    def test_new_and_demo_too(self, place: Path) -> None:
        refused(run(place, "new", "engine", "--out", self.LONG), "too long")
        refused(run(place, "demo", "--out", self.LONG), "too long")

    def test_a_name_that_the_disk_just_takes_is_written(self, tmp_path: Path) -> None:
        file = tmp_path / ("n" * 255)
        write_text(file, "x")
        assert file.read_text("utf-8") == "x"
        assert [p.name for p in tmp_path.iterdir()] == [file.name]

    def test_a_link_to_itself_is_refused(self, tmp_path: Path) -> None:
        loop = tmp_path / "loop"
        loop.symlink_to(loop)
        with pytest.raises(InputError, match="cannot be written"):
            refuse_overwrite(loop, force=True)


DEEP = 20_000
NESTED = {
    "arrays": "a = " + "[" * DEEP + "]" * DEEP,
    "tables": "a = " + "{b = " * DEEP + "1" + "}" * DEEP,
    "dotted": "a" + ".a" * DEEP + " = 1",
    "header": "[a" + ".a" * DEEP + "]\nb = 1",
    "unclosed": "a = " + "[" * DEEP,
}


@pytest.mark.parametrize("kind", NESTED)
@pytest.mark.parametrize("model", [EngineSetup, Campaign, Claims])
def test_deep_toml_is_refused(tmp_path: Path, kind: str, model: type[BaseModel]) -> None:
    (tmp_path / "deep.toml").write_text(NESTED[kind], "utf-8")
    with pytest.raises(InputError, match=r"deep\.toml"):
        load_model(tmp_path / "deep.toml", model)


def test_deep_toml_is_refused_on_the_command_line(place: Path) -> None:
    (place / "deep.toml").write_text(NESTED["dotted"], "utf-8")
    refused(run(place, "audit", "deep.toml"), "deep.toml")


def test_what_is_nested_as_in_any_setup_passes(tmp_path: Path) -> None:
    loaded = load_model(EXAMPLE / "engine.toml", EngineSetup)
    assert loaded.engine.cylinders == 6


def test_temporary_files_go_when_the_program_is_ended(place: Path) -> None:
    temporary = place / "temporary"
    temporary.mkdir()
    # A write that hangs as on a slow disk, with its temporary file open.
    script = (
        "import os, time\n"
        "from airsense.cli import main as m\n"
        "from airsense.report import files\n"
        "def slow(handle):\n"
        "    print('waiting', flush=True)\n"
        "    time.sleep(60)\n"
        "files.os.fsync = slow\n"
        "m.main()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, "new", "engine", "--out", "temporary/engine.toml"],
        cwd=place,
        env={**os.environ, "PYTHONPATH": ROOT},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"waiting\n"
        assert len(list(temporary.iterdir())) == 1
        started = time.monotonic()
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == 128 + signal.SIGTERM
        assert time.monotonic() - started < 10.0
    assert list(temporary.iterdir()) == []
