"""What is believed of weather, relief, demand and fuelling before the logs are read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.physics.boost_control import BoostLaw
from airsense.physics.character import RANGES, Character
from airsense.results import K_95, Assumption

# Weather that was neither logged nor declared, by configuration, and within one session (our
# choice: a day in a temperate season, and an afternoon in one hall).
U_WEATHER_PA = 800.0
U_WEATHER_K = 6.0
U_WEATHER_HUMIDITY_FRAC = 0.25
U_SESSION_PA = 200.0
U_SESSION_K = 2.0
# Between two sets of pulls a cooler's metal and the bay may differ by this (our choice).
U_SOAK_K = 3.0

# A stock intake at full load draws 1 to 9 kPa (95 %); common practice, no source.
DEPRESSION_MEDIAN_PA = 3000.0
DEPRESSION_LN_SCATTER = 0.6
# Share of the depression that a change of intake takes away: about nothing, or anything between
# half as much again and all of it. A few in a hundred lie outside what is said of the depression.
RELIEF_NONE_PROBABILITY = 0.3
RELIEF_NONE_SCATTER = 0.1
RELIEF_LOW, RELIEF_HIGH = -0.5, 1.0
RELIEF_OUTSIDE_PROBABILITY = 0.02
RELIEF_OUTSIDE_SCATTER = 1.5

# What back pressure and port temperature do to the air beside the formula (our choice).
BREATHING = 0.005
# What control, ports and sensors do is known from a few engines only (our choice).
HEAVY_TAIL_DOF = 4
# One declared tune means one demand; one tune in five was touched all the same (our choice).
HELD_SAME_TUNE = 0.8
HELD_BESIDE_LOG = 0.95
# k = 1 of ln(demanded pressure) where it was changed: 100 to 200 mbar of two bar.
DEMAND = 0.06
# Air per fuel that the surplus added, at most (our choice).
FEEDBACK_MOST = 0.8
# Control without an integral, or on the way up, lets part of what an open turbine would do come
# through (our choice).
DROOP_NONE_PROBABILITY = 0.5
DROOP_MEAN, DROOP_MOST = 0.1, 0.3

# Fuel stands at its own limit, follows the air fully, or does something between; what it follows
# is mostly the reading, else a lambda control; and a demand may be a map over fuel (our choice).
FUEL_FIXED_PROBABILITY = 1.0 / 3.0
FUEL_FOLLOWS_PROBABILITY = 1.0 / 3.0
FUEL_BY_READING_PROBABILITY = 0.8
DEMAND_BY_FUEL_PROBABILITY = 0.5

# Our choice; `LAW_SOURCE` says why.
LAW_PRIOR: tuple[tuple[BoostLaw, float], ...] = (
    (BoostLaw.ABSOLUTE, 0.35),
    (BoostLaw.GAUGE, 0.15),
    (BoostLaw.RATIO_AMBIENT, 0.15),
    (BoostLaw.RATIO_INLET, 0.15),
    (BoostLaw.OPEN, 0.20),
)
# A pressure under control keeps its ratio to a logged demand over speed; one that no control holds
# has a curve of its own, unless a map was fitted to it. How often it does: our choice.
FOLLOWS_HELD, FOLLOWS_OPEN = 0.8, 0.15
LAW_SOURCE = (
    "not declared: our choice; absolute pressure is the usual set point of an electronic control, "
    "an old or overpowered one is open at full load"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fuelling:
    """Draws of how fuel follows air; all (n, k).

    `follows` is d ln(fuel)/d ln(true air); `added` ln of the fuel that the surplus of the
    reading added; `demand_slope` d ln(demanded pressure)/d ln(fuel).
    """

    follows: FloatArray
    added: FloatArray
    demand_slope: FloatArray


def draw_fuelling(
    rng: np.random.Generator, shape: tuple[int, int], surplus: FloatArray
) -> Fuelling:
    """Return draws of the fuelling: fixed, following the air fully, or between."""
    kind = rng.random(shape)
    between = rng.random(shape)
    full = kind > 1.0 - FUEL_FOLLOWS_PROBABILITY
    follows = np.where(kind < FUEL_FIXED_PROBABILITY, 0.0, np.where(full, 1.0, between))
    by_reading = rng.random(shape) < FUEL_BY_READING_PROBABILITY
    sloped = rng.random(shape) < DEMAND_BY_FUEL_PROBABILITY
    slope = np.where(sloped, FEEDBACK_MOST * rng.random(shape), 0.0)
    return Fuelling(follows=follows, added=by_reading * follows * surplus, demand_slope=slope)


def draw_character(
    rng: np.random.Generator,
    shape: tuple[int, int],
    follows: FloatArray,
    inlet_ratio: FloatArray,
    t_ambient_k: float,
) -> Character:
    """Return engines of any character within the ranges of `RANGES`."""
    free = {
        name: r.low + (r.high - r.low) * rng.random(shape)
        for name, r in RANGES.items()
        if name not in ("follows", "inlet_ratio")
    }
    return Character(follows=follows, inlet_ratio=inlet_ratio, t_ambient_k=t_ambient_k, **free)


def draw_droop(rng: np.random.Generator, shape: tuple[int, int]) -> FloatArray:
    """Return shares of the open turbine's response that control lets through."""
    none = rng.random(shape) < DROOP_NONE_PROBABILITY
    return np.where(none, 0.0, np.minimum(rng.exponential(DROOP_MEAN, shape), DROOP_MOST))


