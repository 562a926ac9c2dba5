"""Unit spellings found in logs and in print, converted to SI by pint.

Only spelling is decided here; every factor is pint's. Those of the spellings below lie ready in
`reference_data/unit_factors.csv`, since to start pint takes longer than to check a log; pint itself
is imported for any other unit.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airsense.errors import InputError
from airsense.reference import reference_path

if TYPE_CHECKING:
    import pint

GAUGE = "gauge"
ABSOLUTE = "absolute"

# An air-fuel ratio display divides by a stored stoichiometric ratio; 14.7 is the scale that
# displays ship with (common practice, no source). Whoever reads "AFR" must say so.
AFR_SCALE = 14.7

# pint expression -> spellings, compared without case, blanks and brackets.
_SPELLINGS: tuple[tuple[str, str], ...] = (
    ("pascal", "pa pascal n/m2"),
    ("hectopascal", "hpa"),
    ("kilopascal", "kpa kpascal"),
    ("megapascal", "mpa"),
    ("bar", "bar bars"),
    ("millibar", "mbar mb millibar"),
    ("psi", "psi lb/in2 lbf/in2 lbs/in2 lb/sqin lbs/sqin"),
    ("inch_Hg", 'inhg in.hg inchhg inches_hg "hg in_hg inhg.'),
    ("mmHg", "mmhg mm_hg torr"),
    ("inH2O", 'inh2o in.h2o "h2o inwc in.wc inwg iwc "wc in_h2o'),
    ("cmH2O", "cmh2o cmwc cmws"),
    ("mmH2O", "mmh2o mmwc mmws mm_h2o"),
    ("atmosphere", "atm"),
    ("kilogram_force/centimeter**2", "kgf/cm2 kg/cm2 kp/cm2"),
    ("gram/second", "g/s gm/s g/sec gm/sec gps gr/s gram/s grams/s gram/sec grams/sec gs-1 g*s-1"),
    ("gram/minute", "g/min gm/min"),
    ("gram/hour", "g/h g/hr"),
    ("milligram/second", "mg/s mg/sec"),
    ("kilogram/hour", "kg/h kg/hr kg/hour kgh kgph kg/std"),
    ("kilogram/second", "kg/s kg/sec"),
    ("kilogram/minute", "kg/min"),
    ("pound/minute", "lb/min lbs/min lb/mn lbm/min pound/min pounds/min ppm_mass"),
    ("pound/hour", "lb/h lb/hr lbs/h lbs/hr lbm/h lbm/hr pph"),
    ("pound/second", "lb/s lbs/s lb/sec lbs/sec"),
    (
        "milligram",
        "mg mg/stroke mg/strokes mg/str mg/strk mg/stk mg/st mg/hub mg/cyl mg/cycle mg/cyc "
        "mg/inj mg/injection mg/shot mg/asp mgperstroke",
    ),
    ("gram", "g g/stroke g/str g/stk g/cyl g/cycle gm/cyl gram/cyl g/hub g/cylinder"),
    ("kilogram", "kg kg/stroke kg/cycle"),
    (
        "millimeter**3",
        "mm3 mm3/stroke mm3/str mm3/stk mm3/st mm3/strk mm3/hub mm3/h. mm3/cyl mm3/cycle "
        "mm3/inj mm3/injection ul/stroke ul/str cmm/stroke cmm cumm/stroke mcl/stroke",
    ),
    ("liter/hour", "l/h l/hr lph l/hour ltr/h ltr/hr liter/h litre/h liters/h litres/h lt/h"),
    ("liter/minute", "l/min lpm ltr/min"),
    ("liter/second", "l/s"),
    ("milliliter/minute", "ml/min cc/min ccm/min cm3/min"),
    ("milliliter/second", "ml/s cc/s cm3/s"),
    ("meter**3/hour", "m3/h m3/hr"),
    ("meter**3/second", "m3/s"),
    ("gallon/hour", "gal/h gal/hr gph gallon/h gallons/h gallons/hr usgal/h usgph"),
    ("imperial_gallon/hour", "impgal/h impgph ukgal/h"),
    ("degC", "°c degc c celsius deg_c centigrade degcelsius deg.c gradc grad_c ℃ �c ?c"),
    ("degF", "°f degf f fahrenheit deg_f degfahrenheit deg.f ℉ �f ?f"),
    ("kelvin", "k kelvin degk °k"),
    ("percent", "% pct percent perc prc %rh %rel %vol vol% vol-% %v/v %v mol% %mol"),
    ("ppm", "ppm"),
    ("dimensionless", "1 - ratio fraction frac lambda λ la lam none unitless phi_inv"),
    ("afr_point", "afr a/f :1 afr:1 airfuelratio"),
    ("volt", "v volt volts vdc"),
    ("millivolt", "mv mvolt"),
    ("hertz", "hz hertz"),
    ("kilohertz", "khz"),
    ("second", "s sec secs second seconds"),
    ("millisecond", "ms msec millisecond milliseconds msecs"),
    ("microsecond", "us usec microsecond microseconds usecs"),
    ("minute", "min mins minute minutes"),
    ("hour", "h hr hour hours"),
    ("count", "count counts cnt cnts adc raw bit bits lsb digit digits steps"),
    ("newton*meter", "nm n*m n.m n-m n_m newtonmeter newton-meter newtonmetre"),
    (
        "foot*pound_force",
        "lb-ft lbft lb.ft lb*ft lb_ft lbf-ft lbfft lbf*ft lbs-ft lbsft ft-lb ftlb ft.lb ft*lb "
        "ft-lbs ftlbs ft-lbf ftlbf ft*lbf ft_lb ft_lbs ft_lbf lb/ft ft/lb",
    ),
    ("kilogram_force*meter", "kgf*m kgf-m kgfm kgm kg-m kg*m mkg kpm"),
    ("horsepower", "hp bhp whp hp(uk) hp(us) hp_mech mechanicalhp"),
    ("metric_horsepower", "ps cv ch pk hp_metric metrichp hp(m) km_power metric_hp"),
    ("kilowatt", "kw kilowatt"),
    ("watt", "w watt"),
    ("megawatt", "mw"),
    ("kilometer/hour", "km/h kmh kph kmph km/hr kmh-1"),
    ("mile/hour", "mph mi/h mi/hr miles/h miles/hr mile/h"),
    ("meter/second", "m/s m/sec ms-1"),
    ("knot", "kn knot knots"),
    ("foot/second", "ft/s fps"),
    (
        "rpm",
        "rpm 1/min min-1 min^-1 /min u/min r/min rev/min revs/min tr/min upm 1/minute rev/minute "
        "revolutions/min",
    ),
    ("kilorpm", "krpm rpmx1000 x1000rpm rpm*1000 1000rpm 1000/min x1000/min"),
    ("revolution/second", "rps rev/s revs/s rev/sec u/s"),
    ("radian/second", "rad/s rad/sec"),
    ("degree", "deg ° degree degrees °ca degca degcrk °crk °btdc °atdc"),
)

_REFERENCES: tuple[tuple[str, str], ...] = (
    (GAUGE, "gauge gage rel relative g ga ü rel."),
    (ABSOLUTE, "absolute abs abs. a"),
)

_EXPRESSION = {word: expr for expr, words in _SPELLINGS for word in words.split()}
EXPRESSIONS = tuple(expr for expr, _ in _SPELLINGS)
# What is converted to: the units of the canonical channels, and of raw sensor signals.
TARGETS = (
    *("Pa", "K", "kg/s", "m3/s", "kg", "m3", "m", "rpm", "1", "W", "N*m", "m/s", "s"),
    *("V", "Hz", "us", "count"),
)
_REFERENCE = {word: kind for kind, words in _REFERENCES for word in words.split()}
_PRESSURES = frozenset(
    word
    for expr, words in _SPELLINGS[: [e for e, _ in _SPELLINGS].index("gram/second")]
    for word in words.split()
)
_FRACTIONS = frozenset({"percent", "ppm", "dimensionless", "afr_point"})
_PINT_NAMES = {"1": "dimensionless", "m3": "meter**3", "m3/s": "meter**3/second"}
_LOOK_ALIKES = str.maketrans(
    {"·": "*", "⋅": "*", "∙": "*", "²": "2", "³": "3", "µ": "u", "μ": "u", "º": "°", "˚": "°",
     "−": "-", "“": '"', "”": '"', "″": '"', "¹": "1", "⁻": "-"}
)  # fmt: skip
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
    folded = text.translate(_LOOK_ALIKES).strip().casefold()
    folded = folded.strip("[]{}<>").strip()
    compact = re.sub(r"\s+", "", folded)
    if compact in _EXPRESSION:
        return compact
    return re.sub(r"[()\[\]{}<>]", "", compact)


def converts(unit: Unit, to_unit: str) -> bool:
    """Whether `unit` measures the same quantity as `to_unit`."""
    return _line(unit.expression, to_unit) is not None


def convert(values: ArrayLike, unit: Unit, to_unit: str) -> NDArray[np.float64]:
    """Return `values` in `to_unit`; a new array, NaN stays NaN.

    Raises
    ------
    InputError
        If the two units measure different quantities.
    """
    line = _line(unit.expression, to_unit)
    if line is None:
        raise _wrong_unit(unit.text, to_unit, "unit")
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
        raise _wrong_unit(unit_text, canonical_unit, where)
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


def _wrong_unit(unit_text: str, canonical_unit: str, where: str) -> InputError:
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
def _line(expression: str, to_unit: str) -> tuple[float, float] | None:
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
    text = reference_path("unit_factors.csv").read_text(encoding="utf-8")
    rows = (line for line in text.splitlines() if not line.startswith("#"))
    for row in csv.DictReader(rows):
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
    match = _QUANTITY.fullmatch(text.translate(_LOOK_ALIKES)) if len(text) < 200 else None
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
    line = _line(read.expression, unit) if read is not None else None
    if read is None or line is None:
        raise _wrong_unit(found, unit, where)
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
