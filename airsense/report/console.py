"""The terminal: plain when piped, narrow windows survive, NO_COLOR is respected by rich."""

from __future__ import annotations

import sys

from rich.console import Console

PLAIN_WIDTH = 100


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command line what a reader that has gone means."""
        raise BrokenPipeError


def make_console() -> Console:
    """Return a console on standard output; a pipe gets a fixed width and no styling."""
    if sys.stdout.isatty():
        return _Console(highlight=False)
    return _Console(highlight=False, width=PLAIN_WIDTH, color_system=None, force_terminal=False)
