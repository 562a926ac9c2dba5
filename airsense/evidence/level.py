"""One configuration: does the sensor agree with the routes within what both can know?

The reading's own level is unknown beforehand (a nearly flat prior on one factor), so that its
interval rests on the routes: the generalized least squares of their means under load with their
absolute uncertainties, and faults of theirs as the posterior over all observations leaves them
open, readings at rest included. Declared absolute sizes are known to about a quarter themselves,
which makes the level Student distributed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.cause import Cause
from airsense.estimates import speed_density
from airsense.estimates.defaults import DEFAULT_DOF
from airsense.evidence.budget import RouteBudget
from airsense.evidence.causes import CauseResult, rank_causes
from airsense.evidence.design import U_CURVE
from airsense.evidence.judgement import SPEED_WIDTH, interval_of
from airsense.evidence.level_routes import (
    LevelEstimate,
    LevelInput,
    Recirculation,
    level_estimates,
    mass_of,
    routes_of,
)
from airsense.evidence.posterior import SEED, Posterior, Reduced, infer, reduce_observations
from airsense.evidence.priors import (
    FAULT_PRIORS,
    LEAK_CAUSES,
    OUR_CHOICE,
    Prior,
    PriorTable,
)
from airsense.evidence.signatures import observed
from airsense.evidence.verdict import LIVE, TAIL_OF_SURPLUS, tail_beyond_zero
from airsense.results import Interval

# An agreement says something only if the test could have shown a disagreement of this size.
PLAUSIBLE_HALF_WIDTH = 0.13
# A valve that is open at part load displaces up to half of the charge. Our choice.
MOST_RECIRCULATION = 0.5
RECIRCULATION_PROBABILITY, RECIRCULATION_SIZE = 0.10, 0.25
# Other odds and sizes of the routes' faults under which a disagreement must hold too.
FAULT_ODDS, FAULT_SIZES = 5.0, 2.0
DRAWS = 6_000
MAX_SPEEDS = 12
SPEED_STEP_RPM = 200.0
# Stretches of half a second that make one look at a speed worth a row.
LEAST_LENGTH_S = 1.0
# What shows itself by a curve alone; beside one route it looks like a factor.
BENDING = (Cause.SENSOR_SHAPE, Cause.PULSATION, *LEAK_CAUSES)
_FAULTS = tuple(p.cause for p in FAULT_PRIORS)


class CheckVerdict(Enum):
    """Whether the sensor's level is credible. UNDETERMINED is never merged into PLAUSIBLE."""

    PLAUSIBLE = "plausible"
    IMPLAUSIBLE = "implausible"
    UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRow:
    """The sensor's error near one engine speed; `samples` counts operating states there."""

    engine_speed_rpm: float
    sensor_error: Interval
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """The answer for one configuration; `sensor_error` is None where nothing was under load."""

    verdict: CheckVerdict
    sentence: str
    sensor_error: Interval | None
    estimates: tuple[LevelEstimate, ...]
    causes: tuple[CauseResult, ...]
    by_speed: tuple[LevelRow, ...]
    table: PriorTable


def level_table(table: PriorTable, *, routes: int, recirculation: bool = False) -> PriorTable:
    """Return the priors of a level: the reading's factor wide, an open valve where it can be.

    Parameters
    ----------
    table : PriorTable
        That of a change.
    routes : int
        How many there are: one alone cannot tell its own curve over speed, flow and boost from
        that of a sensor or of a leak, so that what bends the reading is then no separate cause.
    recirculation : bool
        Whether unlogged exhaust gas can have displaced fresh air.
    """
    kept = (table if routes > 1 else table.without(BENDING)).of_level()
    if not recirculation:
        return kept
    valve = Prior(
        cause=Cause.RECIRCULATION,
        probability=RECIRCULATION_PROBABILITY,
        size=RECIRCULATION_SIZE,
        reason="an everyday state of a compression-ignition engine at part load, not logged: "
        "up to half of the charge",
        source=OUR_CHOICE,
    )
    return kept.changed({Cause.RECIRCULATION: valve})


