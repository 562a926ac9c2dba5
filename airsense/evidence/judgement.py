"""THE judgement: from the table of observations to what the reading has too much, and why.

compare, check, rescale, screen, plan and audit all read their answers from here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.cause import Cause
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.hypotheses import hypotheses
from airsense.evidence.posterior import Posterior, infer, reduce_observations
from airsense.evidence.priors import LEAK_CAUSES, SENSOR_CAUSES, PriorTable
from airsense.evidence.rest import Rest
from airsense.evidence.signatures import observed
from airsense.evidence.verdict import LIVE, NOTHING, TAILS, Claimed, Evidence, weighted_quantiles
from airsense.results import Interval

# Other priors under which a claim must hold too.
ODDS = (0.2, 5.0)
# What a leak may look like: where the two are weighed, the leak gets the benefit of the doubt.
CURVED = (Cause.SENSOR_SHAPE, Cause.PULSATION)
SIZES = (0.5, 2.0)
VARIED_DRAWS = 4_000
# No more of a surplus may be lost air where the sensor is named, nor the sensor's own where lost
# air is. A table is corrected by the one; the other has a coupler looked at. Our choice.
LOST_AT_MOST, SKEW_AT_MOST = 0.25, 0.5
# Width of the look at one engine speed, in ln(speed).
SPEED_WIDTH = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Variation:
    """The posterior under other priors; `what` says which. `odds` are moved, else sizes."""

    what: str
    posterior: Posterior


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The posterior under the stated priors and under variations of them.

    `faulty` is that with route faults at five times their odds: where two routes can contradict
    each other it must not be a fault of one that makes a claim.
    """

    table: PriorTable
    posterior: Posterior
    varied: tuple[Variation, ...]
    leaky: Posterior
    faulty: Posterior | None

    def posteriors(self) -> tuple[Posterior, ...]:
        """Return the stated posterior and the varied ones."""
        return (self.posterior, *(v.posterior for v in self.varied))

    def families(self, reading: Reading) -> tuple[tuple[float, float], ...]:
        """Return how probably the sensor, and how probably lost air, makes most of a surplus.

        Under every variation of the priors; a prior of a few percent must not answer whether air is
        lost, so leaks are tried at five times their odds, and their look-alikes at a fifth, too.

        Parameters
        ----------
        reading : Reading
            One row.
        """
        rows = []
        for p in (*self.posteriors(), self.leaky):
            surplus = np.abs(p.draws.sizes @ reading.surplus[0])
            skew = p.draws.sizes @ reading.skew[0]
            lost = np.abs(p.draws.sizes @ (reading.surplus[0] - reading.skew[0]))
            some = p.draws.weight * (surplus > 0.0)
            some = some / max(float(some.sum()), 1e-300)
            sensor = float(some @ (lost <= LOST_AT_MOST * surplus))
            rows.append((sensor, float(some @ (np.abs(skew) <= SKEW_AT_MOST * surplus))))
        return tuple(rows)

    def live(self) -> tuple[FloatArray, ...]:
        """Return which draws belong to each cause that the data leave alive alone at work."""
        post = self.posterior
        alone = [
            np.array([h.causes == frozenset({cause}) for h in post.candidates]) for cause in Cause
        ]
        return tuple(
            own[post.draws.hypothesis].astype(np.float64)
            for own in alone
            if float(post.weights @ own) >= LIVE
        )


