"""A check of whatever was driven: nothing is refused, and sensors at rest are held to the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from airsense.evidence.level import CheckVerdict
from airsense.jobs.check import CheckResult, check_logs
from airsense.logs.log import Channel, Log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, Driving
from tests.simulate.engines import TURBO_DIESEL


def made(*driving: Driving, drive_s: float = 240.0) -> SimulatedCampaign:
    case = Case(driving=driving, n_before=len(driving), n_after=1, still_s=5.0, drive_s=drive_s)
    return simulate_campaigns(TURBO_DIESEL, [case], seed=3)[0]


@pytest.fixture(scope="module")
def sweep() -> SimulatedCampaign:
    return made(Driving.SWEEP)


def with_values(log: Log, name: str, change: Callable[[Channel], np.ndarray]) -> Log:
    own = log[name]
    return replace(log, channels={**log.channels, name: replace(own, value=change(own))})


def _steady(log: Log, name: str, value_k: float) -> Channel:
    """Return a temperature that stands still, on the time base of another one."""
    own = log["charge_temperature"]
    level = np.full(own.value.size, value_k)
    return replace(own, name=name, header=name, unit_read="K", value=level)


def codes(result: CheckResult) -> set[str]:
    return {f.code for f in result.findings}


@pytest.mark.parametrize(
    "driving",
    [
        (Driving.SWEEP,),
        (Driving.HOLD,),
        (Driving.STEPS,),
        (Driving.DRIVE,),
        (Driving.SWEEP, Driving.HOLD, Driving.IDLE, Driving.DRIVE),
    ],
)
def test_what_was_driven_is_judged(driving: tuple[Driving, ...]) -> None:
    campaign = made(*driving)
    got = check_logs(campaign.before, campaign.setup)
    assert got.verdict is CheckVerdict.PLAUSIBLE
    assert len(got.logs) == len(driving)
    assert all(row.segments for row in got.logs)
    false = check_logs(
        [with_values(x, "mass_air_flow", lambda c: 1.4 * c.value) for x in campaign.before],
        campaign.setup,
    )
    assert false.verdict is CheckVerdict.IMPLAUSIBLE
    assert false.sensor_error is not None
    assert false.sensor_error.contains(0.4)


def test_idle_alone_is_undetermined_with_a_sentence() -> None:
    campaign = made(Driving.IDLE)
    got = check_logs(campaign.before, campaign.setup)
    assert got.verdict is CheckVerdict.UNDETERMINED
    assert got.sensor_error is None
    assert got.sentence.startswith("Undetermined: nothing")
    assert got.next_measurement.key == "drive_under_load"
    assert {r.kind for r in got.free_evidence} >= {"engine_still", "zero_flow", "cold_start"}


@pytest.mark.slow
def test_a_drive_of_ten_hours_is_judged_in_linear_memory() -> None:
    """Ten hours hold no more states than one: what grows is the log alone."""
    campaign = made(Driving.DRIVE, drive_s=36_000.0)
    got = check_logs(campaign.before, campaign.setup)
    assert got.verdict is CheckVerdict.PLAUSIBLE
    assert got.window.bins < 500


def test_a_flow_shown_without_the_engine_is_a_finding(sweep: SimulatedCampaign) -> None:
    assert "flow_without_engine" not in codes(check_logs(sweep.before, sweep.setup))
    shifted = [with_values(x, "mass_air_flow", lambda c: c.value + 0.004) for x in sweep.before]
    got = check_logs(shifted, sweep.setup)
    assert "flow_without_engine" in codes(got)
    row = next(r for r in got.free_evidence if r.kind == "zero_flow")
    assert row.found == 1


def test_a_pressure_sensor_far_off_the_barometer_at_rest_is_a_finding(
    sweep: SimulatedCampaign,
) -> None:
    assert "pressure_sensor_off_at_rest" not in codes(check_logs(sweep.before, sweep.setup))
    off = [with_values(x, "manifold_pressure", lambda c: c.value + 12e3) for x in sweep.before]
    assert "pressure_sensor_off_at_rest" in codes(check_logs(off, sweep.setup))


@pytest.mark.parametrize(
    ("coolant_k", "intake_k", "found"),
    [(294.0, 295.0, False), (294.0, 306.0, True), (360.0, 306.0, False)],
)
def test_a_thermometer_that_is_off_on_a_cold_morning_is_a_finding(
    sweep: SimulatedCampaign, coolant_k: float, intake_k: float, found: bool
) -> None:
    log = sweep.before[0]
    extra = {
        name: _steady(log, name, value)
        for name, value in (
            ("ambient_temperature", 293.0),
            ("coolant_temperature", coolant_k),
            ("intake_temperature", intake_k),
        )
    }
    cold = replace(log, channels={**log.channels, **extra})
    got = check_logs([cold], sweep.setup)
    off = [f for f in got.findings if f.code == "thermometer_off_when_cold"]
    assert any("intake_temperature" in f.message for f in off) == found


def test_a_result_lists_priors_logs_and_free_evidence(sweep: SimulatedCampaign) -> None:
    got = check_logs(sweep.before, sweep.setup)
    assert [row.role for row in got.logs] == ["log"]
    assert next(p for p in got.priors if p.cause == "sensor_scale").size == 0.5
    assert len({row.kind for row in got.free_evidence}) == len(got.free_evidence) == 6
    assert got.budget[0].u >= got.budget[-1].u
