"""A figure as it was printed: what its digits, a range or a `+-` leave open.

"31 psi" is 30.5 to 31.5 psi, uniformly; "250 to 260 kW" is anything between, with its digits. A
figure after `+-` replaces the digits and is read as a 95 % half-width, so its standard
uncertainty is the figure / 1.96.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from airsense.errors import InputError
from airsense.results import K_95
from airsense.setup.power import PowerAt
from airsense.units import ParsedQuantity, parse_quantity
from airsense.units.spellings import LOOK_ALIKES

# Half-width of a rectangle over its standard deviation: JCGM 100:2008, 4.3.7.
SQRT_3 = 3.0**0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A figure as printed, in SI units.

    `half_width` is what the print leaves open: half of the last digit, half of a range, or the
    figure after `+-` (then `explicit`). `scale` is one printed unit in SI units. `relative` marks
    a change given in per cent. `reference` is "gauge" or "absolute" where a unit says so.
    """

    value: float
    half_width: float
    explicit: bool
    text: str
    unit_text: str = ""
    scale: float = 1.0
    relative: bool = False
    reference: str = ""
    power_at: PowerAt | None = None

    @property
    def u(self) -> float:
        """Standard uncertainty (k = 1) of the print alone."""
        return self.half_width / (K_95 if self.explicit else SQRT_3)


_AT = re.compile(r"\s+(?:at|@)\s+(?:the\s+)?(?P<place>wheels?|engine|crank(?:shaft)?|flywheel)\s*$")
_UNIT_AT = {"whp": PowerAt.WHEELS, "bhp": PowerAt.ENGINE}
_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_RANGE = re.compile(
    rf"\s*(?P<low>{_NUMBER})\s*(?P<first>[A-Za-z%°][^\d+±]*?)??\s*(?:\bto\b|–|—|(?<=\d)-)\s*"
    rf"(?P<high>{_NUMBER})\s*(?P<unit>[^\d\s].*)?"
)
_WITH_UNITS = re.compile(
    rf"\s*(?P<value>{_NUMBER}\s*[A-Za-z%°][^+±]*?)\s*(?:\+\s*/?\s*-|±)\s*(?P<u>{_NUMBER}\s*[^\d\s].*)"
)
# Blanks and apostrophes that group digits by three, and commas that can only be decimal ones.
_GROUPED = re.compile(r"(?<![\d.,])(\d{1,3})((?:[ '’]\d{3})+)(?!\d)")
_GROUPED_BOTH = re.compile(r"(?<![\d.,])(\d{1,3}(?:([.,])\d{3})+)(?!\2)([.,])(\d+)(?!\d)")
_COMMA = re.compile(r"(?<![\d.,])(\d+),(\d{1,2}|\d{4,})(?![\d,])|(?<![\d.,])(0),(\d+)(?![\d,])")

_EITHER = re.compile(r"\d,\d{3}(?!\d)")


def plain_figures(text: str) -> str:
    """Return a text with decimal points and without thousands separators, where that is certain.

    "1,660" is left as it is: it may be either.
    """
    out = re.sub(r"[\u00a0\u2007\u2009\u202f]", " ", text).translate(LOOK_ALIKES)
    out = _GROUPED.sub(lambda m: m[1] + re.sub(r"\D", "", m[2]), out)
    out = _GROUPED_BOTH.sub(lambda m: f"{re.sub(r'[.,]', '', m[1])}.{m[4]}", out)
    return _COMMA.sub(lambda m: f"{m[1] or m[3]}.{m[2] or m[4]}", out)


def read_printed(text: object, unit: str, *, difference: bool = False) -> Printed:
    """Read one figure with its unit.

    Parameters
    ----------
    text : str
        "250 kW", "250,5 kW", "1 660 kg/h", "250 to 260 kW", "250 kW +- 2 kW".
    unit : str
        Unit wanted; "1" for a fraction.
    difference : bool
        Whether it is a change, which may be given in per cent.

    Raises
    ------
    InputError
        If it is no text, no number, or carries the wrong unit.
    """
    if not isinstance(text, str):
        raise InputError(
            "quantity is not text",
            where="quantity",
            got=repr(text),
            allowed='text with a unit, such as "31 psi"',
            fix="put the figure and its unit in double quotes, with the digits as printed",
        )
    place = _AT.search(text)
    plain = plain_figures(text[: place.start()] if place else text)
    if _EITHER.search(plain):
        raise InputError(
            "quantity cannot be read",
            where="quantity",
            got=repr(text[:80]),
            allowed="a number whose comma or point can be told",
            fix="write the number with a decimal point and no thousands separator, then the unit",
        )
    relative = difference and "%" in plain
    wanted = "1" if relative else unit
    read, explicit = _read(plain, wanted, difference=difference)
    one = parse_quantity(f"1 {read.unit_text}", wanted, difference=True)
    at = _UNIT_AT.get(read.unit_text.casefold())
    if place:
        at = PowerAt.WHEELS if place["place"].startswith("wheel") else PowerAt.ENGINE
    return Printed(
        value=read.value,
        half_width=read.half_width,
        explicit=explicit,
        text=text.strip(),
        unit_text=read.unit_text,
        scale=one.value,
        relative=relative,
        reference=read.reference,
        power_at=at,
    )


def _read(plain: str, unit: str, *, difference: bool) -> tuple[ParsedQuantity, bool]:
    """Return a figure, and whether its half-width is one after `+-`."""
    between = _RANGE.fullmatch(plain)
    if between is not None:
        own = between["unit"] or ""
        low, high = (
            parse_quantity(f"{number} {one}", unit, difference=difference)
            for number, one in (
                (between["low"], between["first"] or own),
                (between["high"], own),
            )
        )
        half = 0.5 * abs(high.value - low.value)
        half += 0.5 * (low.half_width_rounding + high.half_width_rounding)
        middle = 0.5 * (low.value + high.value)
        return ParsedQuantity(middle, half, None, high.unit_text, high.reference), False
    apart = _WITH_UNITS.fullmatch(plain)
    if apart is not None:
        middle_of = parse_quantity(apart["value"], unit, difference=difference)
        share = "%" in apart["u"] and unit != "1"
        u = parse_quantity(apart["u"], "1" if share else unit, difference=True).value
        half = abs(u * middle_of.value) if share else abs(u)
        return ParsedQuantity(
            middle_of.value, half, half, middle_of.unit_text, middle_of.reference
        ), True
    read = parse_quantity(plain, unit, difference=difference)
    return read, read.u_explicit is not None
