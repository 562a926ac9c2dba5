"""What became of each log: its stretches, used or not and why, its weather, whether it is odd."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentUse:
    """One stretch of a log."""

    kind: str
    start_s: float
    stop_s: float
    used: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherUse:
    """The weather that was taken for a log, and where from."""

    barometric_pressure_kpa: float
    ambient_temperature_c: float | None
    relative_humidity: float | None
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LogUse:
    """One log: `role` is its configuration, `odd` with a reason where it stands out."""

    path: str
    role: str
    used: bool
    reason: str
    segments: tuple[SegmentUse, ...]
    weather: WeatherUse
    odd: bool = False
    odd_reason: str = ""
