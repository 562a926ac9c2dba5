"""Invented sweeps and drives: time, speed and manifold pressure of three engines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True)
class Engine:
    """A sweep: flow at the top, and where boost is full, as a fraction of the speed range."""

    displacement_m3: float
    speed_low_rpm: float
    speed_high_rpm: float
    boost_pa: float
    boost_from: float


ENGINES = {
    "turbo diesel 2.2 l": Engine(
        displacement_m3=2.2e-3,
        speed_low_rpm=1400,
        speed_high_rpm=4200,
        boost_pa=1.35e5,
        boost_from=0.25,
    ),
    "turbo diesel 5.9 l": Engine(
        displacement_m3=5.9e-3,
        speed_low_rpm=1200,
        speed_high_rpm=3000,
        boost_pa=1.8e5,
        boost_from=0.35,
    ),
    "turbo petrol 1.8 l": Engine(
        displacement_m3=1.8e-3,
        speed_low_rpm=1800,
        speed_high_rpm=6600,
        boost_pa=0.9e5,
        boost_from=0.3,
    ),
}


def ar1(rng: np.random.Generator, n: int, sd: float, tau_steps: float) -> np.ndarray:
    """Autocorrelated noise."""
    from scipy.signal import lfilter

    rho = np.exp(-1.0 / tau_steps)
    return lfilter([np.sqrt(1.0 - rho**2)], [1.0, -rho], rng.normal(0.0, sd, n + 200))[200:]


def state(
    engine: Engine, rng: np.random.Generator, *, drive: bool, seconds: float, rate_hz: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, speed and absolute manifold pressure of a pull, or of a drive over the map."""
    t = np.arange(0.0, seconds, 1.0 / rate_hz)
    share = t / t[-1]
    if drive:
        share = np.clip(0.45 + ar1(rng, t.size, 0.22, 5.0 * rate_hz), 0.05, 1.0)
        load = np.clip(0.55 + ar1(rng, t.size, 0.3, 3.0 * rate_hz), 0.02, 1.0)
    else:
        load = np.ones_like(t)
    speed = engine.speed_low_rpm + share * (engine.speed_high_rpm - engine.speed_low_rpm)
    rise = 1.0 / (1.0 + np.exp(-(share - 0.6 * engine.boost_from) / (0.18 * engine.boost_from)))
    droop = 1.0 - 0.12 * np.clip((share - 0.7) / 0.3, 0.0, 1.0)
    return t, speed, 0.985e5 + engine.boost_pa * rise * droop * load
