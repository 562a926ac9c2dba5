"""The factors that lie ready are pint's, and cover every spelling."""

from __future__ import annotations

import csv
import subprocess
import sys

import pytest

from airsense.units import EXPRESSIONS, TARGETS, Unit, converts, line_by_pint, parse_unit, to_si
from tests.unit_factors import FILE, factors_text

FRACTIONS = {"percent", "ppm", "dimensionless", "afr_point"}


def numbers(text: str) -> dict[tuple[str, str], tuple[float, float]]:
    lines = (line for line in text.splitlines() if not line.startswith("#"))
    return {
        (r["expression"], r["unit"]): (float(r["factor"]), float(r["offset"]))
        for r in csv.DictReader(lines)
    }


def test_the_file_that_ships_is_what_pint_says() -> None:
    shipped, made = numbers(FILE.read_text(encoding="utf-8")), numbers(factors_text())
    assert shipped.keys() == made.keys()
    for key, line in shipped.items():
        assert line == pytest.approx(made[key], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("expression", EXPRESSIONS)
def test_known_units_convert_to_what_pint_converts_them_to(expression: str) -> None:
    for target in TARGETS:
        if target == "1" or expression in FRACTIONS or "hertz" in expression:
            continue  # fractions, and turns for hertz, are told apart by our own rule
        by_pint = line_by_pint(expression, target) is not None
        assert converts(Unit("", expression), target) == by_pint


def test_a_unit_without_a_spelling_still_converts() -> None:
    unit = parse_unit("slug/hour")
    assert unit is not None
    # One slug is 14.593903 kg (NIST SP 811, appendix B.8).
    assert to_si(3600.0, "slug/hour", "kg/s") == pytest.approx(14.593903, rel=1e-7)


def test_a_speed_in_hertz_means_turns() -> None:
    assert to_si(0.1, "kHz", "rpm") == pytest.approx(6000.0)


def test_known_units_do_not_start_pint() -> None:
    code = (
        "import sys\nfrom airsense.units import to_si, signal_unit\n"
        "to_si(1.0, 'lb/min', 'kg/s'); to_si(1.0, 'degF', 'K'); signal_unit('mV')\n"
        "print('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
