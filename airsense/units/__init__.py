"""Units as they are written in logs and in print, and figures with them, in SI."""

from airsense.units.conversion import (
    AFR_SCALE,
    EXPRESSIONS,
    TARGETS,
    Unit,
    convert,
    converts,
    from_si,
    line_by_pint,
    look_up,
    parse_unit,
    signal_unit,
    to_si,
    unit_examples,
)
from airsense.units.quantity import ParsedQuantity, parse_quantity
from airsense.units.spellings import ABSOLUTE, GAUGE

__all__ = [
    "ABSOLUTE",
    "AFR_SCALE",
    "EXPRESSIONS",
    "GAUGE",
    "TARGETS",
    "ParsedQuantity",
    "Unit",
    "convert",
    "converts",
    "from_si",
    "line_by_pint",
    "look_up",
    "parse_quantity",
    "parse_unit",
    "signal_unit",
    "to_si",
    "unit_examples",
]
