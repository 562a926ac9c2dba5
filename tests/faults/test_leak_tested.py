"""A leak behind the compressor on workshop channels, before and after a pressure test tells it."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.cause import Cause
from airsense.evidence.verdict import ReadingCause
from airsense.jobs.compare import compare_logs
from airsense.jobs.comparison.result import PairResult
from airsense.setup.measured import ChargePipePressureTest
from airsense.simulate.campaign import SimulatedCampaign, simulate_campaigns
from airsense.simulate.case import Case, own_channels
from airsense.simulate.engines import TURBO_DIESEL, TURBO_PETROL, EngineModel

pytestmark = pytest.mark.slow

LEAK = 0.05


def campaign(engine: EngineModel, **planted: float) -> SimulatedCampaign:
    case = own_channels(Case(**planted))  # type: ignore[arg-type]
    return next(iter(simulate_campaigns(engine, [case], 31)))


def loss(of: SimulatedCampaign) -> ChargePipePressureTest:
    """Return what a test at full boost would find: the share that is lost, of the flow there."""
    log = of.after[0]
    boost_pa = float(np.max(log["manifold_pressure"].value)) - 1.0e5
    flow_gps = 1e3 * float(np.quantile(log["mass_air_flow"].value, 0.95))
    _, high = compare_logs(of.before, of.after, of.setup).window.engine_speed_rpm
    top = high - 300.0, high
    lost = (1.0 + of.surplus(*top)) / (1.0 + of.skew(*top)) - 1.0
    return ChargePipePressureTest(
        what="charge_pipe_pressure_test",
        configuration="after",
        loss_gps=flow_gps * lost / (1.0 + lost),
        at_boost_kpa=1e-3 * boost_pa,
    )


def answer(of: SimulatedCampaign, *made: ChargePipePressureTest) -> PairResult:
    setup = of.setup.model_copy(update={"measured": made})
    return compare_logs(of.before, of.after, setup).pairs[0]


def probability(pair: PairResult, cause: Cause) -> float:
    return next((c.probability for c in pair.causes if c.cause is cause), 0.0)


@pytest.mark.parametrize("engine", [TURBO_DIESEL, TURBO_PETROL], ids=["diesel", "petrol"])
def test_a_measured_loss_is_named_and_nothing_is_invented_beside_it(engine: EngineModel) -> None:
    # Behind a throttle idle and light load tell nothing of the pressure on the hole, each for
    # itself; with one unknown for both, gas that nobody recirculates had to explain the difference.
    leaking = campaign(engine, leak_after_compressor=LEAK)
    low, high = compare_logs(leaking.before, leaking.after, leaking.setup).window.engine_speed_rpm
    pair = answer(leaking, loss(leaking))
    assert pair.indicated_surplus is not None and pair.sensor_skew is not None
    assert pair.indicated_surplus.contains(leaking.surplus(low, high))
    assert pair.indicated_surplus.half_width < 0.02
    assert pair.sensor_skew.contains(0.0)
    assert pair.reading_cause is ReadingCause.AIR_LOST_BEHIND_SENSOR
    assert probability(pair, Cause.LEAK_AFTER_COMPRESSOR) > 0.95
    assert probability(pair, Cause.RECIRCULATION) < 0.05


@pytest.mark.parametrize("engine", [TURBO_DIESEL, TURBO_PETROL], ids=["diesel", "petrol"])
def test_a_leak_is_not_called_the_sensor_before_the_test(engine: EngineModel) -> None:
    pair = answer(campaign(engine, leak_after_compressor=LEAK))
    assert pair.reading_cause is not ReadingCause.SENSOR


def test_a_tight_pipe_leaves_the_sensor() -> None:
    tight = ChargePipePressureTest(
        what="charge_pipe_pressure_test", configuration="after", result="tight"
    )
    pair = answer(campaign(TURBO_DIESEL, skew=0.06), tight)
    assert pair.reading_cause is ReadingCause.SENSOR
    assert pair.sensor_skew is not None and pair.sensor_skew.contains(0.06)


def test_a_leak_and_a_skew_of_like_size_stay_open() -> None:
    both = campaign(TURBO_DIESEL, leak_after_compressor=0.04, skew=0.05)
    assert answer(both, loss(both)).reading_cause is ReadingCause.OPEN
