"""What was typed into a form, as the setup file that the jobs read.

Nothing is judged here: a figure that makes no sense goes on as it was typed, and the loader of
the setup says so in its own words.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from typing import Any

from airsense.errors import InputError
from airsense.setup.claims import ClaimedQuantity

Fields = Mapping[str, str]

# key, title, usual unit: the columns into which printed figures are typed.
RESULT_COLUMNS = (
    ("intake", "Intake", ""),
    ("tune", "Tune", ""),
    ("engine_speed", "Engine speed", "rpm"),
    ("brake_power", "Power", "kW"),
    ("boost_pressure", "Boost", "bar"),
    ("mass_air_flow", "Air flow", "g/s"),
    ("fuel_per_stroke", "Fuel per stroke", "mg"),
    ("charge_temperature", "Charge temperature", "degC"),
    ("lambda", "Lambda", ""),
)
CLAIM_COLUMNS = (
    ("from", "From intake"),
    ("to", "To intake"),
    ("tune", "Tune"),
    ("engine_speed", "At engine speed"),
    ("change", "Change"),
)
QUANTITIES = tuple(quantity.value for quantity in ClaimedQuantity)
ROWS, MORE_ROWS, MOST_ROWS = 6, 6, 60
_WEATHER = ("barometric_pressure_kpa", "ambient_temperature_c", "relative_humidity")


def number(text: str) -> int | float | str:
    """Return a typed number, with point or comma; anything else as it was typed."""
    plain = text.strip().replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        return text.strip()
    if not math.isfinite(value):
        return text.strip()
    return int(plain) if plain.lstrip("+-").isdecimal() else value


def setup_of(fields: Fields) -> dict[str, Any]:
    """Return engine.toml, as nested plain values, of the figures of a form."""
    return _filled({
        "engine": _engine(fields),
        "fuel": {"name": _text(fields, "fuel")},
        "charge_temperature": {"place": _text(fields, "place")},
        "weather": {
            **_weather(fields, "weather"),
            "one_session": fields.get("one_session") == "true" or "",
            "before": _weather(fields, "weather-before"),
            "after": _weather(fields, "weather-after"),
        },
        "power": {"at": _text(fields, "power_at")},
    })  # fmt: skip


def claims_of(fields: Fields) -> dict[str, Any]:
    """Return claims.toml, as nested plain values, of the tables of a form."""
    rows = range(row_count(fields))
    claims = [_claim(fields, row) for row in rows]
    return _filled({
        "table": _results(fields, rows),
        "engine": _engine(fields),
        "fuel": {"name": _text(fields, "fuel")},
        "publication": {"power_at": _text(fields, "power_at")},
        "claim": [claim for claim in claims if set(claim) - {"quantity"}],
    })  # fmt: skip


def row_count(fields: Fields) -> int:
    """Return how many rows the tables of the form have."""
    text = fields.get("rows", "")
    return min(int(text), MOST_ROWS) if text.isascii() and text.isdigit() else ROWS


def window_of(fields: Fields) -> tuple[float, float] | None:
    """Return the window of engine speed in rpm, or None where none was typed.

    Raises
    ------
    InputError
        If only one end was typed, or the ends are no window.
    """
    low, high = (number(fields.get(key, "")) for key in ("rpm_low", "rpm_high"))
    if low == high == "":
        return None
    if isinstance(low, str) or isinstance(high, str) or not 0.0 < low < high:
        raise InputError(
            "the window of engine speed cannot be used",
            where="the form, engine speed from and to",
            got=f"{low!r} to {high!r}",
            allowed="two numbers in rpm, the lower one first, or both left empty",
            fix="give both ends, such as 1600 and 3800",
        )
    return float(low), float(high)


def percent(fields: Fields, key: str, title: str, bounds: tuple[float, float]) -> float | None:
    """Return a typed percentage as a fraction, or None where none was typed.

    Raises
    ------
    InputError
        If it is no number, or outside `bounds`. [%]
    """
    value = number(fields.get(key, ""))
    if value == "":
        return None
    if isinstance(value, str) or not bounds[0] <= value <= bounds[1]:
        raise InputError(
            f"{title} cannot be used",
            where=f"the form, {title}",
            got=repr(value),
            allowed=f"{bounds[0]:g} to {bounds[1]:g} %, or left empty",
            fix="give a number in per cent",
        )
    return float(value) / 100.0


def _engine(fields: Fields) -> dict[str, Any]:
    return {
        "name": _text(fields, "name"),
        "displacement_l": number(fields.get("displacement_l", "")),
        "cylinders": number(fields.get("cylinders", "")),
        "ignition": _text(fields, "ignition"),
        "induction": _text(fields, "induction"),
        "boost_control": _text(fields, "boost_control"),
    }


def _weather(fields: Fields, group: str) -> dict[str, Any]:
    return {key: number(fields.get(f"{group}-{key}", "")) for key in _WEATHER}


def _results(fields: Fields, rows: range) -> str:
    """Return the typed results as the text of a table, units in the headers."""
    cells = {
        key: [_text(fields, f"result-{r}-{key}") for r in rows] for key, _, _ in RESULT_COLUMNS
    }
    used = [key for key, column in cells.items() if any(column)]
    if not used:
        return ""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_header(fields, key) for key in used])
    for row in zip(*(cells[key] for key in used), strict=True):
        if any(row):
            writer.writerow(row)
    return out.getvalue()


def _header(fields: Fields, key: str) -> str:
    unit = _text(fields, f"unit-{key}")
    return f"{key} [{unit}]" if unit else key


def _claim(fields: Fields, row: int) -> dict[str, Any]:
    claim = {key: _text(fields, f"claim-{row}-{key}") for key, _ in CLAIM_COLUMNS}
    if claim["engine_speed"] and not isinstance(number(claim["engine_speed"]), str):
        claim["engine_speed"] += " rpm"
    claim["quantity"] = _text(fields, f"claim-{row}-quantity")
    return _filled(claim)


def _text(fields: Fields, key: str) -> str:
    return fields.get(key, "").strip()


def _filled(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the mapping without what was left empty."""
    kept = {k: _filled(v) if isinstance(v, Mapping) else v for k, v in data.items()}
    return {k: v for k, v in kept.items() if v not in ("", {}, [])}