def draw_depression_pa(rng: np.random.Generator, shape: tuple[int, int]) -> FloatArray:
    """Return depressions of a first intake that was not measured. [Pa]"""
    z = np.clip(rng.standard_normal(shape), -2.5, 2.5)
    return np.asarray(DEPRESSION_MEDIAN_PA * np.exp(DEPRESSION_LN_SCATTER * z), dtype=np.float64)


def draw_relief(rng: np.random.Generator, share: FloatArray) -> FloatArray:
    """Return d ln(p_1/p_a) of a change of intake; `share` is (p_a - p_1)/p_a before."""
    kind = rng.random(share.shape)
    z = rng.standard_normal(share.shape)
    any_relief = RELIEF_LOW + (RELIEF_HIGH - RELIEF_LOW) * rng.random(share.shape)
    relieved = np.where(kind < RELIEF_NONE_PROBABILITY, RELIEF_NONE_SCATTER * z, any_relief)
    outside = kind > 1.0 - RELIEF_OUTSIDE_PROBABILITY
    relieved = np.where(outside, RELIEF_OUTSIDE_SCATTER * z, relieved)
    return np.asarray(np.log(np.maximum(1.0 + relieved * share / (1.0 - share), 0.5)))


def log_density_relief(relief_ln: FloatArray, share: FloatArray) -> FloatArray:
    """Return the log density of what `draw_relief` draws."""
    per_share = (1.0 - share) / share
    relieved = np.expm1(relief_ln) * per_share
    flat = ((relieved > RELIEF_LOW) & (relieved < RELIEF_HIGH)) / (RELIEF_HIGH - RELIEF_LOW)
    density = (
        RELIEF_NONE_PROBABILITY * np.exp(log_normal(relieved, RELIEF_NONE_SCATTER))
        + (1.0 - RELIEF_NONE_PROBABILITY - RELIEF_OUTSIDE_PROBABILITY) * flat
        + RELIEF_OUTSIDE_PROBABILITY * np.exp(log_normal(relieved, RELIEF_OUTSIDE_SCATTER))
    )
    density = np.maximum(density, np.finfo(np.float64).tiny)
    return np.asarray(np.log(density * per_share) + relief_ln, dtype=np.float64)


def log_normal(x: FloatArray, u: float) -> FloatArray:
    """Return the log density of a normal distribution about 0."""
    return np.asarray(-0.5 * (x / u) ** 2 - np.log(u) - 0.5 * np.log(2.0 * np.pi))


def log_student(x: FloatArray, u: float) -> FloatArray:
    """Return the log density of Student's distribution, `HEAVY_TAIL_DOF`, about 0."""
    # 0.375 is the density of four degrees of freedom at 0.
    return np.asarray(np.log(0.375 / u) - 2.5 * np.log1p((x / u) ** 2 / HEAVY_TAIL_DOF))


def assumptions_of(
    *,
    same_tune: bool,
    demand_logged: bool,
    depression_measured: bool,
    fuel_logged: bool,
    day_by_charge: bool = False,
) -> tuple[Assumption, ...]:
    """Return what a split rests on beside the logs."""
    depression = f"{DEPRESSION_MEDIAN_PA / 1e3:g} kPa, within a factor of "
    depression += f"{np.exp(K_95 * DEPRESSION_LN_SCATTER):.1f} (95 %)"
    rows = (
        (
            True,
            "engine's character in the response to weather",
            "ranges of compressor, cooler, turbine and volumetric efficiency",
            "airsense.physics.boost_control, each range with its source",
        ),
        (
            day_by_charge,
            "ambient temperature",
            f"moved as that of the charge, but for heat soak of {U_SOAK_K:g} K (k = 1)",
            "neither logged nor declared; air-to-air cooler (our choice)",
        ),
        (
            not demand_logged and same_tune,
            "boost demand",
            f"unchanged with probability {HELD_SAME_TUNE:g}, else changed by {DEMAND:.0%} (k = 1)",
            "the same tune is taken for granted: the demand was not logged",
        ),
        (
            not demand_logged and not same_tune,
            "boost demand",
            f"changed by {DEMAND:.0%} (k = 1)",
            "another tune is declared and the demand was not logged (our choice)",
        ),
        (
            not depression_measured,
            "depression of the first intake at full load",
            depression,
            "common practice, no source; not measured here",
        ),
        (
            not fuel_logged,
            "feedback",
            f"0 to {FEEDBACK_MOST:g} of the surplus of the reading",
            "our choice; fuel was not logged",
        ),
    )
    return tuple(Assumption(quantity=q, value=v, source=s) for on, q, v, s in rows if on)