def judge_level(given: LevelInput, table: PriorTable | None = None) -> Level:
    """Return whether the sensor agrees with the routes.

    Parameters
    ----------
    given : LevelInput
    table : PriorTable, optional
        Priors of a change, from which those of the level are made.
    """
    base = PriorTable() if table is None else table
    laden = given.laden
    own = level_table(base, routes=routes_of(given).size)
    if not laden.any():
        return _unladen(given, own)
    open_valve = _only_density(given) and given.recirculation is not Recirculation.EXCLUDED
    # Idle and overrun are states of their own, which leave a level of 15 % open.
    seen = observed(given.cells.pick(laden), given.rest)
    reduced = reduce_observations(seen, given.budget, own)
    draws = _LevelDraws.of(reduced, own, _Routes.of(reduced, given.budget))
    error = draws.interval()
    # Exhaust gas makes a reading low, never high.
    low = open_valve and error.value < 0.0
    shown = level_table(base, routes=routes_of(given).size, recirculation=low)
    verdict, sentence = _decide(draws, error, given, open_valve=open_valve)
    return Level(
        verdict=verdict,
        sentence=sentence,
        sensor_error=error,
        estimates=level_estimates(given, laden),
        causes=_causes(infer(reduced, shown), one_route=routes_of(given).size == 1),
        by_speed=_by_speed(given, laden, draws),
        table=shown,
    )


def _causes(posterior: Posterior, *, one_route: bool) -> tuple[CauseResult, ...]:
    rows = rank_causes(posterior)
    if not one_route:
        return rows
    return tuple(
        replace(r, not_separable_from=(*r.not_separable_from, *BENDING))
        if r.cause is Cause.SENSOR_SCALE
        else r
        for r in rows
    )


def _only_density(given: LevelInput) -> bool:
    return list(routes_of(given)) == [speed_density.METHOD]


@dataclass(frozen=True, slots=True, kw_only=True)
class _LevelDraws:
    """Draws of ln(indicated / true) with their weights, stated and under other fault priors."""

    values: FloatArray
    weight: FloatArray
    varied: tuple[tuple[FloatArray, FloatArray], ...]
    live: tuple[FloatArray, ...]

    @classmethod
    def of(cls, reduced: Reduced, table: PriorTable, routes: _Routes) -> _LevelDraws:
        """Return the level of a reading whose factor is free."""
        free = table.of(Cause.SENSOR_SCALE)
        flat = PriorTable(sensor=(replace(free, probability=1.0),), fault=table.fault)
        stated = infer(reduced, flat, draws=DRAWS)
        other = (
            flat.with_odds(FAULT_ODDS, _FAULTS),
            PriorTable(sensor=flat.sensor, fault=flat.with_sizes(FAULT_SIZES).fault),
        )
        live = tuple(stated.under(cause) for cause in _FAULTS if stated.probability(cause) >= LIVE)
        return cls(
            values=_values(stated, routes),
            weight=stated.draws.weight,
            varied=tuple(
                (_values(p, routes), p.draws.weight)
                for p in (infer(reduced, t, draws=DRAWS) for t in other)
            ),
            live=live,
        )

    def interval(self) -> Interval:
        """Return the 95 % interval of indicated over true, less one."""
        return interval_of(self.values, self.weight)

    def tail(self, sign: int) -> float:
        """Return the largest probability of the other sign or zero, under any of the priors."""
        pairs = [(self.values, w) for w in (self.weight, *self.live)]
        return max(tail_beyond_zero(sign * v, w) for v, w in (*pairs, *self.varied))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Routes:
    """The mean of ln(indicated / route) under load by route, (n,), and its covariance (n, n).

    `moved` (n, c) is what a unit of each cause column does to it.
    """

    value: FloatArray
    covariance: FloatArray
    moved: FloatArray

    @classmethod
    def of(cls, reduced: Reduced, budget: RouteBudget) -> _Routes:
        """Return the means over all cells of the observations, by air mass."""
        cells = reduced.seen.cells
        known = np.isfinite(cells.residual)
        kept = np.flatnonzero(known.any(axis=1))
        weights = np.array([mass_of(cells, known[k]) for k in kept])
        runs = np.unique(cells.run).size
        shared = budget.covariance("absolute") + budget.covariance("between")
        shared = shared + budget.covariance("run") / runs
        noise = np.sum((weights * np.nan_to_num(cells.u_noise[kept])) ** 2, axis=1)
        return cls(
            value=np.sum(weights * np.nan_to_num(cells.residual[kept]), axis=1),
            covariance=shared[np.ix_(kept, kept)] + np.diag(noise),
            moved=np.einsum("km,kmc->kc", weights, reduced.library.cells[kept]),
        )


def _values(posterior: Posterior, routes: _Routes) -> FloatArray:
    """Return draws of the level: by generalized least squares, given the routes' faults."""
    library = posterior.reduced.library
    faults = library.columns_of(*_FAULTS)
    inverse = np.linalg.inv(routes.covariance)
    best = inverse.sum(axis=0) / inverse.sum()
    shift = posterior.draws.sizes[:, faults] @ (best @ routes.moved[:, faults])
    rng = np.random.default_rng(SEED)
    scatter = rng.standard_t(DEFAULT_DOF, shift.size) / np.sqrt(inverse.sum())
    return np.asarray(float(best @ routes.value) - shift + scatter)


