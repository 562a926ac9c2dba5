"""Pieces that every result is made of. Frozen; JSON keys are the field names."""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

# Half-width of a normal 95 % interval over its standard deviation: JCGM 100:2008, table G.1.
K_95 = 1.959964


class Presented:
    """A result: one line where it is printed, its page in a notebook, JSON, and tables.

    Reports are bound late, so that results do not depend on them.
    """

    __slots__ = ()

    def __init_subclass__(cls) -> None:
        """Keep the short line: a dataclass writes a `repr` of all fields where it finds none."""
        if "__repr__" not in cls.__dict__:
            cls.__repr__ = Presented.__repr__  # type: ignore[method-assign]

    def __repr__(self) -> str:
        """Return the answer in one line."""
        one_line = importlib.import_module("airsense.report.one_line")
        return str(one_line.one_line(self))

    def to_json(self) -> str:
        """Return the result as the JSON text that `--json` writes: SI units, plain fractions."""
        as_json = importlib.import_module("airsense.report.as_json")
        return str(as_json.to_json(self))

    def to_frame(self, table: str | None = None) -> pd.DataFrame:
        """Return one of the result's tables, one row an entry; an interval takes three columns.

        Parameters
        ----------
        table : str, optional
            Name of the table, such as `findings` or `by_speed`; by default the answer itself:
            `pairs` of a comparison, `cells` of a new table, `estimates` of a check, `verdicts` of
            an audit, `by_runs` of a plan.

        Raises
        ------
        InputError
            If the result has no such table; the message lists those it has.
        """
        frames = importlib.import_module("airsense.report.frames")
        frame: pd.DataFrame = frames.frame_of(self, table)
        return frame

    def _repr_html_(self) -> str:
        """Return the page as a frame."""
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
