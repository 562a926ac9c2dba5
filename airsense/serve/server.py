"""The server: on this computer only, until it is ended; then nothing of it is left."""

from __future__ import annotations

import secrets
import signal
import socket
import tempfile
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn

from airsense.errors import InputError
from airsense.serve.app import make_app
from airsense.serve.guard import KEY
from airsense.serve.room import Room

ADDRESS = "127.0.0.1"
# What a page that is being sent may still take.
LAST_WORDS_S = 2


def serve(*, port: int, open_browser: bool, say: Callable[[str], None]) -> None:
    """Serve until ended from the page, by Ctrl-C or by a signal.

    Parameters
    ----------
    port : int
        0 takes a free one.
    open_browser : bool
    say : callable
        Takes the address with its key, once it can be opened.

    Raises
    ------
    InputError
        If the port is taken.
    """
    key = secrets.token_urlsafe(24)
    with (
        _listening(port) as door,
        # What a killed child was about to write must not keep the rest from being removed.
        tempfile.TemporaryDirectory(prefix="airsense-", ignore_cleanup_errors=True) as folder,
    ):
        room = Room(Path(folder))
        port = door.getsockname()[1]
        server = uvicorn.Server(
            uvicorn.Config(
                make_app(room, port=port, key=key, end=lambda: _end(server)),
                log_level="warning",
                access_log=False,  # it would print the key
                proxy_headers=False,
                server_header=False,
                lifespan="off",
                timeout_graceful_shutdown=LAST_WORDS_S,
            )
        )
        _end_on_signals(server)
        address = f"http://{ADDRESS}:{port}/?{KEY}={key}"
        say(address)
        if open_browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        try:
            server.run(sockets=[door])
        except KeyboardInterrupt:
            pass  # the usual way to end it
        finally:
            room.close()


def _listening(port: int) -> socket.socket:
    """Return a socket of this computer that nothing outside can reach."""
    door = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        door.bind((ADDRESS, port))
        door.listen()
    except (OSError, OverflowError) as error:
        door.close()
        raise InputError(
            "the port cannot be used",
            where=f"airsense serve --port {port}",
            got=getattr(error, "strerror", None) or str(error),
            allowed="a port of this computer that nothing else uses",
            fix="leave --port out: a free one is then taken",
        ) from None
    return door


def _end(server: uvicorn.Server) -> None:
    server.should_exit = True


def _end_on_signals(server: uvicorn.Server) -> None:
    """Let a polite kill and a closed terminal end it as Ctrl-C does: the folder is removed."""

    def handler(number: int, frame: FrameType | None) -> None:
        server.should_exit = True

    for name in ("SIGTERM", "SIGHUP"):  # the second is not known everywhere
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, handler)