def _decide(
    draws: _LevelDraws, error: Interval, given: LevelInput, *, open_valve: bool
) -> tuple[CheckVerdict, str]:
    shown = _range(error)
    if error.contains(0.0):
        if error.half_width <= PLAUSIBLE_HALF_WIDTH:
            return CheckVerdict.PLAUSIBLE, (
                "The sensor agrees with the routes that do not use it: its error is "
                f"{shown}, and zero lies inside."
            )
        return CheckVerdict.UNDETERMINED, (
            f"Undetermined: the sensor's error is {shown}. Zero lies inside, but the routes know "
            "their own level too badly to show an error of a tenth."
        )
    sign = 1 if error.value > 0.0 else -1
    if draws.tail(sign) > TAIL_OF_SURPLUS:
        return CheckVerdict.UNDETERMINED, (
            f"Undetermined: the sensor's error is {shown}, too close to zero to judge it."
        )
    if open_valve and sign < 0 and error.high >= -MOST_RECIRCULATION:
        return CheckVerdict.UNDETERMINED, _recirculating(error, given.recirculation)
    return CheckVerdict.IMPLAUSIBLE, (
        f"The sensor disagrees with the routes: its error is {shown}."
    )


def _recirculating(error: Interval, seen: Recirculation) -> str:
    why = {
        Recirculation.SUSPECTED: "two groups of breathing show a valve that opens",
        Recirculation.POSSIBLE: "nothing in the logs excludes it",
    }.get(seen, "")
    return (
        f"Undetermined: the reading lies {100.0 * -error.value:.0f} % below what the cylinders "
        f"sweep ({_range(error)}). Exhaust gas recirculation that nobody logged makes up to "
        f"{100.0 * MOST_RECIRCULATION:.0f} % of that, and {why}."
    )


def _range(error: Interval) -> str:
    parts = [f"{100.0 * v:+.1f} %" for v in (error.value, error.low, error.high)]
    return f"{parts[0]} ({parts[1]} to {parts[2]})"


def _unladen(given: LevelInput, table: PriorTable) -> Level:
    return Level(
        verdict=CheckVerdict.UNDETERMINED,
        sentence="Undetermined: nothing that the logs hold under load can be held against a route; "
        "the logs' own lines say why.",
        sensor_error=None,
        estimates=level_estimates(given, given.laden),
        causes=(),
        by_speed=(),
        table=table,
    )


def _by_speed(given: LevelInput, laden: BoolArray, draws: _LevelDraws) -> tuple[LevelRow, ...]:
    """Return the level near some speeds: each route's curve over speed is its own."""
    cells = given.cells
    together = _together(given)
    good = laden & np.isfinite(together)
    mean = float(mass_of(cells, good)[good] @ together[good])
    rng = np.random.default_rng(SEED)
    own = U_CURVE * rng.standard_normal(draws.values.size) / np.sqrt(len(cells.routes))
    rows = []
    for speed in _speeds(cells.speed_rpm[good]):
        apart = (np.log(cells.speed_rpm) - np.log(speed)) / SPEED_WIDTH
        near = good & (np.abs(apart) < 1.0)
        if float(np.sum(cells.length_s[near])) < LEAST_LENGTH_S:
            continue
        here = float(mass_of(cells, near)[near] @ together[near])
        rows.append(
            LevelRow(
                engine_speed_rpm=float(speed),
                sensor_error=interval_of(draws.values + (here - mean) + own, draws.weight),
                samples=int(np.count_nonzero(near)),
            )
        )
    return tuple(rows)


def _together(given: LevelInput) -> FloatArray:
    """Return ln(indicated / routes), the routes weighted by what they know of their level."""
    residual = given.cells.residual
    inverse = np.linalg.inv(given.budget.covariance("absolute"))
    weight = np.maximum(inverse.sum(axis=0), 0.0)[:, None] * np.isfinite(residual)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.sum(weight * np.nan_to_num(residual), axis=0) / weight.sum(axis=0))


def _speeds(speed_rpm: FloatArray) -> FloatArray:
    low, high = np.quantile(speed_rpm, [0.02, 0.98])
    count = int(np.clip(round((high - low) / SPEED_STEP_RPM) + 1, 1, MAX_SPEEDS))
    return np.linspace(low, high, count)
