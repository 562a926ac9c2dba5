"""The terminal: plain when piped, narrow windows survive, NO_COLOR is respected by rich."""

from __future__ import annotations

import sys

from rich.console import Console

PLAIN_WIDTH = 100


def make_console() -> Console:
    """Return a console on standard output; a pipe gets a fixed width and no styling."""
    if sys.stdout.isatty():
        return Console(highlight=False)
    return Console(highlight=False, width=PLAIN_WIDTH, color_system=None, force_terminal=False)
