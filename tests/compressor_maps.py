"""A smooth invented compressor for tests: closed form, so that a map of it can be held to it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from airsense.arrays import FloatArray
from airsense.logs.log import Channel, Log
from airsense.setup.compressor_map import MapPoints

TOP_SPEED_RPM = 180e3
TOP_RATIO = 3.2
TOP_CHOKE_KGPS = 0.26
SPEEDS_RPM = np.array([40e3, 60e3, 80e3, 100e3, 120e3, 140e3, 160e3, 180e3, 205e3])
T_REF_K, P_REF_PA = 298.0, 100e3


def choke_kgps(speed_rpm: FloatArray) -> FloatArray:
    """Return the corrected flow at which a line falls to a ratio of one."""
    return TOP_CHOKE_KGPS * (speed_rpm / TOP_SPEED_RPM) ** 0.9


def ratio_of(speed_rpm: FloatArray, mdot_kgps: FloatArray) -> FloatArray:
    """Return the pressure ratio: a peak at a third of the choking flow, then a steeper fall."""
    top = (TOP_RATIO - 1.0) * (speed_rpm / TOP_SPEED_RPM) ** 2
    x = (mdot_kgps / choke_kgps(speed_rpm) - 0.33) / 0.67
    return np.asarray(1.0 + top * (1.0 - np.abs(x) ** 2.2))


def points(path: str = "map.csv", speeds_rpm: FloatArray = SPEEDS_RPM, n: int = 12) -> MapPoints:
    """Return a map measured at even steps from left of the peak to near choke."""
    share = np.linspace(0.22, 0.97, n)
    speed = np.repeat(speeds_rpm, n)
    flow = choke_kgps(speed) * np.tile(share, speeds_rpm.size)
    return MapPoints(
        path=path, speed_rpm=speed, mdot_kgps=flow, pressure_ratio=ratio_of(speed, flow)
    )


def map_csv(given: MapPoints) -> str:
    """Return a map file in the units of a data sheet."""
    lines = ["corrected speed (rpm),corrected mass flow (g/s),pressure ratio (-),efficiency (-)"]
    lines += [
        f"{n:.0f},{1e3 * m:.3f},{r:.5f},0.7"
        for n, m, r in zip(given.speed_rpm, given.mdot_kgps, given.pressure_ratio, strict=True)
    ]
    return "\n".join(lines) + "\n"


def write_map(folder: Path) -> Path:
    """Write the map file."""
    target = folder / "map.csv"
    target.write_text(map_csv(points()))
    return target


def speed_for(mdot_corrected: float, ratio: float) -> float:
    """Return the corrected speed at which the compressor gives a flow at a ratio. [rpm]"""

    def miss(speed: float) -> float:
        return float(ratio_of(np.array(speed), np.array(mdot_corrected))) - ratio

    # Right of the peak only: above the speed at which the flow is that of the peak it surges.
    high = TOP_SPEED_RPM * (mdot_corrected / 0.33 / TOP_CHOKE_KGPS) ** (1.0 / 0.9)
    low = 1.001 * TOP_SPEED_RPM * (mdot_corrected / TOP_CHOKE_KGPS) ** (1.0 / 0.9)
    return brentq(miss, low, high) if miss(low) * miss(high) < 0.0 else float("nan")


def with_turbo_speed(log: Log, true_kgps: FloatArray, t_inlet_k: float) -> Log:
    """Return the log with the speed at which this compressor would give the true flow.

    `true_kgps` has the shape of the pressure channel; ambient as logged, no depression.
    """
    pressure = log["manifold_pressure"]
    ambient = float(np.median(log["barometric_pressure"].value))
    root = float(np.sqrt(T_REF_K / t_inlet_k))
    corrected = true_kgps / root * P_REF_PA / ambient
    speed = [
        speed_for(m, p / ambient) / root for m, p in zip(corrected, pressure.value, strict=True)
    ]
    good = np.isfinite(speed)
    channel = Channel(
        name="turbo_speed", header="turbo speed", unit_read="rpm",
        time_s=pressure.time_s[good], value=np.array(speed)[good],
    )  # fmt: skip
    inlet = Channel(
        name="ambient_temperature", header="ambient", unit_read="K",
        time_s=np.array(log.span_s), value=np.full(2, t_inlet_k),
    )  # fmt: skip
    return replace(
        log, channels={**log.channels, "turbo_speed": channel, "ambient_temperature": inlet}
    )
