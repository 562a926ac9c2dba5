"""Whose the engine's change of air is: the weather's, the intake's, the demand's, a feedback's."""

from airsense.evidence.parts.given import (
    Circumstances,
    LawBelief,
    LnChange,
    Weather,
    laws_of,
    laws_unknown,
    weather_by_charge,
    weather_undeclared,
)
from airsense.evidence.parts.split import Parts, split

__all__ = [
    "Circumstances",
    "LawBelief",
    "LnChange",
    "Parts",
    "Weather",
    "laws_of",
    "laws_unknown",
    "split",
    "weather_by_charge",
    "weather_undeclared",
]
