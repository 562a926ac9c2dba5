"""Pieces that every result is made of. Frozen; JSON keys are the field names."""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from enum import Enum


class Presented:
    """A result that a notebook shows as its page."""

    __slots__ = ()

    def _repr_html_(self) -> str:
        """Return the page as a frame; bound late, so that results do not depend on reports."""
        notebook = importlib.import_module("airsense.report.notebook")
        return str(notebook.notebook(self))


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


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """A file that went into a result, so that another person can repeat it."""

    path: str
    sha256: str
    role: str


CAUTIONS = (
    "Running an engine under load on a dynamometer can injure and destroy: restraints, rotating "
    "parts, heat, exhaust gas.",
    "A changed MAF table changes fuelling, smoke limit, exhaust temperature and turbo speed: "
    "step, log and stop.",
    "Emission and road law may forbid a change to intake or calibration: follow local codes and "
    "licensed practice.",
    "airsense advises; it certifies nothing.",
)
