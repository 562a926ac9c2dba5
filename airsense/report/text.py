"""Blocks on a terminal: one screen unless everything is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Any, cast

from rich.padding import Padding
from rich.text import Text

from airsense.report.blocks import (
    ONE_SCREEN,
    PART,
    Block,
    Caution,
    Heading,
    Sentence,
    Table,
)
from airsense.report.says import blocks
from airsense.report.text_parts import STYLES, plain_table
from airsense.report.words import NOTHING

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

# One screen.
MOST_LINES = 40
MORE = "--all"
CUT = f"(More with {MORE}.)"
# Blanks between columns, and the width at which a column of words still reads well.
GAP, READABLE = 2, 12
# Answers of which none gives way for want of room.
MOST_ANSWERS = 2
# A table of so many columns needs no titles once its rows are words.
MOST_OBVIOUS = 2


def render(
    result: Any, console: Console, units: str | None = None, *, everything: bool = False
) -> None:
    """Print a result: what fits one screen, or all of it.

    On one screen the last of many answers gives way first, then the longest table, then the
    longest sentence; a caution never does.
    """
    said = blocks(result, units)
    chosen = list(said) if everything else [b for b in said if b.level == ONE_SCREEN]
    drawn = _drawn(chosen, console)
    while not everything and _lines(drawn, console) > MOST_LINES:
        shorter = _shorter(chosen)
        if shorter is None:
            break
        chosen = shorter
        drawn = _drawn(chosen, console)
    for item in drawn:
        console.print(item)


def _lines(drawn: Sequence[RenderableType], console: Console) -> int:
    return sum(len(console.render_lines(item)) for item in drawn)


def _shorter(said: list[Block]) -> list[Block] | None:
    """Return the blocks with one row or sentence less, or None if nothing can give way."""
    heads = [k for k, b in enumerate(said) if isinstance(b, Heading)]
    if len(heads) > MOST_ANSWERS:
        left = [b for b in said[heads[-1] :] if isinstance(b, Table | Caution)]
        more = Sentence(text=f"More answers with {MORE}.")
        return [*(b for b in said[: heads[-1]] if b != more), more, *left]
    tables = [k for k, b in enumerate(said) if isinstance(b, Table) and len(b.rows) > 1]
    if tables:
        k = max(tables, key=lambda k: len(cast(Table, said[k]).rows))
        given = cast(Table, said[k])
        cut = len(given.rows) - 1
        note = f"More rows with {MORE}."
        return [*said[:k], replace(given, rows=given.rows[:cut], note=note), *said[k + 1 :]]
    texts = {k: _without_end(b.text) for k, b in enumerate(said) if isinstance(b, Sentence)}
    wordy = [k for k, text in texts.items() if text]
    if not wordy:
        return None
    k = max(wordy, key=lambda k: len(texts[k]))
    kept = replace(cast(Sentence, said[k]), text=f"{texts[k]}. {CUT}")
    return [*said[:k], kept, *said[k + 1 :]]


def _without_end(text: str) -> str:
    """Return a text without its last sentence and full stop; empty if it has but one."""
    return text.removesuffix(f" {CUT}").rpartition(". ")[0]


def _drawn(said: Sequence[Block], console: Console) -> list[RenderableType]:
    """Return what to print, a blank line around tables and ahead of headings."""
    out: list[RenderableType] = []
    for form, group in groupby(said, key=lambda b: b.form):
        if form == "caution":
            words = " ".join(cast(Caution, b).text for b in group)
            out += ["", Text.assemble(("Caution: ", "bold"), (words, "dim"))]
            continue
        for block in group:
            if isinstance(block, Heading):
                out += _heading(block, first=not out)
            elif isinstance(block, Sentence):
                lead = f"{block.lead}{chr(10) if block.literal else ' '}" if block.lead else ""
                out.append(Text.assemble((lead, "bold"), block.text))
            elif isinstance(block, Table):
                out += ["", *_table(block, console), ""]
    return [item for k, item in enumerate(out) if item != "" or (k and out[k - 1] != "")]


def _heading(heading: Heading, *, first: bool) -> list[RenderableType]:
    style = "bold underline" if heading.rank == PART else "bold"
    out: list[RenderableType] = [] if first else [""]
    out.append(Text(heading.text, style))
    if heading.badge:
        out.append(Text(heading.badge.upper(), STYLES[heading.tone]))
    return out


def _table(given: Table, console: Console) -> list[RenderableType]:
    """Return a table, or rows of words where the window is too narrow for it."""
    out: list[RenderableType] = [] if given.level == ONE_SCREEN else [Text(given.title, "italic")]
    drawn = plain_table(*given.columns, right=given.numbers)
    for row in given.rows:
        drawn.add_row(*(Text(cell) for cell in row))
    stacked = given.wordy and given.level != ONE_SCREEN
    if _narrowest(given) <= console.width and not stacked:
        out.append(drawn)
    else:
        out += [_stacked(given, row) for row in given.rows]
    if given.note:
        out.append(Padding(Text(given.note, "dim"), (0, 0, 0, 2), expand=False))
    return out


def _narrowest(given: Table) -> int:
    """Return the width below which a table is no longer read: numbers whole, words as words."""
    width = GAP * (len(given.columns) - 1)
    for k, title in enumerate(given.columns):
        cells = [title, *(row[k] for row in given.rows)]
        longest = max(map(len, cells))
        if title not in given.numbers:
            word = max(len(word) for cell in cells for word in (*cell.split(), ""))
            longest = max(word, min(longest, READABLE))
        width += longest
    return width


def _stacked(given: Table, row: Sequence[str]) -> RenderableType:
    first, *titles = given.columns
    cells = [
        f"{title} {cell}" if len(titles) >= MOST_OBVIOUS else cell
        for title, cell in zip(titles, row[1:], strict=True)
        if cell not in ("", NOTHING)
    ]
    # A number alone would not say what it is of.
    head = f"{first} {row[0]}" if first in given.numbers else row[0]
    line = Text.assemble((head, "bold"), ": ", "; ".join(cells))
    return Padding(line, (0, 0, 0, 2), expand=False)
