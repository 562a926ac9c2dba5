"""Two sensors that share the air: columns of one quantity by bank, to be added."""

from __future__ import annotations

from airsense.logs.words import words

# Only the air flow of two banks adds up; of everything else one column is meant.
ADDED = "mass_air_flow"
_SIDES = ({"1", "2"}, {"a", "b"}, {"left", "right"}, {"links", "rechts"}, {"linke", "rechte"})
_NAMES = frozenset(("bank", "side", "zylinderbank", "seite"))
_LABELS = frozenset().union(*_SIDES)
# A number alone may also count two sensors in one tube.
_TELLING = _NAMES | {"left", "right", "links", "rechts", "linke", "rechte"}


def without_bank(name: str) -> str:
    """Return a name less what tells its bank."""
    return " ".join(w for w in _split(name) if w not in _NAMES and w not in _LABELS)


def are_banks(first: str, second: str) -> bool:
    """Return whether two headers are alike but for the bank that they name."""
    one, two = _split(first), _split(second)
    differing = set(one) ^ set(two)
    return differing in _SIDES and sorted(set(one) - differing) == sorted(set(two) - differing)


def says_bank(name: str) -> bool:
    """Return whether a name says outright that it is one of several."""
    return bool(_TELLING & set(_split(name)))


def _split(name: str) -> list[str]:
    """Return the words of a name; `bank1` is two of them."""
    out = []
    for word in words(name):
        stem, end = word[:-1], word[-1:]
        out += [stem, end] if stem in _NAMES and end in _LABELS else [word]
    return out
