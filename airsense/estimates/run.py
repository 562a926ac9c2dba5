"""One run on one time grid, in the state in which the routes use it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from airsense.arrays import FloatArray
from airsense.logs.interpolate import interpolate
from airsense.logs.log import Log
from airsense.results import Assumption, Finding

# Below this the engine stands.
ENGINE_OFF_RPM = 50.0
MIN_STEP_S = 0.04
MAX_STEP_S = 0.2
MAX_GAP_STEPS = 3.5
MIN_GAP_S = 1.0
# A longer pause of the engine speed is cut out of the grid but for an empty band as long as this:
# longer than any filter or look back reaches, so that nothing sees over it (our choice).
BAND_S = 10.0
# Of so long a pause nothing is known, however slowly the rest is sampled (our choice).
LONGEST_BRIDGE_S = 60.0
# A channel polled slower than this may move between samples as no interpolation can tell; where
# its bend says so (k = 1), it is left out (our choice; steady driving stays below 1 %).
SLOW_HZ = 2.5
MAX_REBUILT_U = 0.05
FLOOR_SHARE = 0.2
_REBUILT = ("engine_speed", "manifold_pressure", "mass_air_flow", "fuel_mass_flow")


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The gas that is breathed: humidity and gas constant, with what they rest on."""

    x_vapour: float
    r_jpkgk: float
    u_r_abs: float
    u_r_run: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run: arrays of shape (n,) on one grid; NaN where a channel has no sample near.

    The grid is uniform but for the pauses that `grid_of` cuts out.
    A quantity that was not logged is None. `charge_estimated` says that `t_charge_k` is worked
    out from the pressure ratio instead of measured; `u_t_charge_k` then holds its absolute
    standard uncertainty and `t_inlet_k` the temperature ahead of the compressor, where logged.
    `ln_place_odds` is ln of the odds that the logged one is the charge's, NaN if nothing shows it.
    """

    name: str
    log: Log
    time_s: FloatArray
    speed_rpm: FloatArray
    native_step_s: float
    mdot_maf_kgps: FloatArray | None = None
    maf_signal: FloatArray | None = None
    p_manifold_pa: FloatArray | None = None
    p_ambient_pa: float = 101_325.0
    p_ambient_source: str = "assumed"
    p_resolution_pa: float = 0.0
    from_gauge: bool = False
    t_charge_k: FloatArray | None = None
    t_ambient_k: float | None = None
    charge_estimated: bool = False
    ln_place_odds: float = float("nan")
    u_t_charge_k: float | None = None
    t_inlet_k: float | None = None
    air: Air | None = None
    mdot_fuel_kgps: FloatArray | None = None
    fuel_is_per_stroke: bool = False
    lambda_: FloatArray | None = None
    lambda_excluded: str = ""
    trim_short: FloatArray | None = None
    trim_long: FloatArray | None = None
    egr_rate: FloatArray | None = None
    power_w: FloatArray | None = None
    wheel_power_w: FloatArray | None = None
    p_demand_pa: FloatArray | None = None
    depression_pa: FloatArray | None = None
    turbo_speed_rpm: FloatArray | None = None
    pedal: FloatArray | None = None
    mdot_filling_kgps: FloatArray | None = None
    lags_s: tuple[tuple[str, float], ...] = ()
    findings: tuple[Finding, ...] = ()
    assumptions: tuple[Assumption, ...] = field(default_factory=tuple)

    @property
    def p_ambient_assumed(self) -> bool:
        """Whether nothing tells the ambient pressure."""
        return self.p_ambient_source == "assumed"

    @property
    def fuel_trims(self) -> FloatArray | None:
        """Sum of both fuel trims, as a fraction; None unless both are there."""
        if self.trim_short is None or self.trim_long is None:
            return None
        return self.trim_short + self.trim_long

    @property
    def filling_kgps(self) -> FloatArray:
        """What passes the sensor to fill the charge path, and not the engine; zero if unknown."""
        known = self.mdot_filling_kgps
        return np.zeros(self.time_s.size) if known is None else known

    @property
    def step_s(self) -> float:
        """Step of the grid. [s]"""
        return float(self.time_s[1] - self.time_s[0]) if self.time_s.size > 1 else float("nan")


def grid_of(log: Log) -> FloatArray:
    """Return a time grid over the span that speed and air flow (or pressure) share, uniform
    but for long pauses of the speed.

    Of a pause, such as a clock that was set on the way leaves, only an empty band remains, half
    of it on each side; so the grid grows with the samples, not with the span.
    The step is that of the air-flow channel, but never finer than 0.04 s (nothing in an engine's
    air path that a hot film or a pressure sensor shows is faster) nor coarser than 0.2 s (so that
    slowly polled channels, which never share a sample time, meet by interpolation).
    """
    names = [n for n in ("engine_speed", "mass_air_flow", "maf_signal") if n in log]
    if "mass_air_flow" not in log:
        names += [n for n in ("manifold_pressure", "boost_pressure") if n in log][:1]
    channels = [log[n] for n in names if log[n].time_s.size > 1]
    if "engine_speed" not in log or len(channels) < 2:
        return np.empty(0)
    low = max(c.time_s[0] for c in channels)
    high = min(c.time_s[-1] for c in channels)
    step = min(max(MIN_STEP_S, native_step_s(log)), MAX_STEP_S)
    if high - low < step:
        return np.empty(0)
    steps = _lattice(log["engine_speed"].time_s, low, high, step)
    return np.asarray(low + step * steps, dtype=np.float64)


def _lattice(own_s: FloatArray, low: float, high: float, step: float) -> FloatArray:
    """Return which steps after `low` a grid holds, given the sample times of the speed."""
    pause = np.diff(own_s)
    longest = min(max(BAND_S, MAX_GAP_STEPS * float(np.median(pause))), LONGEST_BRIDGE_S)
    cut = np.flatnonzero(pause > longest)
    starts = np.concatenate(([low], own_s[cut + 1] - 0.5 * BAND_S))
    stops = np.concatenate((own_s[cut] + 0.5 * BAND_S, [high]))
    first = np.ceil((np.maximum(starts, low) - low) / step)
    stop = np.floor((np.minimum(stops, high) - low) / step) + 1.0
    # A single point would have no step.
    kept = [np.arange(a, b) for a, b in zip(first, stop, strict=True) if b - a > 1.0]
    return np.concatenate(kept) if kept else np.empty(0)


def native_step_s(log: Log) -> float:
    """Return the sample distance of the air-flow channel, or of the pressure without one. [s]"""
    names = ("mass_air_flow", "maf_signal", "manifold_pressure", "boost_pressure", "engine_speed")
    name = next(n for n in names if n in log and log[n].time_s.size > 1)
    return float(np.median(np.diff(log[name].time_s)))


def on_grid(log: Log, name: str, time_s: FloatArray) -> FloatArray | None:
    """Return a channel on the grid, NaN in gaps much longer than its own sample distance.

    Of a slowly polled channel, what moves too fast to be rebuilt between two samples is NaN too.
    """
    if name not in log or log[name].time_s.size < 2:
        return None
    own = log[name].time_s
    value = log.at(name, time_s)
    gap = max(MIN_GAP_S, MAX_GAP_STEPS * float(np.median(np.diff(own))))
    after = np.clip(np.searchsorted(own, time_s), 1, own.size - 1)
    value = np.where(own[after] - own[after - 1] > gap, np.nan, value)
    if name in _REBUILT and log[name].rate_hz < SLOW_HZ:
        level = float(np.median(np.abs(log[name].value)))
        kept = interpolate(log[name], time_s).trusted(MAX_REBUILT_U, FLOOR_SHARE * level)
        value = np.where(kept, value, np.nan)
    return value
