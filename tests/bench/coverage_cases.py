"""The cells of the coverage study: what is planted, and what a right answer may be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

import numpy as np

from tests.simulate.case import BoostControl, Case, own_channels

SKEWS = (-0.08, -0.06, -0.04, -0.025, 0.025, 0.04, 0.06, 0.08, 0.10)
BOOSTS = (0.035, 0.05, 0.07)

# Below these a planted quantity counts as none; above, as decidable.
NO_SKEW = 0.002
NO_CHANGE = 0.001
MARGIN = 0.01
DECIDABLE_SKEW = 0.025

# The simulator moves volumetric efficiency by 0.3 % between configurations; with this beside it
# (k = 1) by the 0.5 % that the default budget declares.
BREATHING_DRIFT = 0.002
# The simulator's scatter that makes volumetric efficiency move as far as the default budget
# declares, from run to run and between configurations: 0.5 % over 0.3 %.
DECLARED_SCATTER = 5.0 / 3.0

LAWS = tuple(law for law in BoostControl if law is not BoostControl.DROOP)
_PLAIN, _OWN = Case(), own_channels(Case())
OWN_CHANNELS = {
    f.name: getattr(_OWN, f.name)
    for f in fields(Case)
    if getattr(_OWN, f.name) != getattr(_PLAIN, f.name)
}

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


def _held(rng: np.random.Generator) -> Mapping[str, object]:
    return {"boost_control": LAWS[int(rng.integers(len(LAWS)))]}


def _relief(rng: np.random.Generator) -> Mapping[str, object]:
    return {
        **_held(rng),
        "restriction_factor": rng.uniform(0.1, 1.0),
        "restriction_before": rng.uniform(1.0, 2.0),
    }


def _weather(rng: np.random.Generator) -> Mapping[str, object]:
    return {
        "ambient_temperature_change_k": rng.uniform(-15.0, 15.0),
        "ambient_pressure_change_pa": rng.uniform(-1500.0, 1500.0),
    }


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
        "manifold_pressure_gain",
    ),
    Cell(
        "pressure gain, skew",
        lambda r: {"map_gain": _pick(r, -0.08, -0.05, 0.05), "skew": _skew(r)},
        "manifold_pressure_gain+sensor_scale",
    ),
    Cell(
        "pressure offset", lambda r: {"map_offset_kpa": _pick(r, -8, 8)}, "manifold_pressure_offset"
    ),
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
        "manifold_pressure_gain",
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
    Cell("own channels, none", lambda r: OWN_CHANNELS, "none"),
    Cell("own channels, skew", lambda r: OWN_CHANNELS | {"skew": _skew(r)}, "sensor_scale"),
    Cell(
        "own channels, pressure",
        lambda r: OWN_CHANNELS | {"map_gain": _pick(r, -0.04, 0.04)},
        "manifold_pressure_gain",
    ),
    Cell(
        "own channels, pressure, skew",
        lambda r: OWN_CHANNELS | {"map_gain": _pick(r, -0.04, 0.04), "skew": _skew(r)},
        "manifold_pressure_gain+sensor_scale",
    ),
    Cell("relief, same day", _relief, "none"),
    Cell("relief, other weather", lambda r: {**_relief(r), **_weather(r)}, "none"),
    Cell("other weather, held boost", lambda r: {**_held(r), **_weather(r)}, "none"),
    Cell(
        "demand, other weather",
        lambda r: {**_held(r), **_weather(r), "boost_change": r.uniform(0.0, 0.15)},
        "none",
    ),
    Cell(
        "demand logged, weather, skew",
        lambda r: {
            **_relief(r),
            **_weather(r),
            "boost_change": r.uniform(0.0, 0.15),
            "log_boost_demand": True,
            "skew": r.uniform(-0.06, 0.06),
        },
        "sensor_scale",
    ),
    Cell(
        "fuel feedback",
        lambda r: {"skew": _skew(r), "air_limited": True, "boost_per_fuel": r.uniform(0.1, 0.4)},
        "sensor_scale",
    ),
)


def draw_cases(
    cell: Cell, count: int, rng: np.random.Generator, scatter: float | None = None
) -> list[Case]:
    """Return `count` cases of a cell, all with an unplanned drift of breathing.

    `scatter` is that of runs and configurations over the declared; None leaves the simulator's own.
    """
    loose = (
        {} if scatter is None else dict.fromkeys(("scatter", "drift"), scatter * DECLARED_SCATTER)
    )
    return [
        Case(
            name=cell.name,
            **{"ve_change": rng.normal(0.0, BREATHING_DRIFT), **loose, **cell.draw(rng)},  # type: ignore[arg-type]
        )
        for _ in range(count)
    ]


def right_words(skew: float, change: float, intake: float | None = None) -> frozenset[str]:
    """Return the verdicts that are right for what is planted.

    `skew` stands for all of the reading's surplus, `change` is the engine's; where the intake's
    part of it is not known, a gain may be put down to either.
    """
    words = set()
    whose = (change, change) if intake is None else (intake, change - intake)
    if skew >= NO_SKEW and whose[0] > NO_CHANGE:
        words.add("partly_supported")
    if abs(skew) < NO_SKEW and whose[0] > NO_CHANGE:
        words.add("gain_supported")
    if skew <= -NO_SKEW and whose[0] > 0.005:
        words |= {"gain_supported", "partly_supported"}
    if whose[1] > NO_CHANGE:
        words.add("gain_elsewhere")
    if abs(skew) >= NO_SKEW:
        # It says of the air only that the intake's part is open.
        words.add("reading_only")
    if whose[0] < -0.005:
        words.add("loss_supported")
    if abs(whose[0]) < MARGIN and abs(skew) < MARGIN:
        words.add("no_change")
    return frozenset(words)


def decidable(skew: float) -> bool:
    """Return whether the planted surplus asks for a verdict.

    Whether a gain is the intake's has a table of its own.
    """
    return abs(skew) >= DECIDABLE_SKEW


def confidently_wrong(
    verdict: str, skew: float, change: float, intake: float | None = None
) -> bool:
    """Return whether a verdict claims what is not there.

    `skew` and `intake` are as in `right_words`; an unknown part of the intake is taken to be the
    whole change.
    """
    own = change if intake is None else intake
    wrong = {
        "gain_supported": own <= NO_CHANGE,
        "partly_supported": own <= NO_CHANGE or abs(skew) < NO_SKEW,
        "loss_supported": own >= -NO_CHANGE,
        # Half of the gain or more is said to be another's.
        "gain_elsewhere": change <= NO_CHANGE
        or (intake is not None and intake > 0.5 * change + 0.5 * MARGIN),
        "reading_only": abs(skew) < NO_SKEW,
        "no_change": max(abs(own), abs(skew)) > MARGIN,
        "undetermined": False,
    }
    return wrong[verdict]
