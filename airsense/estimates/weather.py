"""Declared weather as channels of a log that has none of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from airsense.logs.log import Channel, Log
from airsense.physics.constants import CELSIUS_ZERO_K
from airsense.setup.weather import DeclaredWeather


def with_weather(log: Log, *declared: DeclaredWeather | None) -> Log:
    """Return the log with declared weather as channels, where it has none of its own.

    Parameters
    ----------
    log : Log
        What it holds itself comes first.
    *declared : DeclaredWeather or None
        What was declared, the first to speak first: for the run, for its configuration, for all.

    Returns
    -------
    Log
        With up to three more channels of two samples each; `recognised_by` says who spoke.
        The log itself where nothing is added.
    """
    added: dict[str, Channel] = {}
    for one in declared:
        for name, value in _values(one).items():
            if name not in log and name not in added:
                added[name] = _channel(log, name, value, one.said_by if one else "")
    return replace(log, channels={**log.channels, **added}) if added else log


def _values(declared: DeclaredWeather | None) -> dict[str, float]:
    """Return what was declared, by channel, in SI units."""
    if declared is None:
        return {}
    celsius, kpa = declared.ambient_temperature_c, declared.barometric_pressure_kpa
    known = {
        "ambient_temperature": None if celsius is None else celsius + CELSIUS_ZERO_K,
        "barometric_pressure": None if kpa is None else kpa * 1e3,
        "relative_humidity": declared.relative_humidity,
    }
    return {name: value for name, value in known.items() if value is not None}


def _channel(log: Log, name: str, value: float, said_by: str) -> Channel:
    return Channel(
        name=name,
        header=said_by,
        unit_read="",
        time_s=np.array(log.span_s),
        value=np.full(2, value),
        recognised_by=said_by,
    )
