"""A header as written -> its name and its unit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from airsense.units import look_up

_OPENING = "[({<"
_CLOSING = "])}>"
_BARE_LETTERS = {"c", "f", "k", "v", "s"}


@dataclass(frozen=True, slots=True)
class Header:
    """One column of a log file before anything is recognised.

    `unit_row` is the unit from a second row or from the file's own meta data, else "".
    """

    text: str
    unit_row: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to split a header: `sure` if brackets or a unit row set the unit apart."""

    name: str
    unit: str
    sure: bool = False


def repair_text(text: str) -> str:
    """Undo encodings applied twice or more ("Â°C", "Ã‚Â°C"), and tidy blanks and quotes."""
    for _ in range(3):
        if not any(mark in text for mark in ("Â", "Ã", "â")):
            break
        text, before = _undo_once(text), text
        if text == before:
            break
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.replace("\u00a0", " ").split()).strip("\"'").strip()


def _undo_once(text: str) -> str:
    for codec in ("cp1252", "latin-1"):
        try:
            return text.encode(codec).decode("utf-8")
        except (UnicodeEncodeError, UnicodeDecodeError):
            continue
    return text


def readings(header: Header) -> Iterator[Reading]:
    """Yield the ways to read a header, the surest first."""
    text = header.text
    if header.unit_row:
        bracket = _bracketed(text)
        if bracket is not None and look_up(bracket.unit) is not None:
            yield Reading(bracket.name, header.unit_row, sure=True)
        yield Reading(text, header.unit_row, sure=True)
        return
    bracket = _bracketed(text)
    if bracket is not None:
        yield bracket
        if look_up(bracket.unit) is not None:
            return
    yield Reading(text, "")
    if bracket is None:
        yield from _trailing(text)


def _bracketed(text: str) -> Reading | None:
    """Split "MAP (psi(g))"; the outermost bracket that holds a unit wins, else the last one."""
    if not text or text[-1] not in _CLOSING:
        return None
    places = [i for i, c in enumerate(text) if c in _OPENING and i > 0]
    for place in places:
        inside = text[place + 1 : -1].strip()
        if look_up(inside) is not None:
            return Reading(text[:place].strip(), inside, sure=True)
    if not places:
        return None
    return Reading(text[: places[-1]].strip(), text[places[-1] + 1 : -1].strip(), sure=True)


def _trailing(text: str) -> Iterator[Reading]:
    """Yield "p / kPa", "speed, rpm", "MAP_kPa", "MAP kPa abs" split before the unit."""
    for match in re.finditer(r"\s*[/,:]\s*|[\s_.-]+", text):
        name, unit = text[: match.start()], text[match.end() :]
        if "_" in unit and look_up(unit) is None:  # MASS_AIR_FLOW_KG_H
            unit = unit.replace("_", "/")
        if not name or not unit or look_up(unit) is None:
            continue
        spaced_slash = "/" in match.group() and " " in match.group()
        bare = unit.casefold() in _BARE_LETTERS and "/" not in match.group()
        if not unit.isdigit() and (len(unit) > 1 or bare or spaced_slash):
            yield Reading(name, unit)
