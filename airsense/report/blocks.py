"""What a result says, once: a tuple of blocks that text and page render each in its own way.

`level` decides who sees a block: 0 is the one screen that everybody gets, 1 the full answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, TypeAlias

from airsense.report.figure import Picture

# More letters are a sentence. Who sees a block: everybody, or who asks for all.
LONG_CELL = 36
ONE_SCREEN, FULL = 0, 1
# Rank of a heading: a part of the page, or a subject inside one.
PART, SUBJECT = 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A heading. `badge` is a verdict in large words, `tone` what its colour says.

    A heading of rank PART begins a part of the page that is called `name`.
    """

    form: ClassVar[str] = "heading"
    text: str
    badge: str = ""
    tone: str = ""
    rank: int = SUBJECT
    name: str = ""
    level: int = ONE_SCREEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """Words in full sentences, after a `lead`; `literal` keeps line ends, as of lines to paste."""

    form: ClassVar[str] = "sentence"
    text: str
    lead: str = ""
    literal: bool = False
    level: int = ONE_SCREEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """Words of safety; always on the first screen."""

    form: ClassVar[str] = "caution"
    text: str
    level: int = ONE_SCREEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table. Columns whose title is in `numbers` are flush right."""

    form: ClassVar[str] = "table"
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[str] = frozenset()
    note: str = ""
    level: int = FULL

    @property
    def wordy(self) -> bool:
        """Whether a cell holds a sentence: such rows are stacked on a phone."""
        return any(len(cell) > LONG_CELL for row in self.rows for cell in row)


Block: TypeAlias = Heading | Sentence | Caution | Table | Picture


def table(
    title: str,
    columns: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Iterable[str] = (),
    note: str = "",
    level: int = FULL,
) -> Table:
    """Return a table from any sequences."""
    return Table(
        title=title,
        columns=tuple(columns),
        rows=tuple(tuple(row) for row in rows),
        numbers=frozenset(numbers),
        note=note,
        level=level,
    )


def filled(blocks: Iterable[Block]) -> tuple[Block, ...]:
    """Return the blocks without tables that have no rows and sentences that have no words."""
    return tuple(b for b in blocks if not _is_empty(b))


def _is_empty(block: Block) -> bool:
    return (isinstance(block, Table) and not block.rows) or (
        isinstance(block, Sentence) and not block.text
    )
