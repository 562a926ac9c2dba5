"""What a figure of the report is: how to draw it, its caption and its words for the blind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One figure: `name` for files and ids, `caption` says what to see, `alt` what is drawn."""

    form: ClassVar[str] = "figure"
    name: str
    title: str
    caption: str
    alt: str
    draw: Callable[[], Figure]
    level: int = 1
