"""The cells of the coverage study: what is planted, and what a right answer may be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from airsense.simulate.case import Case

SKEWS = (-0.08, -0.06, -0.04, -0.025, 0.025, 0.04, 0.06, 0.08, 0.10)
BOOSTS = (0.035, 0.05, 0.07)

# Below these a planted quantity counts as none; above, as decidable.
NO_SKEW = 0.002
NO_CHANGE = 0.001
DECIDABLE_SKEW = 0.025
DECIDABLE_CHANGE = 0.03

# The simulator moves volumetric efficiency by 0.3 % between configurations; with this beside it
# (k = 1) by the 0.5 % that the default budget declares.
BREATHING_DRIFT = 0.002

Draw = Callable[[np.random.Generator], Mapping[str, object]]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: how its campaigns are drawn, the planted cause, and whether it is clean.

    `clean` cells have both routes and no planted fault: their verdict must be right where the
    size is decidable. The others are difficulties: their verdict must not be confidently wrong.
    """

    name: str
    draw: Draw
    cause: str
    clean: bool = False


def _pick(rng: np.random.Generator, *values: float) -> float:
    return float(rng.choice(values))


def _skew(rng: np.random.Generator) -> float:
    return _pick(rng, *SKEWS)


CELLS = (
    Cell("none", lambda r: {}, "none", clean=True),
    Cell("skew", lambda r: {"skew": _skew(r)}, "sensor_scale", clean=True),
    Cell("gain", lambda r: {"boost_change": _pick(r, *BOOSTS)}, "none", clean=True),
    Cell("restriction", lambda r: {"restriction_factor": _pick(r, 0.3, 0.5)}, "none", clean=True),
    Cell(
        "skew and gain",
        lambda r: {"skew": _skew(r), "boost_change": _pick(r, *BOOSTS)},
        "sensor_scale",
        clean=True,
    ),
    Cell("sensor shape", lambda r: {"skew_shape": _pick(r, -0.06, 0.06)}, "sensor_shape"),
    Cell("pulsation", lambda r: {"pulsation": _pick(r, 0.06, 0.10)}, "pulsation"),
    Cell(
        "leak behind",
        lambda r: {"leak_after_compressor": _pick(r, 0.03, 0.05, 0.08)},
        "leak_after_compressor",
    ),
    Cell(
        "leak ahead",
        lambda r: {"leak_before_compressor": _pick(r, 0.03, 0.05)},
        "leak_before_compressor",
    ),
    Cell(
        "pressure gain",
        lambda r: {"map_gain": _pick(r, -0.2, -0.08, -0.05, 0.05)},
        "manifold_pressure",
    ),
    Cell(
        "pressure gain, skew",
        lambda r: {"map_gain": _pick(r, -0.08, -0.05, 0.05), "skew": _skew(r)},
        "manifold_pressure+sensor_scale",
    ),
    Cell("pressure offset", lambda r: {"map_offset_kpa": _pick(r, -8, 8)}, "manifold_pressure"),
    Cell(
        "temperature", lambda r: {"charge_temp_offset_k": _pick(r, -12, 12)}, "charge_temperature"
    ),
    Cell("breathing", lambda r: {"ve_change": _pick(r, -0.04, 0.04)}, "volumetric_efficiency"),
    Cell("recirculation", lambda r: {"egr_open_after": 0.06}, "recirculation"),
    Cell("fuel scale", lambda r: {"fuel_scale": _pick(r, -0.05, 0.05)}, "fuel_scale"),
    Cell("lambda scale", lambda r: {"lambda_scale": _pick(r, -0.04, 0.04)}, "lambda_scale"),
    Cell("circular lambda", lambda r: {"circular_lambda": True, "skew": _skew(r)}, "sensor_scale"),
    Cell(
        "intake air only",
        lambda r: {"log_charge_temperature": False, "skew": _skew(r)},
        "sensor_scale",
        clean=True,
    ),
    Cell(
        "gauge, US units",
        lambda r: {"gauge_us_units": True, "skew": _skew(r)},
        "sensor_scale",
        True,
    ),
    Cell("staggered", lambda r: {"staggered": True, "skew": _skew(r)}, "sensor_scale"),
    Cell("one run each", lambda r: {"n_before": 1, "n_after": 1, "skew": _skew(r)}, "sensor_scale"),
    Cell("large scatter", lambda r: {"scatter": 3.0, "skew": _skew(r)}, "sensor_scale"),
    Cell("no lambda", lambda r: {"log_lambda": False, "skew": _skew(r)}, "sensor_scale"),
    Cell("no lambda, none", lambda r: {"log_lambda": False}, "none"),
    Cell(
        "no lambda, pressure",
        lambda r: {"log_lambda": False, "map_gain": _pick(r, -0.05, 0.05)},
        "manifold_pressure",
    ),
    Cell(
        "no barometer, gauge",
        lambda r: {"log_barometer": False, "gauge_us_units": True, "skew": _skew(r)},
        "sensor_scale",
    ),
    Cell(
        "raised boost",
        lambda r: {"boost_change": _pick(r, 0.10, 0.15), "skew": _pick(r, 0.03, 0.05)},
        "sensor_scale",
        clean=True,
    ),
    Cell(
        "other weather",
        lambda r: {"ambient_temperature_change_k": _pick(r, -8, 8), "skew": _skew(r)},
        "sensor_scale",
        clean=True,
    ),
)


def draw_cases(cell: Cell, count: int, rng: np.random.Generator) -> list[Case]:
    """Return `count` cases of a cell, all with an unplanned drift of breathing."""
    return [
        Case(
            name=cell.name,
            **{"ve_change": rng.normal(0.0, BREATHING_DRIFT), **cell.draw(rng)},  # type: ignore[arg-type]
        )
        for _ in range(count)
    ]


def right_words(skew: float, change: float) -> frozenset[str]:
    """Return the verdicts that are right for a planted skew and true change."""
    words = set()
    if skew >= NO_SKEW and change > 0.0:
        words |= (
            {"partly_supported", "sensor_skew"}
            if change < DECIDABLE_CHANGE
            else {"partly_supported"}
        )
    if abs(skew) < NO_SKEW and change > 0.0:
        words.add("gain_supported")
    if skew <= -NO_SKEW:
        words.add("sensor_skew" if change < DECIDABLE_CHANGE else "gain_supported")
        if change > 0.005:
            words.add("gain_supported")
    if skew >= NO_SKEW and change <= 0.0:
        words.add("sensor_skew")
    if change < -0.005:
        words.add("loss_supported")
    return frozenset(words)


def decidable(skew: float, change: float) -> bool:
    """Return whether the planted sizes ask for a verdict."""
    return abs(skew) >= DECIDABLE_SKEW or (abs(change) >= DECIDABLE_CHANGE and abs(skew) < NO_SKEW)


def confidently_wrong(verdict: str, skew: float, change: float) -> bool:
    """Return whether a verdict claims what is not there."""
    gain = verdict in {"gain_supported", "partly_supported"} and change <= NO_CHANGE
    loss = verdict == "loss_supported" and change >= -NO_CHANGE
    sensor = verdict in {"sensor_skew", "partly_supported"} and abs(skew) < NO_SKEW
    equal = verdict == "no_change" and abs(change) > 0.01
    return gain or loss or sensor or equal
