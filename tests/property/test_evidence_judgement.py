"""The judgement of cells made by hand: surplus and skew, causes, and what to measure next."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from airsense.cause import Cause
from airsense.estimates.segments import Kind
from airsense.evidence.causes import rank_causes
from airsense.evidence.judgement import (
    ODDS,
    SIZES,
    SPEED_WIDTH,
    Judgement,
    evidence_of,
    interval,
    interval_of,
    judge,
    over_cells,
    over_speeds,
)
from airsense.evidence.next_measurement import (
    CHEAP,
    DEAR,
    FREE,
    WORTH,
    Candidate,
    NextMeasurement,
    propose,
    worth_of,
)
from airsense.evidence.priors import LEAK_CAUSES, SENSOR_CAUSES, PriorTable
from airsense.evidence.verdict import (
    NOTHING,
    Claimed,
    Evidence,
    ReadingCause,
    matters,
    reading_cause,
)
from tests.evidence_inputs import ROUTES, budget_of, cells_of, forms_of, rest_of, shifted

STILL = rest_of(before=(0.0, 0.0, 0.0), after=(0.0, 0.0, 0.0))
ALL = np.ones(54, dtype=bool)


@cache
def judged(surplus: float = 0.05, routes: tuple[str, ...] = ROUTES, after: str = "") -> Judgement:
    cells = cells_of(routes=routes, idle=True)
    shift = np.full(cells.size, surplus)
    if after == "leak":
        shift = surplus * forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells)[1].cells[0, :, 0]
    return judge(shifted(cells, shift), STILL, budget_of(routes), PriorTable())


def laden(j: Judgement) -> NDArray[np.bool_]:
    return j.posterior.reduced.seen.cells.kind == Kind.PULL


@pytest.mark.parametrize("surplus", [-0.06, -0.02, 0.0, 0.02, 0.06])
@pytest.mark.parametrize("routes", [ROUTES, ROUTES[:1]])
def test_the_surplus_is_held(surplus: float, routes: tuple[str, ...]) -> None:
    j = judged(surplus, routes)
    reading = over_cells(j.posterior, laden(j))
    found = interval(j.posterior, reading.surplus[0])
    assert found.contains(np.expm1(surplus))
    assert found.half_width < (0.013 if len(routes) == 2 else 0.022)


def test_a_second_route_narrows_the_answer() -> None:
    width = {}
    for routes in (ROUTES, ROUTES[:1]):
        j = judged(0.05, routes)
        row = over_cells(j.posterior, laden(j)).surplus[0]
        width[len(routes)] = interval(j.posterior, row).half_width
    assert width[2] < 0.8 * width[1]


def test_a_leak_is_surplus_and_no_skew() -> None:
    j = judged(0.05, ROUTES, "leak")
    reading = over_cells(j.posterior, laden(j))
    surplus, skew = (interval(j.posterior, r[0]) for r in (reading.surplus, reading.skew))
    assert surplus.low > 0.02
    assert j.posterior.probability(*LEAK_CAUSES) > 0.9
    assert skew.low < 0.01
    evidence = evidence_of(j, reading.surplus[0])
    assert matters(evidence, 0.01)
    assert reading_cause(evidence, j.families(reading), 0.01) is not ReadingCause.SENSOR


def test_leaks_and_sensor_are_what_a_surplus_is_made_of() -> None:
    j = judged()
    reading = over_cells(j.posterior, laden(j))
    library = j.posterior.reduced.library
    sensor = library.columns_of(*SENSOR_CAUSES)
    both = library.columns_of(*SENSOR_CAUSES, *LEAK_CAUSES)
    beside = set(library.companions.tolist())
    assert set(np.flatnonzero(reading.skew[0])) <= set(sensor.tolist()) | beside
    assert set(np.flatnonzero(reading.surplus[0])) <= set(both.tolist()) | beside
    assert beside <= set(np.flatnonzero(reading.skew[0])), "a factor beside a leak is the sensor's"
    fault = library.columns_of(Cause.MANIFOLD_PRESSURE_GAIN, Cause.FUEL_SCALE)
    assert not np.any(reading.surplus[0][fault])


def test_cells_weigh_by_air_mass() -> None:
    """Twice as long counts twice: the mean of a bent curve moves towards where more air went."""
    j = judged()
    cells = j.posterior.reduced.seen.cells
    fast = laden(j) & (cells.speed_rpm > 2700.0)
    slow = laden(j) & (cells.speed_rpm < 2700.0)
    rows = [over_cells(j.posterior, m).skew[0] for m in (slow, fast, laden(j))]
    mass = [float(np.exp(cells.ln_maf)[m & cells.after].sum()) for m in (slow, fast)]
    wanted = (mass[0] * rows[0] + mass[1] * rows[1]) / sum(mass)
    np.testing.assert_allclose(rows[2], wanted, atol=1e-12)


def test_by_speed_looks_at_the_cells_near_it() -> None:
    j = judged()
    cells = j.posterior.reduced.seen.cells
    speed = np.unique(cells.speed_rpm[laden(j)])
    rows = over_speeds(j.posterior, speed[[0, -1]], laden(j))
    one = laden(j) & (cells.run == 3)
    for k, at in enumerate(speed[[0, -1]]):
        weight = np.exp(-0.5 * (np.log(cells.speed_rpm[one] / at) / SPEED_WIDTH) ** 2)
        columns = j.posterior.reduced.library.cells[0, one]
        wanted = weight @ columns / weight.sum()
        own = rows.surplus[k] != 0.0
        np.testing.assert_allclose(rows.surplus[k][own], wanted[own], rtol=1e-6, atol=1e-12)
    mean = rows.mean()
    np.testing.assert_allclose(mean.surplus[0], rows.surplus.mean(axis=0))
    weighted = rows.mean(np.array([3.0, 1.0]))
    np.testing.assert_allclose(weighted.skew[0], 0.75 * rows.skew[0] + 0.25 * rows.skew[1])


def test_other_odds_and_other_sizes_are_tried() -> None:
    j = judged(0.01)
    assert [v.what for v in j.varied] == [
        *(f"odds of every cause times {f:g}" for f in ODDS),
        *(f"sizes of every cause times {f:g}" for f in SIZES),
    ]
    sensor = [p.probability(*SENSOR_CAUSES) for p in j.posteriors()]
    assert sensor[1] < sensor[0] < sensor[2]
    families = j.families(over_cells(j.posterior, laden(j)))
    assert len(families) == 6
    assert families[-1][1] > families[0][1], "leaks at five times their odds"


def test_live_explanations_are_single_causes_that_the_data_leave() -> None:
    j = judged(0.0)
    alone = np.array([h.causes == frozenset({Cause.NONE}) for h in j.posterior.candidates])
    none = alone[j.posterior.draws.hypothesis].astype(float)
    assert any(np.array_equal(own, none) for own in j.live())
    for own in j.live():
        assert float(j.posterior.draws.weight @ own) >= 0.04


def test_a_level_of_one_configuration_is_judged_by_absolute_sizes() -> None:
    """The same error in all runs: with nothing to compare it is known to a few percent only."""
    cells = cells_of(runs=3).of_runs(range(6), [True] * 6)
    moved = shifted(cells, 0.05, everywhere=True)
    j = judge(moved, rest_of(), budget_of(), PriorTable())
    found = interval(j.posterior, over_cells(j.posterior, ALL[:48]).surplus[0])
    change = judged(0.05)
    row = over_cells(change.posterior, laden(change)).surplus[0]
    assert found.half_width > 2.0 * interval(change.posterior, row).half_width
    assert found.contains(0.05)


def test_an_interval_of_draws_is_their_quantiles() -> None:
    values = np.linspace(-1.0, 1.0, 2001)
    got = interval_of(values, np.full(2001, 1.0 / 2001))
    assert got.value == pytest.approx(0.0, abs=1e-3)
    assert np.log1p([got.low, got.high]) == pytest.approx([-0.95, 0.95], abs=2e-3)


# Causes, ranked


def test_causes_are_ranked_and_the_likeliest_has_its_size() -> None:
    ranked = rank_causes(judged(0.06).posterior)
    assert ranked[0].cause is Cause.SENSOR_SCALE
    assert ranked[0].size is not None
    assert ranked[0].size.contains(0.06)
    chances = [r.probability for r in ranked]
    assert chances == sorted(chances, reverse=True)
    assert all(0.0 <= p <= 1.0 for p in chances)


def test_look_alikes_are_named_on_both_sides() -> None:
    ranked = {r.cause: r for r in rank_causes(judged(0.05, ROUTES[:1]).posterior)}
    for cause, row in ranked.items():
        assert cause not in row.not_separable_from
        for other in row.not_separable_from:
            assert cause in ranked[other].not_separable_from


# The next measurement


def measurement(key: str, cost: str) -> NextMeasurement:
    return NextMeasurement(key=key, cost=cost, measurement="m", reason="r", toml="", worth=0.0)


WEIGHT = np.full(4000, 1.0 / 4000)


def test_a_look_is_worth_the_variance_it_takes_away() -> None:
    """Wanted = x + y, equal variances; a look at x with noise u takes x's share less its noise."""
    rng = np.random.default_rng(3)
    x, y = rng.standard_normal((2, 4000))
    assert worth_of(x, 0.0, x + y, WEIGHT) == pytest.approx(0.5, abs=0.03)
    assert worth_of(x, 1.0, x + y, WEIGHT) == pytest.approx(0.25, abs=0.03)
    assert worth_of(x, 0.0, x, WEIGHT) == pytest.approx(1.0)
    assert worth_of(rng.standard_normal(4000), 0.1, x, WEIGHT) < 0.01
    assert worth_of(x, 0.1, np.zeros(4000), WEIGHT) == 0.0
    assert worth_of(np.zeros(4000), 0.0, x, WEIGHT) == 0.0


