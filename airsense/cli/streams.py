"""Standard output and error that take any text, whatever the terminal can show."""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from pathlib import Path

_HANDLER = "airsense.plain"
_PLAIN = {
    "−": "-",
    "‐": "-",
    "‑": "-",
    "–": "-",
    "—": "-",
    "×": "x",
    "·": "*",
    "⋅": "*",
    "∙": "*",
    "±": "+-",
    "°": "deg",
    "≤": "<=",
    "≥": ">=",
    "≈": "~",
    "→": "->",
    "←": "<-",
    "∝": "~",
    "√": "sqrt",
    "λ": "lambda",
    "η": "eta",
    "θ": "theta",
    "Δ": "delta ",
    "σ": "sigma",
    "…": "...",
    "‘": "'",
    "’": "'",
    "‚": "'",
    "′": "'",
    "“": '"',
    "”": '"',
    "„": '"',
    "″": '"',
    "«": '"',
    "»": '"',
    "•": "*",
    "ß": "ss",
    "µ": "u",
    "μ": "u",
    "\u00a0": " ",
    "\u2009": " ",
    "\u202f": " ",
    "✓": "+",
    "✗": "x",
    "▏": "|",
    "│": "|",
    "┃": "|",
    "║": "|",
    "╱": "/",
    "╲": "\\",
}


def settle_streams() -> None:
    """Let standard output and error write what they cannot show in plain letters, not fail."""
    codecs.register_error(_HANDLER, _replace)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed by whoever started the program
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  # till the end
            setattr(sys, name, nowhere)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_HANDLER)


def close_quietly() -> None:
    """Send what is still to be printed nowhere, after the reader of a pipe has gone."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except BrokenPipeError:
            os.dup2(nowhere, stream.fileno())


def _replace(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    text = error.object[error.start : error.end]
    return "".join(map(_plain, text)), error.end


def _plain(letter: str) -> str:
    if letter in _PLAIN:
        return _PLAIN[letter]
    if "\u2500" <= letter <= "\u257f":  # lines of boxes
        return "-"
    if "\u2580" <= letter <= "\u259f":  # bars
        return "#"
    base = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode("ascii")
    return base or "?"
