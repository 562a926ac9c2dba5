"""Unit spellings found in logs and in print, converted to SI by pint.

Only spelling is decided here; every factor is pint's. Those of the known spellings lie ready in
`reference_data/unit_factors.csv`, since to start pint takes longer than to check a log; pint itself
is imported for any other unit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airsense.errors import InputError
from airsense.reference import reference_rows
from airsense.units.spellings import LOOK_ALIKES, REFERENCES, SPELLINGS

if TYPE_CHECKING:
    import pint

# An air-fuel ratio display divides by a stored stoichiometric ratio; 14.7 is the scale that
# displays ship with (common practice, no source). Whoever reads "AFR" must say so.
AFR_SCALE = 14.7

_EXPRESSION = {word: expr for expr, words in SPELLINGS for word in words.split()}
EXPRESSIONS = tuple(expr for expr, _ in SPELLINGS)
# What is converted to: the units of the canonical channels, and of raw sensor signals.
TARGETS = (
    *("Pa", "K", "kg/s", "m3/s", "kg", "m3", "m", "rpm", "1", "W", "N*m", "m/s", "s"),
    *("V", "Hz", "us", "count"),
)
_REFERENCE = {word: kind for kind, words in REFERENCES for word in words.split()}
_PRESSURES = frozenset(
    word
    for expr, words in SPELLINGS[: [e for e, _ in SPELLINGS].index("gram/second")]
    for word in words.split()
)
_FRACTIONS = frozenset({"percent", "ppm", "dimensionless", "afr_point"})
_PINT_NAMES = {"1": "dimensionless", "m3": "meter**3", "m3/s": "meter**3/second"}
_SAFE_FOR_PINT = re.compile(r"[A-Za-z°][A-Za-z0-9_]*([ */.^-]{1,2}[A-Za-z0-9_]{1,20}){0,4}")


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as read: pint's spelling of it and the pressure reference it names, if any."""

    text: str
    expression: str
    reference: str = ""


@lru_cache(maxsize=4096)
def look_up(text: str) -> Unit | None:
    """Return the unit that a text names, or None if it names none.

    A pressure may carry its reference: `psig`, `bar(a)`, `kPa abs`.
    """
    if len(text) > 40:
        return None
    plain = _plain(text)
    if plain in _EXPRESSION:
        return Unit(text, _EXPRESSION[plain])
    for cut in range(len(plain) - 1, 1, -1):
        base, tail = plain[:cut].rstrip("_-,."), plain[cut:].strip("_-,.")
        if base in _PRESSURES and tail in _REFERENCE:
            return Unit(text, _EXPRESSION[base], _REFERENCE[tail])
    return None


def parse_unit(text: str) -> Unit | None:
    """Return the unit of a text that is known to be a unit: spellings first, then pint."""
    known = look_up(text)
    if known is not None or len(text) > 40 or not _SAFE_FOR_PINT.fullmatch(text.strip()):
        return known
    try:
        expression = str(_registry().parse_units(text.strip().replace("^", "**")))
    except Exception:  # pint raises errors of many kinds on text that is no unit
        return None
    return Unit(text, expression)


def _plain(text: str) -> str:
    folded = text.translate(LOOK_ALIKES).strip().casefold()
    folded = folded.strip("[]{}<>").strip()
    compact = re.sub(r"\s+", "", folded)
    if compact in _EXPRESSION:
        return compact
    return re.sub(r"[()\[\]{}<>]", "", compact)


def converts(unit: Unit, to_unit: str) -> bool:
    """Whether `unit` measures the same quantity as `to_unit`."""
    return line_of(unit.expression, to_unit) is not None


def convert(values: ArrayLike, unit: Unit, to_unit: str) -> NDArray[np.float64]:
    """Return `values` in `to_unit`; a new array, NaN stays NaN.

    Raises
    ------
    InputError
        If the two units measure different quantities.
    """
    line = line_of(unit.expression, to_unit)
    if line is None:
        raise wrong_unit(unit.text, to_unit, "unit")
    factor, offset = line
    return np.asarray(values, dtype=np.float64) * factor + offset


