"""Our own digits, held so that a change of the answers is seen and meant.

One campaign of known seed an engine; not proof of anything but constancy. Where a digit moves on
purpose (a prior, a threshold), say why in the commit and write the new one.
"""

from __future__ import annotations

from functools import cache

import pytest

from airsense.jobs.compare import CompareResult, compare_logs
from airsense.simulate.campaign import simulate_campaigns
from airsense.simulate.case import Case
from airsense.simulate.engines import ENGINES

CASE = Case(skew=0.06, boost_change=0.04)
GOLDEN = {
    0: ("partly_supported", 0.0563, 0.0358, 0.0120),
    1: ("partly_supported", 0.0567, 0.0419, 0.0122),
    2: ("partly_supported", 0.0581, 0.0299, 0.0112),
}


@cache
def answer(engine: int) -> CompareResult:
    (campaign,) = simulate_campaigns(ENGINES[engine], [CASE], 2024)
    return compare_logs(campaign.before, campaign.after, campaign.setup)


@pytest.mark.parametrize("engine", GOLDEN)
def test_the_answer_of_one_campaign_stays(engine: int) -> None:
    """To 0.4 %: a third of the half-width, so that only a real change of the answer shows."""
    verdict, skew, change, half_width = GOLDEN[engine]
    (pair,) = answer(engine).pairs
    assert pair.verdict.value == verdict
    assert pair.sensor_skew.value == pytest.approx(skew, abs=4e-3)
    assert pair.airflow_change.value == pytest.approx(change, abs=4e-3)
    assert pair.sensor_skew.half_width == pytest.approx(half_width, abs=4e-3)
    assert pair.causes[0].cause.value == "sensor_scale"


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
    assert pair.probability_of_over_reading > 0.99
    assert pair.probability_of_gain > 0.95
    assert {r.factor for r in pair.prior_sensitivity} == {0.5, 2.0}
    for run in pair.prior_sensitivity:
        assert run.sensor_skew.value == pytest.approx(pair.sensor_skew.value, abs=0.01)
