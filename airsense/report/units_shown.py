"""Units that people read: SI or US, chosen once; results stay in SI."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.report.node import Node
from airsense.units import from_si

_UNITS = {
    # canonical unit: (SI as people write it, US)
    "kg/s": ("g/s", "lb/min"),
    "Pa": ("kPa", "psi"),
    "W": ("kW", "hp"),
    "K": ("degC", "degF"),
    "m": ("mm", "in"),
    "m/s": ("km/h", "mph"),
    "N*m": ("Nm", "lb-ft"),
    "kg": ("mg", "mg"),
}
_LABELS = {"degC": "°C", "degF": "°F", "Nm": "N·m", "lb-ft": "lb·ft"}
_MM_PER_M = 1e3
_INCH_PER_M = 1.0 / 0.0254


@dataclass(frozen=True, slots=True)
class Shown:
    """One system of units for a whole page: 'si' or 'us'."""

    system: str = "si"

    def unit(self, canonical: str) -> str:
        """Return the unit that a quantity is shown in, as it is written."""
        text = self._text(canonical)
        return _LABELS.get(text, text)

    def number(self, value: float, canonical: str) -> float:
        """Return a value of a canonical unit in the unit shown."""
        if canonical == "m":
            return value * (_INCH_PER_M if self.system == "us" else _MM_PER_M)
        if canonical not in _UNITS:
            return value
        return float(from_si([value], self._text(canonical), canonical)[0])

    def _text(self, canonical: str) -> str:
        pair = _UNITS.get(canonical)
        return canonical if pair is None else pair[self.system == "us"]


def shown_for(result: Node, units: str | None) -> Shown:
    """Return the units asked for, or else those that the logs of the result were written in."""
    basis = result.compare if "compare" in result else result
    logged = basis.units_read if "units_read" in basis else None
    return Shown(units or logged or "si")