def to_si(
    values: ArrayLike, unit_text: str, canonical_unit: str, *, where: str = "unit"
) -> NDArray[np.float64]:
    """Return values in the unit that airsense works in.

    Parameters
    ----------
    values : array_like, shape (n,)
        Values as read; NaN stays NaN.
    unit_text : str
        Unit as read, in any spelling in use ("lbs/min", "kPa abs", "degC").
    canonical_unit : str
        Unit of `airsense.logs.canon`.
    where : str
        Named in the error.

    Returns
    -------
    ndarray, shape (n,)
        A new array. A gauge pressure is scaled, not shifted: no barometer is added here.

    Raises
    ------
    InputError
        If the unit is unknown or measures another quantity.
    """
    unit = parse_unit(unit_text)
    if unit is None or not converts(unit, canonical_unit):
        raise wrong_unit(unit_text, canonical_unit, where)
    return convert(values, unit, canonical_unit)


def from_si(values: ArrayLike, unit_text: str, canonical_unit: str) -> NDArray[np.float64]:
    """Return values of the unit that airsense works in, back in the unit as read.

    Raises
    ------
    InputError
        As `to_si`.
    """
    offset, one = to_si((0.0, 1.0), unit_text, canonical_unit)
    scaled: NDArray[np.float64] = (np.asarray(values, dtype=np.float64) - offset) / (one - offset)
    return scaled


def signal_unit(unit_text: str) -> str | None:
    """Return the unit that a raw sensor signal is kept in: V, Hz, us or count; else None."""
    unit = parse_unit(unit_text)
    for target in ("V", "Hz", "us", "count"):
        if unit is not None and converts(unit, target):
            return target
    return None


_EXAMPLES = {
    "Pa": "kPa, kPa abs, psi, psig, bar, mbar, hPa, inHg, mmHg",
    "K": "degC, degF, K",
    "kg/s": "g/s, kg/h, lb/min",
    "m3/s": "l/h, gal/h, ml/min",
    "kg": "mg/stroke, g/stroke",
    "m3": "mm3/stroke",
    "rpm": "rpm, 1/min, Hz, rad/s",
    "1": "%, ppm, or a plain fraction",
    "W": "kW, hp, PS, W",
    "N*m": "N·m, lb-ft",
    "m/s": "km/h, mph, m/s",
    "": "V, mV, Hz, us, counts",
    "s": "s, ms, us, min",
}


def unit_examples(canonical_unit: str) -> str:
    """Return spellings that convert to a canonical unit, for messages."""
    return _EXAMPLES.get(canonical_unit, canonical_unit)


def wrong_unit(unit_text: str, canonical_unit: str, where: str) -> InputError:
    """Return the error for a unit that is unknown or measures another quantity."""
    return InputError(
        "unit cannot be used here",
        where=where,
        got=repr(unit_text[:80]),
        allowed=unit_examples(canonical_unit),
        fix="write the unit in one of these spellings",
    )


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    registry.define("mmH2O = 0.1 * cmH2O")
    registry.define(f"afr_point = {1.0 / AFR_SCALE!r}")
    return registry


@lru_cache(maxsize=1024)
def line_of(expression: str, to_unit: str) -> tuple[float, float] | None:
    """Return factor and offset of a conversion, or None between different quantities."""
    if (to_unit == "1") != (expression in _FRACTIONS):
        return None
    if to_unit == "rpm":
        # pint counts a hertz as a radian a second; a speed in hertz means turns.
        expression = expression.replace("hertz", "revolution/second")
    lines = _lines_at_hand()
    if expression in lines and to_unit in TARGETS:
        return lines[expression].get(to_unit)
    return line_by_pint(expression, to_unit)


@cache
def _lines_at_hand() -> dict[str, dict[str, tuple[float, float]]]:
    """Return factor and offset by expression and unit; every known spelling has its entry."""
    lines: dict[str, dict[str, tuple[float, float]]] = {e: {} for e in EXPRESSIONS}
    for row in reference_rows("unit_factors.csv"):
        found = (float(row["factor"]), float(row["offset"]))
        lines.setdefault(row["expression"], {})[row["unit"]] = found
    return lines


def line_by_pint(expression: str, to_unit: str) -> tuple[float, float] | None:
    """Return factor and offset from pint itself, or None between different quantities."""
    import pint

    registry = _registry()
    target = _PINT_NAMES.get(to_unit, to_unit)
    try:
        ends = [registry.Quantity(x, expression).to(target).magnitude for x in (0.0, 1.0)]
    except (pint.errors.PintError, AttributeError, ValueError):
        return None
    return float(ends[1] - ends[0]), float(ends[0])
