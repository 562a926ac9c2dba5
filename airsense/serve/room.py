"""What is being worked on: each piece with its folder, its files and where it stands."""

from __future__ import annotations

import multiprocessing
import shutil
import threading
import time
import tomllib
from dataclasses import dataclass, field
from enum import Enum
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from airsense.errors import InputError
from airsense.serve import child
from airsense.serve.child import Answered, Order, Read, SeenLog, Step
from airsense.serve.forms import claims_of, percent, setup_of, window_of
from airsense.serve.kinds import CLAIMS, ENGINE, Kind
from airsense.serve.toml_text import toml_text
from airsense.serve.uploads import FORM_FILE
from airsense.setup.load import read_toml_text

# What one computer of a workshop keeps and works on at a time; ranges as on the command line.
MOST_PIECES = 30
AT_ONCE = 2
MARGIN_PERCENT = (0.01, 20.0)
SHARE_PERCENT = (5.0, 100.0)


class Stands(Enum):
    """Where a piece of work stands."""

    OPEN = "not started"
    BUSY = "at work"
    READ = "logs read"
    ANSWERED = "answered"
    FAILED = "needs a hand"


@dataclass
class Piece:
    """One piece of work: what was given, and what came of it so far."""

    number: int
    kind: Kind
    folder: Path
    fields: dict[str, str] = field(default_factory=dict)
    channels: dict[str, str] = field(default_factory=dict)
    stands: Stands = Stands.OPEN
    steps: list[str] = field(default_factory=list)
    since_s: float = 0.0
    seen: tuple[SeenLog, ...] = ()
    files: tuple[str, ...] = ()
    error: InputError | None = None
    process: BaseProcess | None = None

    @property
    def busy_s(self) -> int:
        """Seconds since the present work was started."""
        return int(time.monotonic() - self.since_s)

    def tray(self, key: str) -> tuple[Path, ...]:
        """Return the files of a tray, relative to the folder of the piece."""
        folder = self.folder / key
        names = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
        return tuple(Path(key) / name for name in names)

    def order(self) -> Order:
        """Return the order for the work, and write its setup file.

        Raises
        ------
        InputError
            If a tray that is needed is empty, or a figure of the form cannot be used.
        """
        for tray in self.kind.trays:
            if tray.needed and not self.tray(tray.key):
                raise InputError(
                    f"the tray “{tray.title}” is empty",
                    where=f"the form, {tray.title}",
                    got="no file",
                    allowed="one file" if not tray.many else "one file or more",
                    fix="drop the files on the tray, or choose them there",
                )
        return Order(
            kind=self.kind.key,
            folder=self.folder,
            setup=self._setup(),
            files=tuple((tray.key, self.tray(tray.key)) for tray in self.kind.trays),
            rpm=window_of(self.fields),
            margin=percent(self.fields, "margin", "the margin", MARGIN_PERCENT),
            share=percent(self.fields, "share", "the part to apply", SHARE_PERCENT),
        )

    def _setup(self) -> Path:
        key = CLAIMS if self.kind.key == "audit" else ENGINE
        given = [p for p in self.tray(key) if p.suffix.lower() == ".toml" and p != _made(key)]
        uploaded = [p.name for p in self.tray(key) if p != _made(key)]
        if len(given) > 1 or (uploaded and not given):
            raise InputError(
                "the tray for the setup does not hold exactly one TOML file",
                where=f"the form, tray for {key}.toml",
                got=", ".join(uploaded),
                allowed=f"{key}.toml, and the tables that it names",
                fix="take the others out, or leave the tray empty and fill in the form",
            )
        if given and not self.channels:
            return given[0]
        typed = claims_of if key == CLAIMS else setup_of
        # Columns are chosen only after the file that was given has been read without a fault.
        text = read_toml_text(self.folder / given[0]) if given else ""
        data = tomllib.loads(text) if given else typed(self.fields)
        if self.channels:
            data["channels"] = {**data.get("channels", {}), **self.channels}
        path = _made(key)
        (self.folder / key).mkdir(exist_ok=True)
        (self.folder / path).write_text(toml_text(data).lstrip(), encoding="utf-8")
        return path


def _made(key: str) -> Path:
    """Return where the setup file that is written here is put; no upload takes that name."""
    return Path(key) / FORM_FILE


class Room:
    """All pieces of work since the start; at most `AT_ONCE` of them are worked on at a time."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._pieces: dict[int, Piece] = {}
        self._count = 0
        self._closed = False
        self._lock = threading.Lock()
        self._places = threading.Semaphore(AT_ONCE)
        # A fresh interpreter: a fork of a process with threads may hang.
        self._context = multiprocessing.get_context("spawn")

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Return all pieces, the latest first."""
        return tuple(reversed(self._pieces.values()))

    def get(self, number: int) -> Piece | None:
        """Return a piece, or None if there is none of that number."""
        return self._pieces.get(number)

    def new(self, kind: Kind) -> Piece:
        """Return a new piece with a folder of its own.

        Raises
        ------
        InputError
            If there are too many.
        """
        if len(self._pieces) >= MOST_PIECES:
            raise InputError(
                "there are too many pieces of work on this table",
                where="the start page",
                got=str(len(self._pieces)),
                allowed=f"at most {MOST_PIECES}",
                fix="save what you need and remove some on the start page",
            )
        self._count += 1
        folder = self._folder / str(self._count)
        folder.mkdir()
        piece = Piece(number=self._count, kind=kind, folder=folder)
        self._pieces[piece.number] = piece
        return piece

    def remove(self, piece: Piece) -> None:
        """Stop and forget a piece, with its files."""
        with self._lock:
            self._pieces.pop(piece.number, None)
            _stop(piece)
        shutil.rmtree(piece.folder, ignore_errors=True)

    def close(self) -> None:
        """Stop all work; the folder is its owner's to remove."""
        with self._lock:
            self._closed = True
            for piece in self._pieces.values():
                _stop(piece)

    def start(self, piece: Piece, part: str) -> None:
        """Begin to `read` or to `answer`; what comes of it is noted in the piece.

        Raises
        ------
        InputError
            If what was given is not enough to begin.
        """
        order = piece.order()
        piece.stands, piece.error, piece.since_s = Stands.BUSY, None, time.monotonic()
        piece.steps = []
        threading.Thread(target=self._follow, args=(piece, order, part), daemon=True).start()

    def _follow(self, piece: Piece, order: Order, part: str) -> None:
        with self._places:
            receive, send = self._context.Pipe(duplex=False)
            with self._lock:
                if self._closed or piece.number not in self._pieces:
                    return
                process = self._context.Process(
                    target=child.main, args=(order, part, send), daemon=True
                )
                process.start()
                piece.process = process
            send.close()
            self._listen(piece, receive, part)
            receive.close()
            process.join()

    def _listen(self, piece: Piece, receive: Any, part: str) -> None:
        while True:
            try:
                message = receive.recv()
            except (EOFError, OSError):
                message = child.own_fault(part, "the work ended without a word; out of memory?")
            match message:
                case Step(text):
                    piece.steps.append(text)
                    continue
                case Read(logs):
                    piece.seen, piece.stands = logs, Stands.READ
                case Answered(files):
                    piece.files, piece.stands = files, Stands.ANSWERED
                case InputError():
                    piece.error, piece.stands = message, Stands.FAILED
            return


def _stop(piece: Piece) -> None:
    if piece.process is not None and piece.process.is_alive():
        piece.process.kill()
        piece.process.join()
