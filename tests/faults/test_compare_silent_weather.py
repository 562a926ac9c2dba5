"""Another day in logs that hold no weather: the charge temperature tells some of it."""

from __future__ import annotations

import pytest

from airsense.evidence.verdict import Verdict
from airsense.jobs.compare import compare_logs
from airsense.jobs.comparison.result import CompareResult
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import BoostControl, Case, own_channels
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.parts import parts_of

pytestmark = pytest.mark.slow

COLD = own_channels(
    Case(
        boost_control=BoostControl.RATIO_AMBIENT,
        ambient_temperature_change_k=-14.0,
        ambient_pressure_change_pa=0.0,
    )
)


@pytest.fixture(scope="module")
def campaign() -> SimulatedCampaign:
    return next(iter(simulate_campaigns(TURBO_DIESEL, [COLD], 3)))


@pytest.fixture(scope="module")
def truth(campaign: SimulatedCampaign) -> float:
    low, high = result(campaign).window.engine_speed_rpm
    return next(iter(parts_of(TURBO_DIESEL, [COLD], 3))).change("weather", low, high)


def result(campaign: SimulatedCampaign, **changed: object) -> CompareResult:
    return compare_logs(campaign.before, campaign.after, campaign.setup.model_copy(update=changed))


def test_a_colder_day_is_the_weathers_and_never_the_intakes(
    campaign: SimulatedCampaign, truth: float
) -> None:
    found = result(campaign).pairs[0]
    weather = found.airflow_change_weather
    assert truth > 0.03
    assert weather is not None and weather.contains(truth)
    assert weather.half_width < 0.025
    assert abs(weather.value - truth) < 0.015
    assert found.verdict not in {Verdict.GAIN_SUPPORTED, Verdict.PARTLY_SUPPORTED}


def test_a_colder_day_is_no_gain_of_a_second_tune_either(
    campaign: SimulatedCampaign, truth: float
) -> None:
    tunes = ("road map", "road map again")
    (found,) = compare_logs(campaign.before, campaign.after, campaign.setup, tunes=tunes).pairs
    assert found.airflow_change is not None and found.airflow_change.low > 0.0
    assert found.airflow_change_tune is not None
    assert found.airflow_change_tune.contains(0.0)
    assert found.verdict is not Verdict.TUNE_GAIN_SUPPORTED
    assert "at the same weather" in found.sentence
    assert result(campaign).pairs[0].airflow_change_tune is None


def test_the_assumption_is_printed(campaign: SimulatedCampaign) -> None:
    said = [a.value for a in result(campaign).assumptions if a.quantity == "ambient temperature"]
    assert any("charge" in value for value in said)


def test_behind_a_water_cooler_the_charge_tells_nothing_of_the_day(
    campaign: SimulatedCampaign,
) -> None:
    engine = campaign.setup.engine.model_copy(update={"cooler": "water"})
    weather = result(campaign, engine=engine).pairs[0].airflow_change_weather
    said = [a.quantity for a in result(campaign, engine=engine).assumptions]
    assert "ambient temperature" not in said
    # Nothing tells the day: about nothing, and wide.
    assert weather is not None and weather.contains(0.0) and weather.half_width > 0.025


def test_declared_weather_comes_first(campaign: SimulatedCampaign, truth: float) -> None:
    told = campaign.setup.weather.model_copy(
        update={
            "before": campaign.setup.weather.before.model_copy(
                update={"ambient_temperature_c": 22.0}
            ),
            "after": campaign.setup.weather.after.model_copy(update={"ambient_temperature_c": 8.0}),
        }
    )
    weather = result(campaign, weather=told).pairs[0].airflow_change_weather
    assert weather is not None and weather.contains(truth)
    guessed = result(campaign).pairs[0].airflow_change_weather
    assert guessed is not None and weather.half_width < 0.9 * guessed.half_width


def test_one_session_narrows_the_weather() -> None:
    same = next(iter(simulate_campaigns(TURBO_DIESEL, [own_channels(Case())], 3)))
    apart = result(same).pairs[0].airflow_change_weather
    session = same.setup.weather.model_copy(update={"one_session": True})
    together = result(same, weather=session).pairs[0].airflow_change_weather
    assert apart is not None and together is not None
    assert together.half_width < 0.85 * apart.half_width
    assert together.contains(0.0)
