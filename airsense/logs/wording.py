"""One entry of the vocabulary: phrases that stand for a canonical channel."""

from __future__ import annotations

from dataclasses import dataclass

SAE = 1
TRADE = 2


@dataclass(frozen=True, slots=True)
class Wording:
    """Phrases for one canonical channel.

    With `unit_tells` the phrase alone is too little ("fuel" may be the tank's level): it counts
    only beside a written unit, of fuel one of flow or of a mass or volume per stroke.
    """

    name: str
    rank: int
    phrases: tuple[str, ...]
    unit_tells: bool = False
