"""Unit spellings found in logs and in print, each under the unit that it stands for in pint."""

from __future__ import annotations

from airsense.reference import reference_rows

GAUGE = "gauge"
ABSOLUTE = "absolute"

# pint expression -> spellings, compared without case, blanks and brackets.
SPELLINGS = tuple((row["unit"], row["spellings"]) for row in reference_rows("unit_spellings.csv"))

REFERENCES: tuple[tuple[str, str], ...] = (
    (GAUGE, "gauge gage rel relative g ga ü rel."),
    (ABSOLUTE, "absolute abs abs. a"),
)
# Signs that stand for others in print and in logs.
LOOK_ALIKES = str.maketrans(
    {"·": "*", "⋅": "*", "∙": "*", "²": "2", "³": "3", "µ": "u", "μ": "u", "º": "°", "˚": "°",
     "−": "-", "“": '"', "”": '"', "″": '"', "¹": "1", "⁻": "-"}
)  # fmt: skip
