"""Charge temperature: estimate it, undo its sensor's lag, infer where it is taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from airsense.physics.align import undo_first_order_lag
from airsense.physics.arguments import FloatArray, between, floats, positive
from airsense.physics.constants import KAPPA_AIR


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A quantity known to lie between two bounds, all values equally likely."""

    low: float
    high: float
    source: str

    @property
    def value(self) -> float:
        """Middle of the range."""
        return 0.5 * (self.low + self.high)

    @property
    def u(self) -> float:
        """Standard uncertainty of a rectangular distribution (JCGM 100, 4.3.7)."""
        return float((self.high - self.low) / np.sqrt(12.0))


COMPRESSOR_EFFICIENCY = Range(
    low=0.60,
    high=0.80,
    source="peaks of two published diesel models 0.736 and 0.792; lower off the peak (our choice)",
)
COOLER_EFFECTIVENESS = Range(
    low=0.60, high=0.90, source="from memory: handbook 0.7 to 0.9; lower when hot (our choice)"
)
COOLING_AIR_U_K = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeTemperature:
    """An estimated charge temperature with its standard uncertainty."""

    t_charge_k: FloatArray
    u_k: FloatArray
    notes: tuple[str, ...] = ()


Place = Literal["after_cooler", "before_compressor", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperaturePlaceGuess:
    """Where a temperature is taken, with the numbers that say so."""

    place: Place
    reason: str
    slope: float
    u_slope: float
    samples: int


def compressor_outlet_temperature_k(
    t_in_k: ArrayLike, pressure_ratio: ArrayLike, efficiency: ArrayLike
) -> FloatArray:
    """Return the temperature behind the compressor."""
    t, pr = positive(t_in_k, "t_in_k"), positive(pressure_ratio, "pressure_ratio")
    eta = positive(between(efficiency, 0.0, 1.0, name="efficiency"), "efficiency")
    kappa = KAPPA_AIR.value
    return t * (1.0 + (pr ** ((kappa - 1.0) / kappa) - 1.0) / eta)


def after_cooler_temperature_k(
    t_compressor_out_k: ArrayLike, t_coolant_air_k: ArrayLike, effectiveness: ArrayLike
) -> FloatArray:
    """Return the temperature behind the charge cooler."""
    hot = positive(t_compressor_out_k, "t_compressor_out_k")
    cold = positive(t_coolant_air_k, "t_coolant_air_k")
    eps = between(effectiveness, 0.0, 1.0, name="effectiveness")
    return hot - eps * (hot - cold)


def estimate_charge_temperature_k(
    t_in_k: ArrayLike,
    t_ambient_k: ArrayLike,
    p_manifold_pa: ArrayLike,
    p_ambient_pa: ArrayLike,
    *,
    efficiency: Range = COMPRESSOR_EFFICIENCY,
    effectiveness: Range = COOLER_EFFECTIVENESS,
) -> ChargeTemperature:
    """Return the charge temperature that compression and cooling make likely."""
    cold = positive(t_ambient_k, "t_ambient_k")
    ratio = positive(p_manifold_pa, "p_manifold_pa") / positive(p_ambient_pa, "p_ambient_pa")
    boost = np.maximum(ratio, 1.0)

    def charge(eta: float, eps: float) -> FloatArray:
        hot = compressor_outlet_temperature_k(t_in_k, boost, eta)
        return after_cooler_temperature_k(hot, cold, eps)

    middle = charge(efficiency.value, effectiveness.value)
    by_eta = (
        charge(efficiency.low, effectiveness.value) - charge(efficiency.high, effectiveness.value)
    ) / np.sqrt(12.0)
    by_eps = (
        charge(efficiency.value, effectiveness.low) - charge(efficiency.value, effectiveness.high)
    ) / np.sqrt(12.0)
    u = np.sqrt(by_eta**2 + by_eps**2 + COOLING_AIR_U_K**2)
    return ChargeTemperature(t_charge_k=middle, u_k=u)


def undo_thermistor_lag(time_s: ArrayLike, t_k: ArrayLike, time_constant_s: float) -> FloatArray:
    """Return the gas temperature that a slow thermistor was exposed to."""
    return undo_first_order_lag(time_s, t_k, time_constant_s)


def infer_place(
    t_k: ArrayLike,
    t_ambient_k: ArrayLike | None,
    p_manifold_pa: ArrayLike,
    p_ambient_pa: ArrayLike,
    *,
    time_s: ArrayLike | None = None,
) -> TemperaturePlaceGuess:
    """Say where a temperature is taken from its rise with boost."""
    t = floats(t_k)
    ratio = np.maximum(floats(p_manifold_pa) / floats(p_ambient_pa), 1.0)
    cold = float(np.nanmin(t)) if t_ambient_k is None else floats(t_ambient_k)
    rise = compressor_outlet_temperature_k(cold, ratio, COMPRESSOR_EFFICIENCY.value) - cold
    good = np.isfinite(t) & np.isfinite(rise) & (ratio >= 1.5)
    count = int(np.count_nonzero(good))
    if count < 20:
        return TemperaturePlaceGuess(
            place="unknown", reason="too little boost", slope=np.nan, u_slope=np.nan, samples=count
        )
    slope = float(np.median((t - cold)[good] / rise[good]))
    place: Place = "before_compressor" if slope < 0.08 else "after_cooler"
    return TemperaturePlaceGuess(
        place=place, reason="rise with boost", slope=slope, u_slope=0.05, samples=count
    )
