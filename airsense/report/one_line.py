"""A result in one line, as Python prints it."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable
from typing import Any

from airsense.report.frames import MAIN, kind_of

# Two lines of a terminal.
LONGEST = 160


def one_line(result: Any) -> str:
    """Return kind and answer of a result, at most `LONGEST` characters within the brackets."""
    kind = kind_of(result)
    said = textwrap.shorten(f"{kind}: {_said(kind, result)}", LONGEST, placeholder=" …")
    return f"<airsense {said}>"


def _said(kind: str, result: Any) -> str:
    if kind == "demo":
        return _said("compare", result.compare)
    rows = getattr(result, MAIN[kind])
    if kind == "compare" and len(rows) == 1:
        return f"{rows[0].verdict.value}. {rows[0].sentence}"
    if kind in ("compare", "audit"):
        return _counted(row.verdict.value for row in rows)
    if kind == "channels":
        return f"{result.log}, {len(rows)} channels: " + ", ".join(row.name for row in rows)
    verdict = getattr(result, "verdict", None) or getattr(result, "decision", None)
    return (f"{verdict.value}. " if verdict is not None else "") + str(result.sentence)


def _counted(words: Iterable[str]) -> str:
    counts = Counter(words)
    return ", ".join(f"{n} {word}" for word, n in counts.most_common()) or "nothing is claimed"
