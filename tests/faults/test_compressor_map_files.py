"""Malformed map files: five-part errors; odd but sound ones are read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.setup.compressor_map import read_map
from tests.compressor_maps import map_csv, points

GOOD = map_csv(points())


def read(folder: Path, text: str | bytes) -> object:
    path = folder / "map.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_map(path)


def test_a_sound_map_is_read_in_si(tmp_path: Path) -> None:
    found, given = read(tmp_path, GOOD), points()
    np.testing.assert_allclose(found.speed_rpm, given.speed_rpm)
    np.testing.assert_allclose(found.mdot_kgps, given.mdot_kgps, atol=1e-6)
    np.testing.assert_allclose(found.pressure_ratio, given.pressure_ratio, atol=1e-5)


def test_semicolons_decimal_commas_and_other_units_are_read(tmp_path: Path) -> None:
    lines = GOOD.replace(",", ";").replace(".", ",").splitlines()
    lines[0] = "Corrected Speed [rpm];Corrected Mass Flow [g/s];Pressure Ratio;efficiency"
    found = read(tmp_path, "\ufeff" + "\n\n".join(lines))
    np.testing.assert_allclose(found.mdot_kgps, points().mdot_kgps, atol=1e-6)
    pounds = GOOD.replace("(g/s)", "(lb/min)")
    # 1 lb = 0.45359237 kg exactly (international pound of 1959).
    ratio = read(tmp_path, pounds).mdot_kgps / points().mdot_kgps
    np.testing.assert_allclose(ratio, 1e3 * 0.45359237 / 60.0, rtol=1e-4)


@pytest.mark.parametrize(
    ("change", "what", "got"),
    [
        (lambda t: "", "too short", "0 points"),
        (lambda t: "\n".join(t.splitlines()[:4]), "too short", "3 points"),
        (lambda t: t.replace("pressure ratio", "pr"), "no column of ratio", "pr"),
        (lambda t: t.replace("corrected mass flow", "mass"), "no column of flow", "mass"),
        (lambda t: t.replace("(g/s)", ""), "unit", ""),
        (lambda t: t.replace("(g/s)", "(kPa)"), "unit", "kPa"),
        (lambda t: t.replace("40000,", "fast,", 1), "no number", "fast"),
        (lambda t: t.replace("40000,", ",", 1), "no number", "''"),
        (lambda t: t.replace("40000,", "nan,", 1), "impossible", "nan"),
        (lambda t: t.replace("40000,", "4,", 1), "impossible", "4 in line 2"),
        (lambda t: t + "40000\n", "no number", "''"),
        (lambda t: t.encode("utf-16"), "not text", "0x"),
    ],
)
def test_a_wrong_map_is_refused(tmp_path: Path, change: object, what: str, got: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, change(GOOD))
    error = caught.value
    assert what in error.what
    assert got in error.got
    assert "map.csv" in error.where
    assert all((error.allowed, error.fix))


def test_a_missing_map_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_map(tmp_path / "none.csv")


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="too large"):
        read(tmp_path, GOOD + " " * 1_000_001)
