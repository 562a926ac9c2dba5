"""Scalings of SAE J1979 / ISO 15031-5 service 01 responses, for what bears on air and fuel.

Formulas for 04 to 33 and 43 to 63 as two public tables print them; 34, 44, 24 with the exact
step 2/65536, and 9D, from memory; 66 to 87 as the scapy 2.8 dissector has them.
"""

from __future__ import annotations

from dataclasses import dataclass


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


_PERCENT = 100.0 / 255.0
_LAMBDA = 2.0 / 65536.0


def _byte(number: int, header: str, unit: str, scale: float = 1.0, shift: float = 0.0) -> Pid:
    return Pid(number, 1, (Field(header, unit, 0, 1, scale, shift),))


def _word(number: int, header: str, unit: str, scale: float, shift: float = 0.0) -> Pid:
    return Pid(number, 2, (Field(header, unit, 0, 2, scale, shift),))


def _oxygen(number: int, sensor: int, second: Field) -> Pid:
    ratio = Field(f"O2 Sensor {sensor} Equivalence Ratio (lambda)", "1", 0, 2, _LAMBDA)
    return Pid(number, 4, (ratio, second))


_ROWS = (
    _byte(0x04, "Calculated Load Value", "%", _PERCENT),
    _byte(0x05, "Engine Coolant Temperature", "degC", 1.0, -40.0),
    _byte(0x0B, "Intake Manifold Absolute Pressure", "kPa"),
    _word(0x0C, "Engine RPM", "rpm", 0.25),
    _byte(0x0D, "Vehicle Speed Sensor", "km/h"),
    _byte(0x0F, "Intake Air Temperature", "degC", 1.0, -40.0),
    _word(0x10, "Air Flow Rate from Mass Flow Sensor", "g/s", 0.01),
    _byte(0x11, "Absolute Throttle Position", "%", _PERCENT),
    *(
        _oxygen(0x24 + i, i + 1, Field(f"O2 Sensor {i + 1} Voltage", "V", 2, 2, 8.0 / 65536.0))
        for i in range(8)
    ),
    _byte(0x33, "Barometric Pressure", "kPa"),
    *(
        _oxygen(
            0x34 + i, i + 1, Field(f"O2 Sensor {i + 1} Current", "mA", 2, 2, 1.0 / 256.0, -128.0)
        )
        for i in range(8)
    ),
    _word(0x43, "Absolute Load Value", "%", _PERCENT),
    _word(0x44, "Commanded Equivalence Ratio", "1", _LAMBDA),
    _byte(0x45, "Relative Throttle Position", "%", _PERCENT),
    _byte(0x46, "Ambient Air Temperature", "degC", 1.0, -40.0),
    _byte(0x49, "Accelerator Pedal Position D", "%", _PERCENT),
    _byte(0x4A, "Accelerator Pedal Position E", "%", _PERCENT),
    _byte(0x4B, "Accelerator Pedal Position F", "%", _PERCENT),
    _byte(0x5A, "Relative Accelerator Pedal Position", "%", _PERCENT),
    _word(0x5E, "Engine Fuel Rate", "l/h", 0.05),
    _byte(0x61, "Driver's Demand Engine Percent Torque", "%", 1.0, -125.0),
    _byte(0x62, "Actual Engine Percent Torque", "%", 1.0, -125.0),
    _word(0x63, "Engine Reference Torque", "N*m", 1.0),
    Pid(
        0x66,
        5,
        (
            Field("Mass Air Flow Sensor A", "g/s", 1, 2, 1.0 / 32.0, 0.0, 0),
            Field("Mass Air Flow Sensor B", "g/s", 3, 2, 1.0 / 32.0, 0.0, 1),
        ),
    ),
    Pid(
        0x70,
        9,
        (
            Field("Commanded Boost Pressure A", "kPa", 1, 2, 1.0 / 32.0, 0.0, 0),
            Field("Boost Pressure Sensor A", "kPa", 3, 2, 1.0 / 32.0, 0.0, 1),
            Field("Commanded Boost Pressure B", "kPa", 5, 2, 1.0 / 32.0, 0.0, 2),
            Field("Boost Pressure Sensor B", "kPa", 7, 2, 1.0 / 32.0, 0.0, 3),
        ),
    ),
    Pid(
        0x77,
        5,
        (
            Field("Charge Air Cooler Temperature Sensor 1", "degC", 1, 1, 1.0, -40.0, 0),
            Field("Charge Air Cooler Temperature Sensor 2", "degC", 2, 1, 1.0, -40.0, 1),
        ),
    ),
    Pid(
        0x87,
        5,
        (
            Field("Intake Manifold Absolute Pressure A", "kPa", 1, 2, 1.0 / 32.0, 0.0, 0),
            Field("Intake Manifold Absolute Pressure B", "kPa", 3, 2, 1.0 / 32.0, 0.0, 1),
        ),
    ),
    Pid(
        0x9D,
        4,
        (
            Field("Engine Fuel Rate (mass)", "g/s", 0, 2, 0.02),
            Field("Vehicle Fuel Rate", "g/s", 2, 2, 0.02),
        ),
    ),
)

PIDS = {pid.number: pid for pid in _ROWS}


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
