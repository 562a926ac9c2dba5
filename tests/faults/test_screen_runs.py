"""Screens of folders: bad logs, killed runs, dead workers, strange names, vehicles over time."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import fsspec
import pyarrow.parquet as pq
import pytest

from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.evidence.screening import DriftVerdict
from airsense.jobs.screen import ScreenOptions, run
from airsense.jobs.screening import log as screen_log
from airsense.jobs.screening import pool as screen_pool
from airsense.jobs.screening.files import find_logs
from airsense.jobs.screening.log import Task
from airsense.jobs.screening.result import Outcome, ScreenResult, ScreenRow
from airsense.report.as_json import to_json
from airsense.report.screen_table import to_csv, to_parquet
from airsense.setup.load import load_engine
from tests.log_writing import save
from tests.screen_logs import FLOW, write_engine, write_log, write_many, write_vehicle

pytestmark = pytest.mark.slow

HERE = ScreenOptions(workers=1)
AIRSENSE = [sys.executable, "-c", "from airsense.cli.main import main; main()"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sound logs, one that reads 60 % high, and five that are no logs."""
    top = tmp_path_factory.mktemp("screen")
    write_engine(top)
    logs = top / "logs"
    write_log(logs / "north" / "a.csv", seed=1)
    write_log(logs / "north" / "b.csv", seed=2)
    write_log(logs / "south" / "high.csv", factor=1.6, seed=3)
    save(logs / "south" / "=empty.csv", b"")
    save(logs / "south" / "text.csv", "no log at all\n")
    save(logs / "binary.csv", bytes(range(256)) * 20)
    save(logs / "broken.zip", b"PK\x03\x04 broken")
    without_flow = write_log(logs / "without_flow.csv", seed=4)
    save(without_flow, without_flow.read_text().replace(FLOW, "Something [V]"))
    save(logs / "notes.md", "no log by its name")
    save(logs / ".hidden.csv", "not looked at")
    return top


@pytest.fixture(scope="module")
def result(folder: Path) -> ScreenResult:
    return run(str(folder / "logs"), folder / "engine.toml", HERE)


def row_of(result: ScreenResult, name: str) -> ScreenRow:
    return next(row for row in result.logs if row.log == name)


def test_one_bad_log_never_stops_the_run(result: ScreenResult) -> None:
    assert len(result.logs) == 8
    assert {c.outcome: c.logs for c in result.counts}[Outcome.REFUSED] == 5
    assert row_of(result, "north/a.csv").outcome is Outcome.PLAUSIBLE


def test_the_suspicious_log_comes_first_and_the_refused_last(result: ScreenResult) -> None:
    assert result.logs[0].log == "south/high.csv"
    assert result.logs[0].outcome is Outcome.IMPLAUSIBLE
    assert result.logs[0].suspicion > 1.0  # type: ignore[operator]
    scores = [row.suspicion for row in result.logs if row.suspicion is not None]
    assert scores == sorted(scores, reverse=True)
    assert all(row.outcome is Outcome.REFUSED for row in result.logs[-5:])


def test_a_row_says_what_check_says(result: ScreenResult, folder: Path) -> None:
    from airsense.jobs import check

    path = folder / "logs" / "south" / "high.csv"
    alone = check.run([path], folder / "engine.toml")
    row = row_of(result, "south/high.csv")
    assert row.sensor_error == alone.sensor_error
    assert row.outcome.value == alone.verdict.value
    assert row.leading_cause == alone.causes[0].cause.value
    assert sum(f.count for f in row.findings) == len(alone.findings)
    assert row.sha256 in {file.sha256 for file in alone.inputs}


def test_a_refusal_has_five_parts_and_names_the_log_below_the_folder(
    result: ScreenResult, folder: Path
) -> None:
    for row in result.logs[-5:]:
        problem = row.problem
        assert problem is not None
        parts = (problem.what, problem.where, problem.got, problem.allowed, problem.fix)
        assert all(part.strip() for part in parts)
        assert problem.where.startswith(row.log)
        assert str(folder) not in " ".join(parts)


