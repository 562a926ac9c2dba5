"""A power whose header says that it was corrected to standard weather is no measured power."""

from __future__ import annotations

from airsense.logs.words import words

POWERS = ("brake_power", "wheel_power")
TORQUES = ("brake_torque", "wheel_torque")
# Words of a correction, or the standards bodies and numbers that name one.
_CORRECTED = frozenset((
    "corrected", "corr", "correction", "korrigiert", "korrigierte", "korrigiertes", "korr",
    "normiert", "normierte", "normiertes", "normalized", "normalised", "standardized",
    "standardised", "sae", "din", "ece", "eec", "ewg", "iso", "jis", "j1349", "j607", "70020",
    "1585", "3046", "r85", "corrige", "corrigee", "corregida", "stp",
))  # fmt: skip
_WHOLE = {"normleistung": "leistung", "normdrehmoment": "drehmoment"}


def without_correction(name: str) -> str | None:
    """Return a header's name without the words of a correction; None if it has none of them.

    "Power SAE J1349 corrected" becomes "power"; what is left must still be a power or a torque,
    since "SAE" beside anything else says nothing of a correction.
    """
    found = words(name)
    kept = [_WHOLE.get(w, w) for w in found if w not in _CORRECTED]
    return " ".join(kept) if kept and tuple(kept) != found else None
