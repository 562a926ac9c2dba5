"""SAE J1979 / ISO 15031-5 service 01 scalings, and an independent dissector as an oracle."""

from __future__ import annotations

import pytest

from airsense.logs.obd_pids import decode, pids
from tests.published.published import Published

TABLE = "SAE J1979 / ISO 15031-5 formula as two public tables print it"

# Source, response (number and data bytes), quantity, printed value.
ROWS = [
    (TABLE, "04 8C", "Calculated Load Value", "54.902"),
    (TABLE, "0B 65", "Intake Manifold Absolute Pressure", "101"),
    (TABLE, "0C 1A F8", "Engine RPM", "1726"),
    (TABLE, "10 09 C4", "Air Flow Rate from Mass Flow Sensor", "25.00"),
    ("J1979, exact step 2/65536 from memory", "24 90 00 40 00", "Equivalence Ratio", "1.1250"),
    ("J1979, exact step 8/65536 from memory", "24 90 00 40 00", "Voltage", "2.000"),
    (TABLE, "33 65", "Barometric Pressure", "101"),
    ("J1979, from memory", "34 A0 00 80 00", "Equivalence Ratio", "1.2500"),
    (TABLE, "43 01 40", "Absolute Load Value", "125.490"),
    ("J1979, exact step 2/65536 from memory", "44 83 33", "Commanded Equivalence", "1.02499"),
    (TABLE, "5E 01 40", "Engine Fuel Rate", "16.0"),
    (TABLE, "62 AF", "Actual Engine Percent Torque", "50"),
    (TABLE, "63 01 C2", "Engine Reference Torque", "450"),
    ("scapy 2.8.0 dissector", "70 03 1F 40 1E 00 00 00 00 00", "Commanded Boost", "250.0"),
    ("scapy 2.8.0 dissector", "70 03 1F 40 1E 00 00 00 00 00", "Boost Pressure Sensor", "240.0"),
    ("J1979, from memory", "9D 01 90 00 00", "Engine Fuel Rate", "8.0"),
]
# A printed zero has no relative tolerance, and temperatures have an offset: exact in both.
EXACT = [
    ("0F 3C", "Intake Air Temperature", 20.0),
    ("46 3C", "Ambient Air Temperature", 20.0),
    ("05 3C", "Engine Coolant Temperature", 20.0),
    ("34 A0 00 80 00", "Current", 0.0),
    ("61 7D", "Driver's Demand", 0.0),
]


def quantity(response: str, name: str) -> float:
    data = bytes.fromhex(response)
    found = decode(pids()[data[0]], data[1:])
    return next(value for field, value in found if name in field.header)


@pytest.mark.parametrize(("source", "response", "name", "printed"), ROWS)
def test_scaling(source: str, response: str, name: str, printed: str) -> None:
    Published(source, printed=printed).check(quantity(response, name))


@pytest.mark.parametrize(("response", "name", "value"), EXACT)
def test_scaling_of_offsets(response: str, name: str, value: float) -> None:
    assert quantity(response, name) == value


def test_a_byte_of_pressure_ends_at_255_kpa() -> None:
    assert quantity("0B FF", "Manifold") == 255.0


def test_support_bits_are_obeyed() -> None:
    only_a = decode(pids()[0x70], bytes.fromhex("02 1F 40 1E 00 00 00 00 00"))
    assert [field.header for field, _ in only_a] == ["Boost Pressure Sensor A"]


# scapy 2.8.0 reads PID 10 as one byte, rounds the lambda step and leaves out the offset of the
# current of PID 34: those are not compared.
ORACLE = [0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x11, 0x33, 0x43, 0x45, 0x46, 0x49, 0x4A, 0x5E,
          0x61, 0x62, 0x63, 0x66, 0x70, 0x77]  # fmt: skip


@pytest.mark.parametrize("number", ORACLE)
@pytest.mark.filterwarnings("ignore")
def test_every_value_agrees_with_an_independent_dissector(number: int) -> None:
    obd = pytest.importorskip("scapy.contrib.automotive.obd.obd")
    pid = pids()[number]
    for fill in range(0, 256, 5):
        data = bytes([0x0F if pid.size > 2 else fill, *[(fill * 7 + i) % 256 for i in range(12)]])
        data = data[: pid.size]
        record = obd.OBD(bytes([0x41, number]) + data).data_records[0].payload
        others = [
            getattr(record, f.name)
            for f in record.fields_desc
            if "supported" not in f.name and f.name != "reserved"
        ]
        mine = [value for _, value in decode(pid, data)]
        assert mine == pytest.approx(others[: len(mine)], abs=6e-3)
