"""Channels that are computed from the air-flow sensor are no evidence about it.

The test is an identity: the suspected combination divided by the sensor's flow must be constant
to little more than the rounding of the logged numbers, over the whole log, and the sensor's own
noise must be gone from the ratio. An independent measurement adds noise and shape of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.combustion import per_stroke_to_flow_kgps
from airsense.estimates.run import Run, on_grid
from airsense.results import Finding, Severity
from airsense.setup.engine import Engine

# Residual allowed over the rounding's own: different rounding of intermediate values, our choice.
ROUNDING_FACTOR = 2.0
EXTRA_RESIDUAL = 0.003
# Sample-to-sample noise of the ratio over what an independent channel leaves at least: the
# sensor's own noise and the rounding of the others. Below the first the sensor's noise is gone.
NOISE_GONE = 0.8
NOISE_THERE = 1.15
# The test tells only where the sensor's noise stands out of rounding and the noise of fuel.
TELLING_FACTOR = 1.5
FUEL_NOISE = 0.002
# Where the sensor is quieter than the rounding, only an identity to the digit counts.
EXACT_FACTOR = 1.3
EXACT_RESIDUAL = 0.0005
# Coarser than this an independent channel agrees to the digit as well (0.05 of lambda 1.4 is 1 %).
MAX_PROVING_ROUNDING = 0.005
# Of independent samples: rows between the polls of a channel count for nothing.
MIN_SAMPLES = 30
# Run effects of three sensors of 0.2 to 0.5 % each spread the factor of several runs by over 1 %:
# by chance they lie as near as this in one of fifty comparisons of three runs, or of four.
MIN_RUNS_FOR_FACTOR = 3
MAX_FACTOR_RANGE = {3: 0.0015}
MAX_FACTOR_RANGE_OF_MANY = 0.0025
# A lag does not change over a log: so many samples tell it.
LONGEST_LAG_SEARCH = 10_000
LAGS_IN_STEPS = range(-10, 11)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Outcome of one identity test. Relative standard deviations; `lag_s` is where it is least.

    `close` says that the ratio is nearly constant; `circular` that this log alone proves it, or
    with `untold`, that nothing in it tells the channel from a computed one.
    """

    channel: str
    circular: bool
    close: bool
    residual: float
    rounding: float
    lag_s: float
    factor: float
    untold: bool = False


def lambda_identity(run: Run) -> Identity | None:
    """Test whether fuel x lambda is the sensor's flow times a constant; None if untold."""
    if run.lambda_ is None or run.mdot_fuel_kgps is None or run.mdot_maf_kgps is None:
        return None
    lambda_name = "lambda" if "lambda" in run.log else "exhaust_oxygen"
    names = (lambda_name, _fuel_name(run))
    return _identity("lambda", run.mdot_fuel_kgps * run.lambda_, run, names)


def air_per_stroke_identity(run: Run, engine: Engine) -> Identity | None:
    """Test whether the logged air per stroke is the sensor's flow in other words."""
    stroke = on_grid(run.log, "air_per_stroke", run.time_s)
    if stroke is None or run.mdot_maf_kgps is None:
        return None
    flow = per_stroke_to_flow_kgps(stroke, run.speed_rpm, engine)
    return _identity("air_per_stroke", flow, run, ("air_per_stroke", "engine_speed"))


def _fuel_name(run: Run) -> str:
    names = ("fuel_mass_flow", "fuel_volume_flow", "fuel_per_stroke", "fuel_volume_per_stroke")
    return next((n for n in names if n in run.log), "fuel_mass_flow")


def _rounding(run: Run, names: tuple[str, ...]) -> float:
    """Return the relative standard deviation that the rounding of the channels leaves."""
    total = 0.0
    for name in names:
        if name in run.log and run.log[name].value.size:
            level = float(np.median(np.abs(run.log[name].value))) or 1.0
            total += (run.log[name].resolution / level) ** 2 / 12.0
    return float(np.sqrt(total))


def _identity(channel: str, flow: FloatArray, run: Run, names: tuple[str, ...]) -> Identity | None:
    # As logged: a shift in time to align the reading would blur what was computed from it.
    reading = on_grid(run.log, "mass_air_flow", run.time_s)
    if reading is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_flow, ln_reading = np.log(flow), np.log(reading)
    lag = _best_lag(ln_flow, ln_reading)
    ratio = _ln_ratio(ln_flow, ln_reading, lag)
    if ratio.size < MIN_SAMPLES:
        return None
    spread = _spread(ratio)
    rounding = _rounding(run, (*names, "mass_air_flow"))
    close = spread < ROUNDING_FACTOR * rounding + EXTRA_RESIDUAL
    proven, untold = False, False
    if close and ratio.size * run.step_s >= MIN_SAMPLES * max(run.step_s, run.native_step_s):
        exact = spread < EXACT_FACTOR * rounding + EXACT_RESIDUAL
        proven, untold = _judge(ratio, ln_reading, run, _rounding(run, names), exact=exact)
    return Identity(
        channel=channel,
        circular=proven or untold,
        close=bool(close),
        residual=spread,
        rounding=rounding,
        lag_s=lag * run.step_s,
        factor=float(np.exp(np.median(ratio))),
        untold=untold,
    )


