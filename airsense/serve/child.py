"""The work itself, in a process of its own: it can be stopped, and a crash harms nothing else.

It works inside the folder of its order, so that a result names files as the user does.
"""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from airsense.errors import InputError
from airsense.jobs.channels import ChannelsResult
from airsense.serve.kinds import CLAIMS, KINDS

OUT = "out"
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What to do: a job, its folder, its setup file and its files by tray, relative to it."""

    kind: str
    folder: Path
    setup: Path
    files: tuple[tuple[str, tuple[Path, ...]], ...]
    rpm: tuple[float, float] | None = None
    margin: float | None = None
    share: float | None = None

    def tray(self, key: str) -> tuple[Path, ...]:
        """Return the files of a tray."""
        return dict(self.files)[key]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLog:
    """What was recognised in a log, or why it cannot be read; its headers either way."""

    log: str
    headers: tuple[str, ...]
    result: ChannelsResult | None = None
    error: InputError | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """A sentence on how far the work is."""

    text: str


@dataclass(frozen=True, slots=True)
class Read:
    """The logs have been read."""

    logs: tuple[SeenLog, ...]


@dataclass(frozen=True, slots=True)
class Answered:
    """The answer stands in these files of the folder `OUT`; the first is the page."""

    files: tuple[str, ...]


def main(order: Order, part: str, send: Connection) -> None:
    """Do one part of an order, `read` or `answer`, and send what comes of it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server stops its children itself
    os.chdir(order.folder)
    try:
        refuse_foreign_files(order)
        done = _read(order, _sayer(send)) if part == "read" else _answer(order, _sayer(send))
        send.send(done)
    except InputError as error:
        send.send(error)
    except Exception as error:  # whatever it is, the browser must be told
        traceback.print_exc()
        send.send(own_fault(part, f"{type(error).__name__}: {error}"))


def own_fault(part: str, got: str) -> InputError:
    """Return how a fault of the program is told."""
    return InputError(
        "airsense met a fault of its own: this is not your mistake",
        where=f"while it was to {part}",
        got=got,
        allowed="an answer, or a word on what to mend",
        fix="try with fewer or smaller logs, and report what the terminal shows",
    )


def _sayer(send: Connection) -> Say:
    return lambda text: send.send(Step(text))


def refuse_foreign_files(order: Order) -> None:
    """Refuse a setup that names a file which was not put into its own tray.

    Raises
    ------
    InputError
        If the setup cannot be read, or points elsewhere on the disk.
    """
    from airsense.setup.claims import Claims
    from airsense.setup.engine import EngineSetup
    from airsense.setup.load import load_model

    named: list[str] = []
    if order.kind == "audit":
        table = load_model(order.setup, Claims).table
        named += [table] if table is not None and "\n" not in table else []
    else:
        setup = load_model(order.setup, EngineSetup)
        breathing = setup.engine.volumetric_efficiency
        named += [breathing] if isinstance(breathing, str) else []
        named += [setup.compressor_map.file] if setup.compressor_map is not None else []
    beside = {path.name for path in order.setup.parent.iterdir()}
    for name in named:
        if name not in beside:
            raise InputError(
                "the setup names a file that was not given with it",
                where=str(order.setup),
                got=repr(name),
                allowed="a plain file name out of the same tray",
                fix=f"put {Path(name).name} into the tray beside it, and name it without a folder",
            )


def _read(order: Order, say: Say) -> Read:
    from airsense.setup.load import load_engine

    load_engine(order.setup)  # a fault of the setup is told once, not for each log
    trays = [tray.key for tray in KINDS[order.kind].trays if tray.logs]
    logs = [path for key in trays for path in order.tray(key)]
    seen = []
    for count, log in enumerate(logs, 1):
        say(f"Reading {log}, {count} of {len(logs)}")
        seen.append(_seen(log, order.setup))
    return Read(tuple(seen))


def _seen(log: Path, setup: Path) -> SeenLog:
    from airsense.jobs import channels

    try:
        result = channels.run(log, setup)
    except InputError as error:
        return SeenLog(log=str(log), headers=_headers(log), error=error)
    return SeenLog(log=str(log), headers=_headers(log), result=result)


def _headers(log: Path) -> tuple[str, ...]:
    """Return the headers of a log, none if it is no log."""
    from contextlib import closing

    from airsense.logs.container import open_container
    from airsense.logs.registry import open_source

    try:
        with closing(open_source(open_container(log))[1]) as source:
            return tuple(dict.fromkeys(h.text for h in source.headers if h.text))
    except InputError:
        return ()


def _answer(order: Order, say: Say) -> Answered:
    from airsense.report.as_json import to_json
    from airsense.report.files import write_text
    from airsense.report.html import render_page

    say("Reading the logs and weighing the evidence" if order.kind != CLAIMS else "Weighing")
    result = _run(order)
    say("Drawing the page")
    out = Path(OUT)
    out.mkdir(exist_ok=True)
    page, data = (f"airsense-{order.kind}.{ending}" for ending in ("html", "json"))
    write_text(out / page, render_page(result), force=True)
    write_text(out / data, to_json(result), force=True)
    setup = f"{order.setup.parent.name}.toml"
    write_text(out / setup, order.setup.read_text("utf-8-sig"), force=True)
    return Answered((page, data, setup, *_new_table(order, result)))


def _run(order: Order) -> Any:
    if order.kind == "compare":
        from airsense.evidence.verdict import DEFAULT_MARGIN
        from airsense.jobs import compare

        return compare.run(
            order.setup,
            order.tray("before"),
            order.tray("after"),
            rpm=order.rpm,
            margin=order.margin or DEFAULT_MARGIN,
        )
    if order.kind == "check":
        from airsense.jobs import check

        return check.run(order.tray("logs"), order.setup, rpm=order.rpm)
    if order.kind == "rescale":
        from airsense.jobs import rescale

        old = order.tray("old_table")
        return rescale.run(
            order.setup,
            order.tray("logs"),
            order.tray("table")[0],
            baseline=order.tray("baseline"),
            baseline_table=old[0] if old else None,
            share=order.share or 1.0,
        )
    from airsense.jobs import audit

    return audit.run(order.setup)


def _new_table(order: Order, result: Any) -> tuple[str, ...]:
    """Write the new transfer table and its note; nothing where the job refuses one."""
    if order.kind != "rescale":
        return ()
    from airsense.jobs import rescale
    from airsense.transfer.decision import Decision

    if result.decision is Decision.REFUSED:
        return ()
    out = Path(OUT) / f"new_{order.tray('table')[0].name}"
    rescale.write_table(result, order.tray("table")[0], out, force=True)
    return out.name, rescale.note_path(out).name