def judge(
    cells: Cells,
    rest: Rest,
    budget: RouteBudget,
    table: PriorTable,
    *,
    axis: tuple[float, float] | None = None,
) -> Judgement:
    """Weigh all causes on all observations.

    Parameters
    ----------
    cells, rest : Cells, Rest
        Of one configuration (a level is judged: all `after`) or two (a change is).
    budget : RouteBudget
        Of the routes, in the order of the cells.
    table : PriorTable
        Priors in force.
    axis : tuple of float, optional
        Range of ln(indicated flow) beyond the cells that the answer has to cover.
    """
    reduced = reduce_observations(observed(cells, rest, axis), budget, table)
    stated = infer(reduced, table)
    odds = tuple(
        Variation(
            what=f"odds of every cause times {factor:g}",
            posterior=stated.reweighed(hypotheses(table.with_odds(factor), reduced.library)),
        )
        for factor in ODDS
    )
    sizes = tuple(
        Variation(
            what=f"sizes of every cause times {factor:g}",
            posterior=infer(reduced, table.with_sizes(factor), draws=VARIED_DRAWS),
        )
        for factor in SIZES
    )
    leaks = table.with_odds(ODDS[1], LEAK_CAUSES).with_odds(ODDS[0], CURVED)
    faults = table.with_odds(ODDS[1], [p.cause for p in table.fault])
    return Judgement(
        table=table,
        posterior=stated,
        varied=(*odds, *sizes),
        leaky=stated.reweighed(hypotheses(leaks, reduced.library)),
        faulty=stated.reweighed(hypotheses(faults, reduced.library))
        if len(cells.routes) > 1
        else None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Rows that make a quantity of the reading out of the sizes of the causes, (k, c).

    `surplus` is what the reading shows and the engine does not get, `skew` the sensor's own part;
    as logarithms.
    """

    surplus: FloatArray
    skew: FloatArray

    def mean(self, weights: FloatArray | None = None) -> Reading:
        """Return one row: the (weighted) mean of all."""
        n = self.surplus.shape[0]
        w = np.full(n, 1.0 / n) if weights is None else weights / weights.sum()
        return Reading(surplus=(w @ self.surplus)[None], skew=(w @ self.skew)[None])


def _masked(rows: FloatArray, posterior: Posterior, *causes: Cause) -> FloatArray:
    library = posterior.reduced.library
    keep = np.zeros(rows.shape[1])
    keep[np.concatenate([library.columns_of(*causes), library.companions])] = 1.0
    return rows * keep


def _reading(rows: FloatArray, posterior: Posterior) -> Reading:
    return Reading(
        surplus=_masked(rows, posterior, *SENSOR_CAUSES, *LEAK_CAUSES),
        skew=_masked(rows, posterior, *SENSOR_CAUSES),
    )


def over_cells(posterior: Posterior, chosen: BoolArray) -> Reading:
    """Return the reading's surplus over some cells of the second configuration, by air mass."""
    seen = posterior.reduced.seen
    cells = seen.cells
    use = chosen & cells.after
    mass = np.exp(cells.ln_maf) * cells.length_s * use
    row = (mass / mass.sum()) @ posterior.reduced.library.cells[0]
    return _reading(row[None], posterior)


def over_speeds(posterior: Posterior, speed_rpm: FloatArray, chosen: BoolArray) -> Reading:
    """Return the reading's surplus at some engine speeds, from the cells near each."""
    cells = posterior.reduced.seen.cells
    use = chosen & cells.after
    apart = (np.log(speed_rpm)[:, None] - np.log(cells.speed_rpm)) / SPEED_WIDTH
    weight = np.exp(-0.5 * np.minimum(apart, 12.0) ** 2) * use
    weight = weight / weight.sum(axis=1, keepdims=True)
    return _reading(weight @ posterior.reduced.library.cells[0], posterior)


def evidence_of(judged: Judgement, row: FloatArray) -> Evidence:
    """Return a linear quantity of the reading under every prior, for a claim."""
    stated = judged.posterior
    weight = stated.draws.weight
    live = tuple(weight * own / float(weight @ own) for own in judged.live())
    varied = [
        Claimed(values=v.posterior.draws.sizes @ row, weight=v.posterior.draws.weight)
        for v in judged.varied
    ]
    if judged.faulty is not None:
        draws = judged.faulty.draws
        varied.append(
            Claimed(values=draws.sizes @ row, weight=draws.weight, most_nothing=2.0 * NOTHING)
        )
    return Evidence(
        stated=Claimed(values=stated.draws.sizes @ row, weight=weight, live=live),
        varied=tuple(varied),
    )


def interval_of(values: FloatArray, weight: FloatArray) -> Interval:
    """Return the 95 % interval of a change from draws of its logarithm."""
    middle, low, high = np.expm1(weighted_quantiles(values, weight, TAILS))
    return Interval(float(middle), float(low), float(high))


def interval(posterior: Posterior, row: FloatArray) -> Interval:
    """Return the 95 % interval of a linear quantity of the reading."""
    return interval_of(posterior.draws.spread @ row, posterior.draws.weight)