def test_files_that_are_no_logs_by_name_are_counted_not_dropped(result: ScreenResult) -> None:
    finding = next(f for f in result.findings if f.code == "files_left_out")
    assert "1 files" in finding.message
    assert "notes.md" in finding.message


def test_processes_give_the_same_answer_as_one(result: ScreenResult, folder: Path) -> None:
    two = run(str(folder / "logs"), folder / "engine.toml", ScreenOptions(workers=2))
    assert to_json(two) == to_json(result)


def test_a_fault_of_ours_in_one_log_is_a_row_and_is_tried_again(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(path: Path, task: Task) -> ScreenRow:
        raise ZeroDivisionError("planted")

    options = ScreenOptions(workers=1, state=tmp_path / "state.jsonl")
    with monkeypatch.context() as patch:
        patch.setattr(screen_log, "_checked", fails)
        bad = run(str(folder / "logs"), folder / "engine.toml", options)
    assert all(row.outcome is Outcome.FAILED for row in bad.logs)
    assert "ZeroDivisionError: planted" in bad.logs[0].problem.got  # type: ignore[union-attr]
    good = run(str(folder / "logs"), folder / "engine.toml", options)
    assert not any(row.outcome is Outcome.FAILED for row in good.logs)


class TestTables:
    def test_no_cell_starts_a_formula(self, result: ScreenResult) -> None:
        rows = list(csv.DictReader(io.StringIO(to_csv(result))))
        assert len(rows) == 8
        strange = ScreenRow(log="+1.csv", outcome=Outcome.REFUSED, vehicle="@SUM(A1)", reader="-x")
        from dataclasses import replace

        text = to_csv(replace(result, logs=(strange,)))
        (cells,) = csv.DictReader(io.StringIO(text))
        assert cells["log"] == "'+1.csv"
        assert cells["vehicle"] == "'@SUM(A1)"
        assert cells["reader"] == "'-x"

    def test_numbers_stay_numbers(self, result: ScreenResult) -> None:
        rows = list(csv.DictReader(io.StringIO(to_csv(result))))
        first = result.logs[0]
        assert float(rows[0]["sensor_error"]) == first.sensor_error.value  # type: ignore[union-attr]
        low = [r for r in rows if r["sensor_error_low"].startswith("-")]
        assert low  # a negative number is no formula

    def test_parquet_holds_the_same_rows(self, result: ScreenResult) -> None:
        table = pq.read_table(io.BytesIO(to_parquet(result)))
        rows = list(csv.DictReader(io.StringIO(to_csv(result))))
        assert table.num_rows == len(rows)
        assert table.column("suspicion").to_pylist()[0] == float(rows[0]["suspicion"])
        assert table.column("sensor_error").to_pylist()[-1] is None


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> ScreenResult:
    """Two dated vehicles, one of which drifts, and one without dates."""
    top = tmp_path_factory.mktemp("fleet")
    write_vehicle(top / "logs" / "drifting", factor=lambda k: 1.0 - 0.02 * k, seed=10)
    write_vehicle(top / "logs" / "sound", seed=30)
    write_log(top / "logs" / "undated" / "run.csv", seed=50)
    return run(str(top / "logs"), write_engine(top), HERE)


class TestVehicles:
    def test_a_planted_drift_is_found_with_its_size(self, fleet: ScreenResult) -> None:
        row = next(v for v in fleet.vehicles if v.vehicle == "drifting")
        assert row.drift is DriftVerdict.DRIFTS
        assert row.days == pytest.approx(298.0)  # 5 January to 30 October
        assert row.change is not None
        assert row.change.contains(0.9 - 1.0)
        assert row.change.half_width < 0.04
        assert [p.started for p in row.points] == sorted(p.started for p in row.points)

    def test_a_sound_vehicle_is_not_said_to_drift(self, fleet: ScreenResult) -> None:
        row = next(v for v in fleet.vehicles if v.vehicle == "sound")
        assert row.drift is not DriftVerdict.DRIFTS
        assert row.change is not None
        assert row.change.contains(0.0)

    def test_vehicles_without_dates_have_no_line(self, fleet: ScreenResult) -> None:
        assert {v.vehicle for v in fleet.vehicles} == {"drifting", "sound"}
        assert fleet.holds(("drifts",))

    def test_points_show_only_what_logs_do_not_share(self, fleet: ScreenResult) -> None:
        row = next(v for v in fleet.vehicles if v.vehicle == "sound")
        whole = row_of(fleet, row.points[0].log).sensor_error
        assert whole is not None
        assert row.points[0].sensor_error.half_width < 0.5 * whole.half_width


@pytest.mark.parametrize(
    ("factors", "alike"),
    [((1.6, 1.6, 1.6), True), ((1.6, 1.6, 0.6), False), ((1.6, 1.0, 1.0), False)],
)
def test_many_vehicles_false_to_one_side_point_at_the_setup(
    tmp_path: Path, factors: tuple[float, ...], alike: bool
) -> None:
    for k, factor in enumerate(factors):
        write_log(tmp_path / "logs" / f"v{k}" / "run.csv", factor=factor, seed=k)
    found = run(str(tmp_path / "logs"), write_engine(tmp_path), HERE)
    assert any(f.code == "errors_alike" for f in found.findings) == alike


def test_copies_of_a_log_are_named_and_count_once(tmp_path: Path) -> None:
    for name in ("2026-01-01.csv", "2026-02-01.csv", "2026-03-01.csv"):
        write_log(tmp_path / "logs" / "v" / name, seed=1)
    found = run(str(tmp_path / "logs"), write_engine(tmp_path), HERE)
    assert any(f.code == "same_content" for f in found.findings)
    assert [(v.logs, v.dated, v.change) for v in found.vehicles] == [(1, 1, None)]


@pytest.mark.parametrize(
    ("name", "date"),
    [
        ("bus/run_2026-03-31.csv", "2026-03-31"),
        ("bus/20260331_1745.csv", "2026-03-31T17:45:00"),
        ("2026.03.31/run7.csv", "2026-03-31"),
        ("bus/run_2026-02-31.csv", ""),  # no such day
        ("bus/120260331.csv", ""),  # a number, no date
        ("bus/run.csv", ""),
    ],
)
def test_a_date_is_taken_from_the_name_only_if_it_is_one(name: str, date: str) -> None:
    assert screen_log._dated(name, "10:02:03").started == date


def test_the_date_in_the_log_goes_before_that_in_its_name() -> None:
    row = screen_log._dated("run_2026-03-31.csv", "2025-01-02T03:04:05+00:00")
    assert (row.started, row.dated_by) == ("2025-01-02T03:04:05+00:00", "log")


class TestFolders:
    def test_a_pattern_names_logs_and_vehicles(self, tmp_path: Path) -> None:
        for name in ("one.data", "bus-7_a.data", "two.csv"):
            save(tmp_path / name, "x")
        found = find_logs(str(tmp_path), ("*.data",), r"bus-(\d+)")
        assert [(log.name, log.vehicle) for log in found.logs] == [
            ("bus-7_a.data", "7"),
            ("one.data", ""),
        ]
        assert found.left_out == ("two.csv",)

    @pytest.mark.parametrize("source", ["missing", "file.txt", "nosuchscheme://x", "memory://no"])
    def test_what_cannot_be_listed_is_refused(self, tmp_path: Path, source: str) -> None:
        save(tmp_path / "file.txt", "x")
        where = source if "://" in source else str(tmp_path / source)
        with pytest.raises(InputError, match="folder of logs cannot be listed"):
            find_logs(where)

    def test_a_folder_without_logs_is_refused(self, tmp_path: Path) -> None:
        save(tmp_path / "notes.md", "x")
        with pytest.raises(InputError, match="folder holds no log"):
            find_logs(str(tmp_path))

    def test_a_bad_expression_is_refused(self, tmp_path: Path) -> None:
        save(tmp_path / "a.csv", "x")
        with pytest.raises(InputError, match="pattern for the vehicle"):
            find_logs(str(tmp_path), (), "(")

    @pytest.mark.skipif(not sys.platform.startswith("linux"), reason="names of bytes")
    def test_names_of_any_bytes_harm_neither_terminal_nor_files(self, tmp_path: Path) -> None:
        for raw in (b"bad\xff.csv", b"red\x1b[31m.csv", b"two\nlines.csv"):
            Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + raw)).write_text("no log\n")
        state = tmp_path / "state.jsonl"
        for _ in range(2):
            found = run(
                str(tmp_path), write_engine(tmp_path), ScreenOptions(workers=1, state=state)
            )
            assert [row.log for row in found.logs] == [
                "bad\\udcff.csv",
                "red\\x1b[31m.csv",
                "two\\nlines.csv",
            ]
            assert all(row.log in row.problem.where for row in found.logs if row.problem)
            to_json(found).encode("utf-8")
            to_csv(found).encode("utf-8")

    def test_a_folder_that_loops_ends(self, tmp_path: Path) -> None:
        save(tmp_path / "a.csv", "x")
        (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
        assert [log.name for log in find_logs(str(tmp_path)).logs] == ["a.csv"]

    def test_a_remote_folder_gives_the_same_rows(self, folder: Path, result: ScreenResult) -> None:
        memory = fsspec.filesystem("memory")
        memory.put(str(folder / "logs") + "/", "/fleet/", recursive=True)
        remote = run("memory://fleet", folder / "engine.toml", ScreenOptions(workers=2))
        assert [row.log for row in remote.logs] == [row.log for row in result.logs]
        assert [row.sensor_error for row in remote.logs] == [r.sensor_error for r in result.logs]
        assert [row.problem for row in remote.logs] == [row.problem for row in result.logs]

    def test_files_by_url_go_through_processes(self, folder: Path, result: ScreenResult) -> None:
        url = (folder / "logs").as_uri()
        remote = run(url, folder / "engine.toml", ScreenOptions(workers=2))
        assert [row.problem for row in remote.logs] == [row.problem for row in result.logs]


class TestState:
    @pytest.fixture
    def place(self, tmp_path: Path) -> Path:
        write_engine(tmp_path)
        write_many(tmp_path / "logs", 3)
        save(tmp_path / "logs" / "bad.csv", "no log\n")
        return tmp_path

    def screen(self, place: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[list[str], str]:
        """Return the names of the logs that were worked on, and the JSON."""
        worked = []
        real = screen_log._checked

        def counted(path: Path, task: Task) -> ScreenRow:
            worked.append(task.name)
            return real(path, task)

        with monkeypatch.context() as patch:
            patch.setattr(screen_log, "_checked", counted)
            options = ScreenOptions(workers=1, state=place / "state.jsonl")
            found = run(str(place / "logs"), place / "engine.toml", options)
        return worked, to_json(found)

    def test_finished_logs_are_not_done_again(
        self, place: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        first, answer = self.screen(place, monkeypatch)
        again, same = self.screen(place, monkeypatch)
        assert len(first) == 4
        assert again == []
        assert same == answer

    def test_a_changed_log_is_done_again_alone(
        self, place: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        self.screen(place, monkeypatch)
        write_log(place / "logs" / "v0" / "log_000.csv", seed=99)
        assert self.screen(place, monkeypatch)[0] == ["v0/log_000.csv"]
        assert self.screen(place, monkeypatch)[0] == []

    def test_another_setup_does_all_again(
        self, place: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        self.screen(place, monkeypatch)
        engine = place / "engine.toml"
        engine.write_text(engine.read_text().replace("0.9", "0.95"))
        assert len(self.screen(place, monkeypatch)[0]) == 4

    @pytest.mark.parametrize("cut", [1, 40, 400])
    def test_a_torn_line_costs_only_its_own_log(
        self, place: Path, monkeypatch: pytest.MonkeyPatch, cut: int
    ) -> None:
        _, answer = self.screen(place, monkeypatch)
        state = place / "state.jsonl"
        whole = state.read_bytes()
        last = len(whole.splitlines(keepends=True)[-1])
        state.write_bytes(whole[: -min(cut, last - 1)])
        worked, same = self.screen(place, monkeypatch)
        assert len(worked) <= 1
        assert same == answer
        assert self.screen(place, monkeypatch) == ([], answer)

    @pytest.mark.parametrize("line", ["null", "[1]", '{"key": 1}', "\x00", '{"row": {"log": 3}}'])
    def test_damaged_lines_are_passed_over(
        self, place: Path, monkeypatch: pytest.MonkeyPatch, line: str
    ) -> None:
        _, answer = self.screen(place, monkeypatch)
        with (place / "state.jsonl").open("a") as stream:
            stream.write(line + "\n")
        assert self.screen(place, monkeypatch) == ([], answer)

    def test_a_file_of_another_kind_is_left_as_it_is(self, place: Path) -> None:
        precious = save(place / "log.csv", "precious\n")
        with pytest.raises(InputError, match="no state of a screen"):
            run(
                str(place / "logs"),
                place / "engine.toml",
                ScreenOptions(workers=1, state=precious),
            )
        assert precious.read_text() == "precious\n"

    def test_the_state_in_the_folder_is_no_log(self, place: Path) -> None:
        state = place / "logs" / "state.txt"
        options = ScreenOptions(workers=1, state=state)
        for _ in range(2):
            found = run(str(place / "logs"), place / "engine.toml", options)
            assert len(found.logs) == 4


def state_rows(path: Path) -> list[str]:
    """Return the logs that the whole lines of a state file hold."""
    if not path.exists():
        return []
    whole = [line for line in path.read_bytes().split(b"\n")[:-1] if line]
    return [json.loads(line)["row"]["log"] for line in whole[1:]]


def wait_until(condition: Any, seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "took too long"
        time.sleep(0.02)


def children(pid: int) -> list[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    return [int(part) for part in text.split()]


def alive(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


COUNT = 48


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Enough logs to kill something in between."""
    top = tmp_path_factory.mktemp("killed")
    write_engine(top)
    write_many(top / "logs", COUNT)
    return top


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks into /proc")
class TestKilled:
    def command(self, many: Path, state: Path) -> list[str]:
        return [
            *(*AIRSENSE, "screen", str(many / "logs"), "--engine", str(many / "engine.toml")),
            *("--workers", "2", "--state", str(state), "--quiet", "--force"),
            *("--json", str(state.with_suffix(".json"))),
        ]

    def test_a_killed_run_goes_on_with_nothing_lost_or_doubled(
        self, many: Path, tmp_path: Path
    ) -> None:
        state = tmp_path / "state.jsonl"
        process = subprocess.Popen(self.command(many, state))
        wait_until(lambda: len(state_rows(state)) >= 3)
        workers = children(process.pid)
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        before = state_rows(state)
        assert 3 <= len(before) < COUNT
        assert not state.with_suffix(".json").exists()
        wait_until(lambda: not any(alive(pid) for pid in workers), 20.0)
        subprocess.run(self.command(many, state), check=True)
        after = state_rows(state)
        assert after[: len(before)] == before
        assert len(after) == len(set(after)) == COUNT
        undisturbed = run(str(many / "logs"), many / "engine.toml", HERE)
        resumed = json.loads(state.with_suffix(".json").read_text())
        assert resumed == json.loads(to_json(undisturbed))

    def test_a_stopped_run_ends_at_once_and_without_a_traceback(
        self, many: Path, tmp_path: Path
    ) -> None:
        state = tmp_path / "state.jsonl"
        # A job that a shell put in the background ignores the interrupt, and so would its child.
        held = signal.signal(signal.SIGINT, signal.default_int_handler)
        process = subprocess.Popen(
            self.command(many, state), stderr=subprocess.PIPE, start_new_session=True
        )
        signal.signal(signal.SIGINT, held)
        wait_until(lambda: len(state_rows(state)) >= 2)
        workers = children(process.pid)
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: parent and workers alike
        _, error = process.communicate(timeout=30)
        assert process.returncode == 130
        assert error.strip() == b"stopped"
        wait_until(lambda: not any(alive(pid) for pid in workers), 20.0)
        assert len(state_rows(state)) < COUNT

    def test_a_killed_worker_costs_nothing(self, many: Path, tmp_path: Path) -> None:
        state = tmp_path / "state.jsonl"
        process = subprocess.Popen(self.command(many, state))
        wait_until(lambda: len(state_rows(state)) >= 3)
        # Beside the workers there is the tracker of the multiprocessing module.
        worker = next(
            pid
            for pid in children(process.pid)
            if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
        )
        os.kill(worker, signal.SIGKILL)
        assert process.wait(120) == 0
        rows = state_rows(state)
        assert len(rows) == len(set(rows)) == COUNT
        outcomes = {
            row["outcome"] for row in json.loads(state.with_suffix(".json").read_text())["logs"]
        }
        assert "failed" not in outcomes


def deadly(task: Task) -> ScreenRow | None:
    """Stand in for a log that takes its process along."""
    if "deadly" in task.name:
        os.kill(os.getpid(), signal.SIGKILL)
    return screen_log.screen_log(task)


def test_a_log_that_kills_its_process_is_given_up_and_the_rest_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    setup = load_engine(write_engine(tmp_path))
    paths = [*write_many(tmp_path, 4), write_log(tmp_path / "deadly.csv")]
    tasks = [
        Task(name=path.name, place=str(path), filesystem=None, setup=setup, rpm=None)
        for path in reversed(paths)
    ]
    monkeypatch.setattr(screen_pool, "screen_log", deadly)
    done = list(screen_pool.in_pool(tasks, 2))
    assert sorted(task.name for task, _ in done) == sorted(path.name for path in paths)
    failed = [row.log for _, row in done if row is not None and row.outcome is Outcome.FAILED]
    assert failed == ["deadly.csv"]


class TestCommand:
    def command(self, folder: Path, tmp_path: Path, *more: str) -> list[str]:
        state = str(tmp_path / "state.jsonl")
        engine = str(folder / "engine.toml")
        source = str(folder / "logs")
        return ["screen", source, "--engine", engine, "--workers", "1", "--state", state, *more]

    def test_it_writes_what_was_asked_for(self, folder: Path, tmp_path: Path) -> None:
        names = {kind: tmp_path / f"out.{kind}" for kind in ("json", "csv", "parquet")}
        more = [part for kind, path in names.items() for part in (f"--{kind}", str(path))]
        code = cli.main([*self.command(folder, tmp_path), *more, "-q"], standalone_mode=False)
        assert not code
        plain = json.loads(names["json"].read_text())
        assert plain["schema"] == "airsense.screen/1"
        assert len(plain["logs"]) == pq.read_table(names["parquet"]).num_rows == 8
        with pytest.raises(InputError, match="output cannot be written"):
            cli.main([*self.command(folder, tmp_path), *more, "-q"], standalone_mode=False)

    @pytest.mark.parametrize(
        ("words", "code"), [(("refused",), 3), (("implausible",), 3), (("failed", "drifts"), 0)]
    )
    def test_fail_on(self, folder: Path, tmp_path: Path, words: tuple[str, ...], code: int) -> None:
        more = [part for word in words for part in ("--fail-on", word)]
        got = cli.main([*self.command(folder, tmp_path), *more, "-q"], standalone_mode=False)
        assert (got or 0) == code

    def test_an_output_that_exists_is_refused_before_the_work(
        self, folder: Path, tmp_path: Path
    ) -> None:
        taken = save(tmp_path / "taken.csv", "mine")
        with pytest.raises(InputError, match="output cannot be written"):
            cli.main([*self.command(folder, tmp_path), "--csv", str(taken)], standalone_mode=False)
        assert taken.read_text() == "mine"
        assert not (tmp_path / "state.jsonl").exists()

    def test_nothing_but_errors_goes_to_standard_error_of_a_pipe(
        self, folder: Path, tmp_path: Path
    ) -> None:
        done = subprocess.run(
            [*AIRSENSE, *self.command(folder, tmp_path)], capture_output=True, check=True
        )
        assert done.stderr == b""
        assert b"south/high.csv" in done.stdout
