"""The factors of known unit spellings, from pint.

`python -m tests.unit_factors` writes them; a test holds that the shipped file is this one.
"""

from __future__ import annotations

from pathlib import Path

from airsense.units import EXPRESSIONS, TARGETS, line_by_pint

FILE = Path(__file__).parents[1] / "reference_data" / "unit_factors.csv"
HEADER = """\
# Factor and offset of each conversion: value in `unit` = factor * value in `expression` + offset.
# Source: pint, written by `python -m tests.unit_factors`. Pairs that are missing measure different
# quantities.
expression,unit,factor,offset
"""


def factors_text() -> str:
    """Return the file that ships."""
    rows = [
        f"{expression},{unit},{line[0]!r},{line[1]!r}\n"
        for expression in (*EXPRESSIONS, "kilorevolution/second")
        for unit in TARGETS
        if (line := line_by_pint(expression, unit)) is not None
    ]
    return HEADER + "".join(rows)


if __name__ == "__main__":
    FILE.write_text(factors_text(), encoding="utf-8")
