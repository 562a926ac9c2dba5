"""Pieces that every result is made of. Frozen; JSON keys are the field names."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Severity(Enum):
    """How much a finding matters."""

    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something seen in a log or a setup, with its remedy."""

    code: str
    severity: Severity
    message: str
    fix: str
    where: str = ""


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 95 % interval, in SI units or as a plain fraction."""

    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half of the distance between the bounds."""
        return 0.5 * (self.high - self.low)

    def contains(self, value: float) -> bool:
        """Whether `value` lies between the bounds."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """A number or choice that was not measured here."""

    quantity: str
    value: str
    source: str
