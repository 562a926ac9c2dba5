"""The terminal: plain when piped, narrow windows survive, NO_COLOR is respected by rich."""

from __future__ import annotations

import os
import sys

from rich.console import Console

# Of what is piped.
PLAIN_WIDTH = 100


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command line what a reader that has gone means."""
        raise BrokenPipeError


def make_console() -> Console:
    """Return a console on standard output; a pipe is not styled, and is as wide as COLUMNS says."""
    if sys.stdout.isatty():
        return _Console(highlight=False)
    asked = os.environ.get("COLUMNS", "")
    width = int(asked) if asked.isdecimal() and int(asked) > 0 else PLAIN_WIDTH
    return _Console(highlight=False, width=width, color_system=None, force_terminal=False)