def _best_lag(ln_flow: FloatArray, ln_reading: FloatArray) -> int:
    """Return the lag in steps at which the ratio is steadiest, from the middle of a long log."""
    start = max(0, (ln_flow.size - LONGEST_LAG_SEARCH) // 2)
    middle = slice(start, start + LONGEST_LAG_SEARCH)
    tries = [
        (_spread(ratio), abs(lag), lag)
        for lag in LAGS_IN_STEPS
        if (ratio := _ln_ratio(ln_flow[middle], ln_reading[middle], lag)).size >= MIN_SAMPLES
    ]
    return min(tries)[2] if tries else 0


def _judge(
    ratio: FloatArray, ln_reading: FloatArray, run: Run, rounding: float, *, exact: bool
) -> tuple[bool, bool]:
    """Return whether a nearly constant ratio proves an identity, and whether nothing tells."""
    stride = max(1, round(run.native_step_s / run.step_s))
    noise = _roughness(ln_reading[np.isfinite(ln_reading)][::stride])
    left = _roughness(ratio[::stride]) / max(float(np.hypot(noise, rounding)), 1e-12)
    telling = noise > TELLING_FACTOR * float(np.hypot(rounding, FUEL_NOISE))
    fine = rounding <= MAX_PROVING_ROUNDING
    proven = (telling and left < NOISE_GONE) or (exact and fine)
    return proven, not proven and (exact or (not telling and left < NOISE_THERE))


def _ln_ratio(ln_flow: FloatArray, ln_reading: FloatArray, lag: int) -> FloatArray:
    """Return the finite logarithms of the ratio, the flow `lag` steps late, without the ends."""
    edge = len(LAGS_IN_STEPS)
    if ln_flow.size <= 2 * edge:
        return np.zeros(0)
    with np.errstate(invalid="ignore"):
        ratio = ln_flow[edge - lag : ln_flow.size - edge - lag] - ln_reading[edge:-edge]
    return np.asarray(ratio[np.isfinite(ratio)], dtype=np.float64)


def _spread(x: FloatArray) -> float:
    """Return a robust standard deviation: a few spoilt samples do not hide an identity."""
    low, high = np.quantile(x, (0.1587, 0.8413))
    return float(0.5 * (high - low))


def _roughness(x: FloatArray) -> float:
    """Return the sample-to-sample noise from second differences (variance factor 6), robustly."""
    return _spread(np.diff(x, 2)) / float(np.sqrt(6.0)) if x.size > 3 else 0.0


def same_in_all(identities: Sequence[Identity | None]) -> bool:
    """Return whether the runs together prove an identity that each alone leaves open.

    A controller may compute the channel from a filtered reading, so that noise remains in the
    ratio. But its factor is then the same in every run, while the factor of an independent
    channel moves with the run effects of three sensors.
    """
    found = [i for i in identities if i is not None and i.close]
    if len(found) < max(MIN_RUNS_FOR_FACTOR, len(identities)):
        return False
    factors = np.log([i.factor for i in found])
    return float(np.ptp(factors)) < MAX_FACTOR_RANGE.get(len(found), MAX_FACTOR_RANGE_OF_MANY)


def circular_finding(identity: Identity, where: str) -> Finding:
    """Return the finding that a channel is computed from the air-flow sensor, with its proof."""
    if identity.untold:
        return _untold_finding(identity, where)
    return Finding(
        code=f"circular_{identity.channel}",
        severity=Severity.WARNING if identity.channel == "lambda" else Severity.INFO,
        message=f"{identity.channel} is computed from the air-flow sensor: their ratio is constant "
        f"to {100 * identity.residual:.2f} % (rounding gives {100 * identity.rounding:.2f} %), "
        f"lag {identity.lag_s:+.2f} s; it is no evidence and is left out",
        fix="log a lambda that a sensor in the exhaust measures"
        if identity.channel == "lambda"
        else "nothing to mend; log an air flow that does not come from this sensor",
        where=where,
    )


def _untold_finding(identity: Identity, where: str) -> Finding:
    return Finding(
        code=f"{identity.channel}_perhaps_circular",
        severity=Severity.WARNING if identity.channel == "lambda" else Severity.INFO,
        message=f"{identity.channel} follows the air-flow sensor to {100 * identity.residual:.1f} "
        f"%, hardly worse than the rounding of the log ({100 * identity.rounding:.1f} %): it "
        "cannot be told from one that is computed from the sensor, and is left out",
        fix=f"log {identity.channel} in finer steps and at a higher rate, in several runs",
        where=where,
    )
