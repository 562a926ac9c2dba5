"""Scalings of SAE J1979 / ISO 15031-5 service 01 responses, from a reference table."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from airsense.reference import reference_rows


@dataclass(frozen=True, slots=True)
class Field:
    """One quantity in a response: `scale * raw + shift`, big-endian from byte `start`.

    `supported_bit` is the bit of byte 0 that says whether the quantity is there, -1 if always.
    """

    header: str
    unit: str
    start: int
    size: int
    scale: float
    shift: float = 0.0
    supported_bit: int = -1


@dataclass(frozen=True, slots=True)
class Pid:
    """A parameter: its number, the number of data bytes, its quantities."""

    number: int
    size: int
    fields: tuple[Field, ...]


@cache
def pids() -> dict[int, Pid]:
    """Return the parameters of the reference table by their number."""
    sizes: dict[int, int] = {}
    fields: dict[int, list[Field]] = {}
    for row in reference_rows("obd_parameters.csv"):
        number = int(row["parameter"], 16)
        sizes[number] = int(row["size"])
        fields.setdefault(number, []).append(
            Field(
                header=row["quantity"],
                unit=row["unit"],
                start=int(row["first"]),
                size=int(row["bytes"]),
                scale=float(Fraction(row["scale"])),
                shift=float(row["shift"]),
                supported_bit=int(row["supported_bit"] or -1),
            )
        )
    return {n: Pid(n, sizes[n], tuple(found)) for n, found in fields.items()}


def decode(pid: Pid, data: bytes) -> list[tuple[Field, float]]:
    """Return the quantities of one response that its support bits do not deny.

    Parameters
    ----------
    pid : Pid
        The parameter asked for.
    data : bytes
        Data bytes after the parameter number; a quantity that they do not reach is left out.
    """
    found = []
    for field in pid.fields:
        if len(data) < field.start + field.size:
            continue
        if field.supported_bit >= 0 and not data[0] >> field.supported_bit & 1:
            continue
        raw = int.from_bytes(data[field.start : field.start + field.size], "big")
        found.append((field, field.scale * raw + field.shift))
    return found
