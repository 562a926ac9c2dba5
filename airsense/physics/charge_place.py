"""Where an intake temperature is taken, told from its behaviour under boost.

Behind compressor and cooler, a temperature follows the heat of compression by the part that the
cooler leaves. Ahead of the compressor it hardly does. The evidence is that part, `slope`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import BoolArray, FloatArray
from airsense.physics.align import first_order_lag
from airsense.physics.arguments import floats
from airsense.physics.compression import (
    COMPRESSOR_EFFICIENCY,
    COOLER_EFFECTIVENESS,
    compressor_outlet_temperature_k,
)

Place = Literal["after_cooler", "before_compressor", "unknown"]

# Boost below this ratio warms the charge by less than what a hot engine bay may do.
LEAST_BOOST_RATIO = 1.5
LEAST_BOOSTED_SAMPLES = 10
MOST_SAMPLES = 20_000
# Heat of compression, as a sensor of 5 s would feel it, below which nothing can be told. [K]
LEAST_RISE_K = 15.0
# The sensor's time constant is unknown: each of these is tried, the best fit is taken. [s]
TRIED_LAGS_S = (0.0, 2.0, 5.0, 10.0, 20.0)
# Slower changes are weather and heat soak, on both sides of the compressor. [s]
SOAK_TIME_S = 30.0
# Ahead of the compressor the slope is not quite zero: recirculated hot air under load. Our
# choice, after trips of a car whose sensor stays within some kelvin of ambient under boost.
SLOPE_BEFORE, U_SLOPE_BEFORE = 0.03, 0.03
SLOPE_AFTER, U_SLOPE_AFTER = 1.0 - COOLER_EFFECTIVENESS.value, COOLER_EFFECTIVENESS.u
# What stores heat, or is soaked with it before a pull, hides the slope of a sensor: how often in a
# single pull, what is left of it behind a cooler then, and the time in which changing boost makes
# that half as likely. Our choice.
HIDDEN_SHARE, HIDDEN_SLOPE, U_HIDDEN_SLOPE, HIDDEN_TIME_S = 0.15, 0.10, 0.10, 120.0
# A slope beyond what any cooler leaves: behind the compressor, but not behind a cooler.
LARGEST_SLOPE = 0.70
# Excess of an intake temperature over ambient that heat soak alone may cause. [K] Our choice.
SOAK_K, U_SOAK_K = 6.0, 8.0
# Least standard uncertainty of a fitted slope: model error of lag and efficiency. Our choice.
U_SLOPE_LEAST = 0.02
# Samples inside a few seconds are not independent; one independent value in this time. [s]
INDEPENDENT_AFTER_S = 5.0
PROBABILITY_TO_DECIDE = 0.90
# Standard uncertainties by which the slope may lie below what either place allows, or the slope
# and the excess over ambient may differ, before neither is believed. Our choice.
CONTRADICTION = 3.0
# Residuals beyond the first count less, beyond the second all the same; a thermistor rounded to
# 1 K scatters by the third. [K]
HUBER_K, OUTLIER_K, LEAST_SCATTER_K = 1.0, 5.0, 0.3
FIT_ROUNDS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperaturePlaceGuess:
    """Where a temperature is taken, with the numbers that say so.

    `slope` is the part of the heat of compression that the reading follows, `u_slope` its
    standard uncertainty, `probability` that of `after_cooler` against `before_compressor`,
    `boosted_rise_k` the median heat of compression under boost, and
    `boosted_excess_k` the median excess over ambient there, NaN if ambient is not known.
    `boosted_samples` counts those looked at; a long log is thinned.
    """

    place: Place
    reason: str
    slope: float = float("nan")
    u_slope: float = float("nan")
    probability: float = 0.5
    boosted_rise_k: float = float("nan")
    boosted_excess_k: float = float("nan")
    boosted_samples: int = 0

    @property
    def ln_odds(self) -> float:
        """Logarithm of the odds of `after_cooler`; NaN where boost showed nothing."""
        sure = float(np.clip(self.probability, 1e-15, 1.0 - 1e-15))
        return float(np.log(sure / (1.0 - sure))) if np.isfinite(self.slope) else float("nan")


def infer_place(
    t_k: ArrayLike,
    t_ambient_k: ArrayLike | None,
    p_manifold_pa: ArrayLike,
    p_ambient_pa: ArrayLike,
    *,
    time_s: ArrayLike | None = None,
    odds_after: float = 1.0,
) -> TemperaturePlaceGuess:
    """Say where a temperature is taken from how it follows the heat of compression.

    Parameters
    ----------
    t_k : array_like, shape (n,)
        The temperature in question. [K]
    t_ambient_k : array_like, shape (n,) or scalar, or None
        Ambient temperature. [K] None if not logged.
    p_manifold_pa, p_ambient_pa : array_like, shape (n,) or scalar
        Absolute pressures. [Pa]
    time_s : array_like, shape (n,), optional
        Time of the samples, strictly increasing. [s] Without it the samples are taken as
        settled, and the answer is less certain.
    odds_after : float
        Odds of `after_cooler` before the behaviour is seen, above 0.

    Returns
    -------
    TemperaturePlaceGuess
        `unknown` unless one place is at least 90 % probable. Samples with a NaN are left out.

    Raises
    ------
    InputError
        If time does not increase strictly.

    Notes
    -----
    The reading, less its changes slower than heat soak, is fitted by a line in the heat of
    compression as a lagging sensor would feel it; outliers (a stopped engine's hot soak) are
    trimmed. The slope is combined with the excess over ambient under boost, and compared with
    what either place makes likely; stored heat may hide the slope on either side, not the excess.
    A sweep too short for the sensor stays `unknown`.
    """
    sample = _boosted_sample(t_k, t_ambient_k, p_manifold_pa, p_ambient_pa, time_s)
    if sample is None:
        return TemperaturePlaceGuess(
            place="unknown", reason=f"hardly a sample above a pressure ratio of {LEAST_BOOST_RATIO}"
        )
    felt = sample.felt(5.0)
    if np.ptp(felt) < LEAST_RISE_K:
        return TemperaturePlaceGuess(
            place="unknown",
            reason="boost too short or too steady for the sensor to show a change",
            boosted_samples=sample.boosted_count,
        )
    return _judge(sample, _slope(sample), odds_after)


@dataclass(frozen=True, slots=True)
class _Sample:
    """Clean samples: time or None, reading, heat of compression, boost, excess over ambient."""

    time_s: FloatArray | None
    t_k: FloatArray
    rise_k: FloatArray
    boosted: BoolArray
    excess_k: FloatArray

    @property
    def boosted_count(self) -> int:
        return int(np.count_nonzero(self.boosted))

    def felt(self, tau_s: float) -> FloatArray:
        """Heat of compression as a sensor of this time constant feels it. [K]"""
        if self.time_s is None:
            return self.rise_k
        return first_order_lag(self.time_s, self.rise_k, tau_s)

    def without_soak(self, x: FloatArray) -> FloatArray:
        """The faster changes of x."""
        if self.time_s is None:
            return x
        return x - first_order_lag(self.time_s, x, SOAK_TIME_S)

    @property
    def span_s(self) -> float:
        """From the first sample to the last; no end without time, where all are settled."""
        return np.inf if self.time_s is None else float(self.time_s[-1] - self.time_s[0])

    @property
    def independent(self) -> float:
        """Number of independent values."""
        return self.t_k.size / 10.0 if self.time_s is None else self.span_s / INDEPENDENT_AFTER_S


def _boosted_sample(
    t_k: ArrayLike,
    t_ambient_k: ArrayLike | None,
    p_manifold_pa: ArrayLike,
    p_ambient_pa: ArrayLike,
    time_s: ArrayLike | None,
) -> _Sample | None:
    t = floats(t_k)
    ratio = floats(p_manifold_pa) / floats(p_ambient_pa)
    ambient = floats(np.nan if t_ambient_k is None else t_ambient_k)
    t, ratio, ambient = np.broadcast_arrays(t, ratio, ambient)
    good = np.isfinite(t) & (ratio > 0.0)
    if t_ambient_k is not None:
        good &= np.isfinite(ambient)
    # A long log tells the same from fewer samples.
    kept = np.flatnonzero(good)
    kept = kept[:: 1 + kept.size // MOST_SAMPLES]
    t, ratio, ambient = t[kept], ratio[kept], ambient[kept]
    boosted = ratio >= LEAST_BOOST_RATIO
    if np.count_nonzero(boosted) < LEAST_BOOSTED_SAMPLES:
        return None
    # The inlet temperature only scales the rise: half a percent in 1.5 K.
    inlet = float(np.median(t if t_ambient_k is None else ambient))
    hot = compressor_outlet_temperature_k(
        inlet, np.maximum(ratio, 1.0), COMPRESSOR_EFFICIENCY.value
    )
    return _Sample(
        time_s=None if time_s is None else floats(time_s)[kept],
        t_k=t,
        rise_k=hot - inlet,
        boosted=boosted,
        excess_k=t - ambient,
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    """Part of the heat of compression that the reading follows, best sensor lag, residual."""

    slope: float
    u_slope: float
    tau_s: float
    scatter_k: float


def _slope(sample: _Sample) -> _Fit:
    reading = sample.without_soak(sample.t_k)
    lags = TRIED_LAGS_S if sample.time_s is not None else (0.0,)
    fits = [_fit(sample, reading, tau) for tau in lags]
    return min(fits, key=lambda fit: fit.scatter_k)


def _fit(sample: _Sample, reading: FloatArray, tau_s: float) -> _Fit:
    felt = sample.without_soak(sample.felt(tau_s))
    slope, scatter = _robust_line(felt, reading)
    u_fit = scatter / (float(np.std(felt)) * np.sqrt(max(sample.independent, 2.0)))
    return _Fit(slope, float(np.hypot(u_fit, U_SLOPE_LEAST)), tau_s, scatter)


def _robust_line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Slope of y over x by Huber's weights, and capped scatter about the line."""
    weight = np.ones_like(x)
    slope, rest = 0.0, y
    for _ in range(FIT_ROUNDS):
        total = weight.sum()
        dx, dy = x - weight @ x / total, y - weight @ y / total
        slope = float(weight @ (dx * dy) / (weight @ dx**2))
        rest = dy - slope * dx
        weight = HUBER_K / np.maximum(np.abs(rest), HUBER_K)
    scatter = float(np.sqrt(np.mean(np.minimum(rest**2, OUTLIER_K**2))))
    return slope, max(scatter, LEAST_SCATTER_K)


def _judge(sample: _Sample, fit: _Fit, odds_after: float) -> TemperaturePlaceGuess:
    rise = float(np.median(sample.rise_k[sample.boosted]))
    excess = float(np.median(sample.excess_k[sample.boosted]))
    slope, u_slope = fit.slope, fit.u_slope
    contradiction = slope < -SLOPE_BEFORE - CONTRADICTION * u_slope
    # Under either place the slope and, where ambient is known, the excess show one share of the
    # heat, so that how far they differ speaks for neither; a hidden slope shows nothing of it.
    u_hidden = float(np.hypot(u_slope, U_HIDDEN_SLOPE))
    hidden_behind = _log_density(slope, HIDDEN_SLOPE, u_hidden)
    hidden_ahead = _log_density(slope, SLOPE_BEFORE, u_hidden)
    alike = 0.0
    if np.isfinite(excess):
        felt = float(np.median(sample.felt(fit.tau_s)[sample.boosted]))
        level, u_level = (excess - SOAK_K) / felt, U_SOAK_K / felt
        u_apart = float(np.hypot(u_slope, u_level))
        contradiction |= abs(slope - level) > CONTRADICTION * u_apart
        alike = _log_density(slope - level, 0.0, u_apart)
        hidden_behind += _log_density(level, SLOPE_AFTER, np.hypot(u_level, U_SLOPE_AFTER))
        hidden_ahead += _log_density(level, SLOPE_BEFORE, np.hypot(u_level, U_SLOPE_BEFORE))
        slope, u_slope = _weighted(slope, u_slope, level, u_level)
    seen_behind = alike + _log_density(slope, SLOPE_AFTER, np.hypot(u_slope, U_SLOPE_AFTER))
    seen_ahead = alike + _log_density(slope, SLOPE_BEFORE, np.hypot(u_slope, U_SLOPE_BEFORE))
    share = HIDDEN_SHARE / (1.0 + sample.span_s / HIDDEN_TIME_S)
    log_odds = _mixed(share, seen_behind, hidden_behind) - _mixed(share, seen_ahead, hidden_ahead)
    odds = odds_after * float(np.exp(np.clip(log_odds, -50.0, 50.0)))
    after = odds / (1.0 + odds)
    place, reason = _verdict(after, slope, u_slope, contradiction)
    return TemperaturePlaceGuess(
        place=place,
        reason=f"it follows {100.0 * slope:.0f} % of the {rise:.0f} K that compression adds "
        f"under boost{reason}",
        slope=slope,
        u_slope=u_slope,
        probability=after,
        boosted_rise_k=rise,
        boosted_excess_k=excess,
        boosted_samples=sample.boosted_count,
    )


def _mixed(share: float, seen: float, hidden: float) -> float:
    """Logarithm of a mixture of two densities, the second one with this share."""
    if share == 0.0:
        return seen
    return float(np.logaddexp(np.log1p(-share) + seen, np.log(share) + hidden))


def _weighted(a: float, u_a: float, b: float, u_b: float) -> tuple[float, float]:
    """Mean of two values weighted by their variances, and its standard uncertainty."""
    w_a, w_b = u_a**-2, u_b**-2
    return (w_a * a + w_b * b) / (w_a + w_b), float((w_a + w_b) ** -0.5)


def _log_density(x: float, mean: float, u: float) -> float:
    """Logarithm of the normal density, but for a constant."""
    return float(-0.5 * ((x - mean) / u) ** 2 - np.log(u))


def _verdict(after: float, slope: float, u_slope: float, contradiction: bool) -> tuple[Place, str]:
    """Place, and the end of the sentence that gives the reason."""
    if slope - u_slope > LARGEST_SLOPE:
        return "unknown", ": more than any cooler leaves"
    if contradiction:
        return "unknown", ", but heat soak hides what boost does to it"
    if after <= 1.0 - PROBABILITY_TO_DECIDE:
        return "before_compressor", "; behind a cooler it would be 10 to 40 %"
    if after >= PROBABILITY_TO_DECIDE:
        return "after_cooler", ", as behind a charge cooler"
    return "unknown", ", which fits neither place well enough"
