"""Invented runs with a known change of the sensor, made without the estimator's own model.

The air comes from a sweep or a drive; the routes carry run effects, drifts between baseline and
present, errors over the map, a lag of the thermistor and autocorrelated noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from airsense.transfer.samples import ReferenceSamples, RouteSamples

U_BETWEEN = {"speed_density": 0.0063, "fuel_lambda": 0.0070}
U_RUN = {"speed_density": 0.0035, "fuel_lambda": 0.0070}
U_ABSOLUTE = {"speed_density": 0.06, "fuel_lambda": 0.045}
U_RUN_SENSOR = 0.003


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is wrong with the sensor: ln(true/indicated) over true flow in kg/s."""

    correction: Callable[[np.ndarray], np.ndarray]
    leak: float = 0.0
    map_gain: float = 0.0


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


def make_samples(
    engine: Engine,
    change: Change,
    rng: np.random.Generator,
    *,
    runs: tuple[int, int] = (3, 3),
    methods: tuple[str, ...] = ("speed_density", "fuel_lambda"),
    drive: bool = False,
    seconds: float = 9.0,
    rate_hz: float = 20.0,
    noise: float = 0.012,
) -> ReferenceSamples:
    """Baseline and present runs; the signal is the indicated flow itself."""
    absolute = {m: rng.normal(0.0, U_ABSOLUTE[m]) for m in methods}
    between = {m: rng.normal(0.0, U_BETWEEN[m]) for m in methods}
    slope = rng.normal(0.0, 0.04, 2)
    columns: dict[str, list[np.ndarray]] = {}
    flows: dict[str, list[np.ndarray]] = {m: [] for m in methods}
    for r in range(sum(runs)):
        present = r >= runs[0]
        t, n, p = state(engine, rng, drive=drive, seconds=seconds, rate_hz=rate_hz)
        t_charge = 315.0 + 12.0 * (p - 1e5) / 1e5
        ve = 0.9 + 0.05 * np.sin(3.0 * n / engine.speed_high_rpm)
        breathed = ve * p * engine.displacement_m3 * n / (120.0 * 287.0 * t_charge)
        top = np.max(p) - 0.985e5
        leak = change.leak * present * np.clip((p - 0.985e5) / top, 0.0, 1.0)
        passed = breathed / (1.0 - leak)
        skew = change.correction(passed) if present else np.zeros_like(passed)
        noise_sensor = ar1(rng, t.size, noise, 2.0) + rng.normal(0.0, U_RUN_SENSOR)
        ln_indicated = np.log(passed) - skew + noise_sensor
        for m in methods:
            drift = between[m] * present + rng.normal(0.0, U_RUN[m])
            error = absolute[m] + drift + ar1(rng, t.size, 0.6 * noise, 4.0)
            if m == "speed_density":
                error = error + slope[0] * np.log(n / 3000.0) + slope[1] * np.log(p / 2e5)
                error = error + np.log1p(change.map_gain * present)
                error = error + 0.004 * (t / t[-1] - 0.5)  # heat soak that nobody models
            flows[m].append(np.log(breathed) + error)
        logged_p = p * (1.0 + change.map_gain * present)
        for name, values in (
            ("run", np.full(t.size, r)),
            ("present", np.full(t.size, present)),
            ("time_s", t),
            ("ln_indicated", ln_indicated),
            ("speed_rpm", n),
            ("p_manifold_pa", logged_p),
            ("p_ambient_pa", np.full(t.size, 0.985e5)),
        ):
            columns.setdefault(name, []).append(values)
    arrays = {k: np.concatenate(v) for k, v in columns.items()}
    return ReferenceSamples(
        **arrays,
        routes=tuple(
            RouteSamples(
                method=m,
                ln_flow=np.concatenate(flows[m]),
                u_absolute=U_ABSOLUTE[m],
                u_between=U_BETWEEN[m],
                u_run=U_RUN[m],
                breathing=m == "speed_density",
            )
            for m in methods
        ),
        u_run_sensor=U_RUN_SENSOR,
        dof=12.0,
    )
