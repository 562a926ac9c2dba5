"""A value that somebody else printed, and how near to it is near enough."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from tests.published.references import NOT_INDEPENDENT, REFERENCES

# A wider tolerance would pass a wrong formula, so a check that needs one is no check.
LARGEST_TOLERANCE = 0.10


@dataclass(frozen=True)
class Published:
    """A printed value; `printed` is text so that its last digit gives the tolerance.

    Parameters
    ----------
    source : str
        A key of `REFERENCES` with table, example or page; or what says that it is no outside
        check: from memory, by hand, not an independent check.
    printed : str
        The value as printed, e.g. "1.2250" or "7.538e5".
    model_offset : float
        Further tolerance as a fraction of the value, where the printed value comes from another
        model, or from rounded intermediate steps. Needs a `why`.
    why : str
        Reason for the offset.
    """

    source: str
    printed: str
    model_offset: float = 0.0
    why: str = ""

    def __post_init__(self) -> None:
        assert self.source.strip(), "a published value needs its source"
        assert self.references or not self.independent, f"{self.source}: no reader can find that"
        assert self.model_offset >= 0.0
        assert bool(self.model_offset) == bool(self.why.strip()), "an offset needs a why"
        assert self.tolerance <= LARGEST_TOLERANCE * abs(self.value), (
            f"{self.source}: {self.printed} is too coarse, or its offset too wide, to prove much"
        )

    @property
    def references(self) -> tuple[str, ...]:
        """The texts that the source names, in full."""
        return tuple(full for key, full in REFERENCES.items() if key in self.source)

    @property
    def independent(self) -> bool:
        """Whether somebody else's text or library stands behind the value."""
        return not any(words in self.source for words in NOT_INDEPENDENT)

    @property
    def value(self) -> float:
        """The printed value as a number."""
        return float(self.printed)

    @property
    def tolerance(self) -> float:
        """Half a unit of the last printed digit, plus the offset."""
        exponent = Decimal(self.printed).as_tuple().exponent
        assert isinstance(exponent, int)
        return 0.5 * 10.0**exponent * (1.0 + 1e-9) + self.model_offset * abs(self.value)

    def check(self, got: object) -> None:
        """Fail unless `got` is a finite number within the tolerance."""
        number = float(np.asarray(got))
        assert np.isfinite(number), f"{self.source}: got {number}"
        assert abs(number - self.value) <= self.tolerance, (
            f"{self.source}: got {number!r}, printed {self.printed}, tolerance {self.tolerance:g}"
        )
