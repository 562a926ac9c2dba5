"""Spool-up in simulated pulls, against the simulator's own noise-free passes."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from airsense.evidence.spool_up import Rise, SpoolVerdict
from airsense.jobs.compare import compare_logs
from airsense.logs.log import Log
from airsense.report.as_json import to_json
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.engines import ENGINES, TURBO_DIESEL, TURBO_PETROL

pytestmark = pytest.mark.slow

QUIET = {"scatter": 0.0, "drift": 0.0, "absolute_errors": 0.0, "noise": 0.0, "heat_soak": False}


def delayed(log: Log, lag_s: float) -> Log:
    """Return the log of an engine whose boost, air and power come later by a lag."""
    late = {
        name: replace(
            c, value=np.interp(c.time_s - lag_s, c.time_s, c.value, left=float(c.value[0]))
        )
        for name, c in log.channels.items()
        if name not in {"pedal", "engine_speed", "barometric_pressure"}
    }
    return replace(log, channels={**log.channels, **late})


@pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)
def test_the_same_engine_is_not_called_quicker(engine: EngineModel) -> None:
    wrong = 0
    for made in simulate_campaigns(engine, [Case() for _ in range(6)], seed=31):
        spool = compare_logs(made.before, made.after, made.setup).pairs[0].spool_up
        assert spool is not None
        assert spool.step == "pedal"
        assert spool.repeats_before == spool.repeats_after == 3
        wrong += spool.verdict is not SpoolVerdict.NOT_RESOLVED
    assert wrong <= 1


def test_a_known_delay_is_found() -> None:
    lag = 0.5
    (made,) = simulate_campaigns(TURBO_PETROL, [Case()], seed=5)
    late = [delayed(log, lag) for log in made.after]
    pairs = [compare_logs(made.before, a, made.setup).pairs[0] for a in (made.after, late)]
    plain, moved = (p.spool_up for p in pairs)
    assert plain is not None
    assert moved is not None
    assert moved.verdict is SpoolVerdict.SLOWER
    for before, after in zip(plain.times, moved.times, strict=True):
        shift = after.difference_s.value - before.difference_s.value
        assert shift == pytest.approx(lag, abs=0.05)


def test_an_engine_that_breathes_better_builds_boost_sooner() -> None:
    # The petrol engine's turbo is short of exhaust at low speed: more air, more exhaust.
    (exact,) = simulate_campaigns(TURBO_PETROL, [Case(ve_change=0.05, **QUIET)], seed=1)
    (made,) = simulate_campaigns(TURBO_PETROL, [Case(ve_change=0.05)], seed=12)
    known = compare_logs(exact.before, exact.after, exact.setup).pairs[0].spool_up
    found = compare_logs(made.before, made.after, made.setup).pairs[0].spool_up
    assert known is not None
    assert found is not None
    assert found.verdict is SpoolVerdict.QUICKER
    for truth, row in zip(known.times, found.times, strict=True):
        assert row.difference_s.contains(truth.difference_s.value)
        assert truth.difference_s.value < -0.1


def test_without_a_pedal_the_boost_itself_shows_the_step() -> None:
    (made,) = simulate_campaigns(TURBO_DIESEL, [Case()], seed=2)

    def bare(log: Log) -> Log:
        return replace(log, channels={n: c for n, c in log.channels.items() if n != "pedal"})

    with_pedal = compare_logs(made.before, made.after, made.setup).pairs[0].spool_up
    without = (
        compare_logs([bare(x) for x in made.before], [bare(x) for x in made.after], made.setup)
        .pairs[0]
        .spool_up
    )
    assert with_pedal is not None
    assert without is not None
    assert without.step == "boost_rise"
    for a, b in zip(with_pedal.times, without.times, strict=True):
        assert b.before_s.value < a.before_s.value
        assert b.difference_s.value == pytest.approx(a.difference_s.value, abs=0.1)


def test_single_runs_give_values_without_bounds_and_valid_json() -> None:
    (made,) = simulate_campaigns(TURBO_DIESEL, [Case(n_before=1, n_after=1)], seed=3)
    result = compare_logs(made.before, made.after, made.setup)
    told = json.loads(to_json(result))["pairs"][0]["spool_up"]
    assert told["verdict"] == "not_resolved"
    assert told["times"][0]["difference_s"]["low"] is None
    assert told["times"][0]["before_s"]["value"] > 0.0
    assert {r["rise"] for r in told["times"]} == {r.value for r in Rise}


def test_without_manifold_pressure_nothing_is_said() -> None:
    (made,) = simulate_campaigns(TURBO_DIESEL, [Case()], seed=4)

    def bare(log: Log) -> Log:
        kept = {n: c for n, c in log.channels.items() if n != "manifold_pressure"}
        return replace(log, channels=kept)

    pair = compare_logs([bare(x) for x in made.before], [bare(x) for x in made.after], made.setup)
    assert pair.pairs[0].spool_up is None
