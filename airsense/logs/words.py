"""The words of a header: fillers, abbreviations, compounds, and words that are units."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

FILLERS = frozenset((
    "sensor", "actual", "act", "measured", "meas", "value", "val", "current", "the", "of",
    "from", "in", "at", "by", "for", "sae", "obd", "obd2", "obdii", "ecu", "pcm", "ecm",
    "can", "bank", "b1", "b2", "s1", "s2", "b1s1", "b1s2", "b2s1", "b2s2", "a", "b", "c", "d",
    "e", "f", "reading", "filtered", "filt", "ch", "channel", "pid", "istwert",
    "ist", "is", "gemessen",
))  # fmt: skip

ABBREVIATIONS = {
    "temp": "temperature", "tmp": "temperature", "press": "pressure", "pres": "pressure",
    "prs": "pressure", "pos": "position", "posn": "position", "eng": "engine", "spd": "speed",
    "mani": "manifold", "manif": "manifold", "man": "manifold", "abs": "absolute",
    "amb": "ambient", "atm": "atmospheric", "baro": "baro", "qty": "quantity",
    "quant": "quantity", "inj": "injection", "acc": "accelerator", "accel": "accelerator",
    "ped": "pedal", "cyl": "cylinder", "str": "stroke", "stk": "stroke", "flw": "flow",
    "oxygen": "o2", "volt": "voltage", "freq": "frequency", "veh": "vehicle", "thr": "throttle",
    "rel": "relative", "hum": "humidity", "ic": "intercooler", "tq": "torque", "trq": "torque",
    "pwr": "power", "λ": "lambda", "lam": "lambda", "exh": "exhaust", "int": "intake",
    "clnt": "coolant", "chrg": "charge", "aftercooler": "intercooler", "out": "outlet",
}  # fmt: skip

COMPOUNDS = {
    "airflow": ("air", "flow"), "massflow": ("mass", "flow"), "airmass": ("air", "mass"),
    "massairflow": ("mass", "air", "flow"), "airtemp": ("air", "temperature"),
    "enginespeed": ("engine", "speed"), "enginerpm": ("engine", "rpm"),
    "boostpressure": ("boost", "pressure"), "fuelflow": ("fuel", "flow"),
    "airmassflow": ("air", "mass", "flow"), "fuelrate": ("fuel", "rate"),
    "vehiclespeed": ("vehicle", "speed"), "manifoldpressure": ("manifold", "pressure"),
}  # fmt: skip

# Words of a header that are themselves a unit, where no unit is written.
UNIT_WORDS = {
    "rpm": "rpm", "bhp": "hp", "hp": "hp", "whp": "hp", "rwhp": "hp", "fwhp": "hp", "ps": "PS",
    "wkw": "kW", "horsepower": "hp", "kw": "kW", "afr": "AFR",
    "ms": "ms", "sec": "s", "seconds": "s", "volts": "V", "hz": "Hz", "counts": "counts",
}  # fmt: skip


@lru_cache(maxsize=65536)
def words(name: str) -> tuple[str, ...]:
    """Return the words of a name: no case, no punctuation, abbreviations written out."""
    split = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", re.sub(r"\bkW\b", "kw", name))
    folded = unicodedata.normalize("NFKC", split).casefold()
    found: list[str] = []
    for word in re.findall(r"[^\W_]+", folded):
        found.extend(COMPOUNDS.get(word, (ABBREVIATIONS.get(word, word),)))
    return tuple(found)
