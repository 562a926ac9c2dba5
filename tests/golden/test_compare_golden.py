"""Our own digits, held so that a change of the answers is seen and meant.

One campaign of known seed an engine; not proof of anything but constancy. Where a digit moves on
purpose (a prior, a threshold), say why in the commit and write the new one.
"""

from __future__ import annotations

from functools import cache

import pytest

from airsense.jobs.compare import CompareResult, compare_logs
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import ENGINES

CASE = Case(skew=0.06, boost_change=0.04)
# Boost was raised and the sensor reads more: the intake gave nothing, the reading is told.
GOLDEN = {
    0: ("reading_only", 0.0536, 0.0388, 0.0120, "sensor_scale"),
    1: ("reading_only", 0.0491, 0.0494, 0.0133, "sensor_scale"),
    2: ("reading_only", 0.0551, 0.0332, 0.0107, "sensor_scale"),
}


@cache
def answer(engine: int) -> CompareResult:
    (campaign,) = simulate_campaigns(ENGINES[engine], [CASE], 2024)
    return compare_logs(campaign.before, campaign.after, campaign.setup)


@pytest.mark.parametrize("engine", GOLDEN)
def test_the_answer_of_one_campaign_stays(engine: int) -> None:
    """To 0.4 %: a third of the half-width, so that only a real change of the answer shows."""
    verdict, skew, change, half_width, cause = GOLDEN[engine]
    (pair,) = answer(engine).pairs
    assert pair.verdict.value == verdict
    assert pair.sensor_skew.value == pytest.approx(skew, abs=4e-3)
    assert pair.airflow_change.value == pytest.approx(change, abs=4e-3)
    assert pair.sensor_skew.half_width == pytest.approx(half_width, abs=4e-3)
    assert pair.causes[0].cause.value == cause


@pytest.mark.parametrize("engine", GOLDEN)
def test_what_is_written_down_is_consistent(engine: int) -> None:
    """Indicated is true times skew, by speed as in the mean; the budget adds to the interval."""
    (pair,) = answer(engine).pairs
    product = (1.0 + pair.airflow_change.value) * (1.0 + pair.sensor_skew.value) - 1.0
    assert product == pytest.approx(pair.airflow_change_indicated.value, abs=0.015)
    mean = sum(r.sensor_skew.value for r in pair.by_speed) / len(pair.by_speed)
    assert mean == pytest.approx(pair.sensor_skew.value, abs=0.004)
    u = sum(p.u**2 for p in pair.budget) ** 0.5
    assert 1.6 * u < pair.sensor_skew.half_width < 4.5 * u
    assert [p.u for p in pair.budget] == sorted((p.u for p in pair.budget), reverse=True)
    assert pair.probability_of_over_reading > 0.98
    assert pair.probability_of_gain > 0.95
    assert [r.what.split()[0] for r in pair.prior_sensitivity] == ["odds", "odds", "sizes", "sizes"]
    for run in pair.prior_sensitivity:
        assert run.indicated_surplus.value == pytest.approx(pair.indicated_surplus.value, abs=0.01)
