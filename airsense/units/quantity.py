"""Printed figures with their unit and what their digits leave open."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from airsense.errors import InputError
from airsense.units.conversion import line_of, parse_unit, unit_examples, wrong_unit
from airsense.units.spellings import LOOK_ALIKES

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(
    rf"\s*(?P<value>{_NUMBER})\s*(?:(?:\+\s*/?\s*-|±)\s*(?P<u>{_NUMBER})\s*)?(?P<unit>[^\d\s].*)?"
)


@dataclass(frozen=True, slots=True)
class ParsedQuantity:
    """A printed figure in SI units.

    Attributes
    ----------
    value : float
        In the unit asked for.
    half_width_rounding : float
        Half of the last printed digit: what the print leaves open.
    u_explicit : float or None
        The figure after `+-`, as printed (not divided by anything); it replaces the rounding.
    unit_text : str
        Unit as printed.
    reference : str
        "gauge" or "absolute" where the unit says so (psig, bar(a)), else "".
    """

    value: float
    half_width_rounding: float
    u_explicit: float | None
    unit_text: str
    reference: str = ""

    @property
    def half_width(self) -> float:
        """The stated half-width, or else that of the rounding."""
        return self.half_width_rounding if self.u_explicit is None else self.u_explicit


def parse_quantity(
    text: str, unit: str, *, where: str = "quantity", difference: bool = False
) -> ParsedQuantity:
    """Read a figure with its unit, such as "31 psi", "62.43 lb/min" or "31 +- 0.3 psi".

    Parameters
    ----------
    text : str
        Number with a decimal point, optional `+-` and half-width, unit. All printed digits
        count as significant: "250 kW" leaves +-0.5 kW open, "1.90 bar" +-0.005 bar.
    unit : str
        Unit wanted, as in `airsense.logs.canon`; "1" for a fraction, where `%` may be written
        and a bare number is a fraction.
    where : str
        Named in the error.
    difference : bool
        Whether the figure is a change, so that an offset (degC to K) does not apply.

    Raises
    ------
    InputError
        If the text is no number, or lacks a unit, or has one of another quantity.
    """
    match = _QUANTITY.fullmatch(text.translate(LOOK_ALIKES)) if len(text) < 200 else None
    if match is None or not math.isfinite(float(match["value"])):
        raise InputError(
            "quantity cannot be read",
            where=where,
            got=repr(text[:80]),
            allowed=f'a number and a unit ({unit_examples(unit)}), such as "31 psi" '
            'or "31 +- 0.3 psi"',
            fix="write the number with a decimal point and no thousands separator, then the unit",
        )
    found = (match["unit"] or "").strip()
    read = parse_unit(found or ("1" if unit == "1" else ""))
    line = line_of(read.expression, unit) if read is not None else None
    if read is None or line is None:
        raise wrong_unit(found, unit, where)
    factor, offset = line
    slope = abs(factor)
    return ParsedQuantity(
        value=float(match["value"]) * factor + (0.0 if difference else offset),
        half_width_rounding=0.5 * _last_digit(match["value"]) * slope,
        u_explicit=None if match["u"] is None else abs(float(match["u"])) * slope,
        unit_text=found,
        reference=read.reference,
    )


def _last_digit(number: str) -> float:
    mantissa, _, exponent = number.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(10.0 ** ((int(exponent) if exponent else 0) - decimals))