def test_free_comes_before_cheap_before_dear_and_the_best_of_a_cost_first() -> None:
    rng = np.random.default_rng(4)
    x, y = rng.standard_normal((2, 4000))
    rows = [
        Candidate(measurement=measurement(f"{cost}{k}", cost), shows=x, u=u)
        for cost in (DEAR, FREE, CHEAP)
        for k, u in enumerate((1.0, 0.1))
    ]
    useless = Candidate(measurement=measurement("useless", FREE), shows=y, u=0.1)
    got = propose([*rows, useless], x, WEIGHT)
    assert [m.key for m in got] == ["free1", "free0", "cheap1", "cheap0", "dear1", "dear0"]
    assert all(m.worth >= WORTH[m.cost] for m in got)
    assert propose([useless], x, WEIGHT) == ()


def test_a_fault_of_a_route_is_tried_as_an_explanation_where_routes_can_contradict() -> None:
    """Half of the routes say nothing happened: a claim needs that no fault explains the others."""
    both, one = judged(0.03), judged(0.03, routes=ROUTES[:1])
    row = over_cells(both.posterior, laden(both)).surplus[0]
    assert both.faulty is not None and one.faulty is None
    last = evidence_of(both, row).varied[-1]
    assert last.most_nothing == 2.0 * NOTHING
    stated = both.posterior.probability(Cause.FUEL_SCALE, Cause.MANIFOLD_PRESSURE_GAIN)
    assert both.faulty.probability(Cause.FUEL_SCALE, Cause.MANIFOLD_PRESSURE_GAIN) > stated


def test_a_claim_that_a_fault_may_explain_is_not_shown() -> None:
    values = np.where(np.arange(1000) < 200, 0.0, 0.03)
    stated = Claimed(values=np.full(1000, 0.03), weight=np.full(1000, 1e-3))
    doubtful = Claimed(values=values, weight=np.full(1000, 1e-3), most_nothing=2.0 * NOTHING)
    assert Evidence(stated=stated, varied=(stated,)).shown(0.01, 0.01) == 1
    assert Evidence(stated=stated, varied=(doubtful,)).shown(0.01, 0.01) == 0
