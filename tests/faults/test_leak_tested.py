"""A leak behind the compressor on workshop channels, before and after a pressure test tells it."""

from __future__ import annotations

import pytest

from airsense.cause import Cause
from airsense.evidence.verdict import ReadingCause
from airsense.jobs.comparison.result import CompareResult, PairResult
from tests.bench.tight_or_leaking import TIGHT, answer_with, loss_of
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, own_channels
from tests.simulate.engines import TURBO_DIESEL, TURBO_PETROL, EngineModel

pytestmark = pytest.mark.slow

LEAK = 0.05


def campaign(engine: EngineModel, **planted: float) -> SimulatedCampaign:
    case = own_channels(Case(**planted))  # type: ignore[arg-type]
    return next(iter(simulate_campaigns(engine, [case], 31)))


def answer_after_the_loss(leaking: SimulatedCampaign) -> CompareResult:
    _, high_rpm = answer_with(leaking).window.engine_speed_rpm
    return answer_with(leaking, loss_of(leaking, high_rpm))


def probability(pair: PairResult, cause: Cause) -> float:
    return next((c.probability for c in pair.causes if c.cause is cause), 0.0)


@pytest.mark.parametrize("engine", [TURBO_DIESEL, TURBO_PETROL], ids=["diesel", "petrol"])
def test_a_measured_loss_is_named_and_nothing_is_invented_beside_it(engine: EngineModel) -> None:
    # Behind a throttle idle and light load tell nothing of the pressure on the hole, each for
    # itself; with one unknown for both, gas that nobody recirculates had to explain the difference.
    leaking = campaign(engine, leak_after_compressor=LEAK)
    result = answer_after_the_loss(leaking)
    pair = result.pairs[0]
    assert pair.indicated_surplus is not None and pair.sensor_skew is not None
    assert pair.indicated_surplus.contains(leaking.surplus(*result.window.engine_speed_rpm))
    assert pair.indicated_surplus.half_width < 0.02
    assert pair.sensor_skew.contains(0.0)
    assert pair.reading_cause is ReadingCause.AIR_LOST_BEHIND_SENSOR
    assert "most of that is air lost behind the sensor" in pair.sentence
    assert probability(pair, Cause.LEAK_AFTER_COMPRESSOR) > 0.95
    assert probability(pair, Cause.RECIRCULATION) < 0.05


@pytest.mark.parametrize("engine", [TURBO_DIESEL, TURBO_PETROL], ids=["diesel", "petrol"])
def test_a_leak_is_not_called_the_sensor_before_the_test(engine: EngineModel) -> None:
    pair = answer_with(campaign(engine, leak_after_compressor=LEAK)).pairs[0]
    assert pair.reading_cause is not ReadingCause.SENSOR


def test_a_tight_pipe_leaves_the_sensor() -> None:
    pair = answer_with(campaign(TURBO_DIESEL, skew=0.06), TIGHT).pairs[0]
    assert pair.reading_cause is ReadingCause.SENSOR
    assert pair.sensor_skew is not None and pair.sensor_skew.contains(0.06)


def test_a_leak_and_a_skew_of_like_size_stay_open() -> None:
    both = campaign(TURBO_DIESEL, leak_after_compressor=0.04, skew=0.05)
    assert answer_after_the_loss(both).pairs[0].reading_cause is ReadingCause.OPEN
