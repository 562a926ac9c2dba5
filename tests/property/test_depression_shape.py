"""Intake depression: flow squared within one intake, and the shape of the sensor's error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.estimates import depression
from airsense.estimates.defaults import defaults_for
from airsense.estimates.prepare import prepare
from airsense.estimates.routes import ROUTES, usable_routes
from airsense.estimates.run import Run
from airsense.evidence.sensor_shape import (
    SensorShape,
    ShapeVerdict,
    sensor_shape,
    shape_findings,
)
from airsense.jobs.check import binned, check_logs
from airsense.jobs.compare import compare_logs
from airsense.jobs.observe import make_runs, observe
from airsense.logs.log import Log
from airsense.setup.engine import EngineSetup, Uncertainty
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import LARGE_TURBO_DIESEL, TURBO_DIESEL

SIZES = defaults_for(Uncertainty(), charge_temperature_estimated=False)


@pytest.fixture(scope="module")
def made() -> SimulatedCampaign:
    return simulate_campaigns(TURBO_DIESEL, [Case(log_depression=True, noise=0.3)], seed=6)[0]


def scaled(log: Log, name: str, function: object) -> Log:
    channel = log[name]
    return replace(
        log, channels={**log.channels, name: replace(channel, value=function(channel.value))}
    )


def shape_of(logs: list[Log], setup: EngineSetup) -> SensorShape:
    seen = observe(make_runs(logs, setup), setup, [True] * len(logs))
    found = sensor_shape(binned(seen, None)[0], setup, seen.sizes)
    assert found is not None
    return found


def flow_of(run: Run, setup: EngineSetup) -> np.ndarray:
    return depression.depression(run, setup, SIZES).mdot_kgps


def test_the_flow_goes_as_the_root_of_drop_times_density(made: SimulatedCampaign) -> None:
    run = prepare(made.before[0], made.setup)
    assert run.depression_pa is not None
    plain = flow_of(run, made.setup)
    assert np.nanmax(plain) > 0.0
    four = flow_of(replace(run, depression_pa=4.0 * run.depression_pa), made.setup)
    good = np.isfinite(plain)
    np.testing.assert_allclose(four[good], 2.0 * plain[good])
    dense = flow_of(replace(run, p_ambient_pa=1.21 * run.p_ambient_pa), made.setup)
    # Real air is a little denser than an ideal gas.
    np.testing.assert_allclose(dense[good], 1.1 * plain[good], rtol=1e-4)
    signed = flow_of(replace(run, depression_pa=-run.depression_pa), made.setup)
    np.testing.assert_allclose(signed[good], plain[good])


def test_a_drop_near_the_sensors_zero_is_no_flow(made: SimulatedCampaign) -> None:
    run = prepare(made.before[0], made.setup)
    assert run.depression_pa is not None
    flow = flow_of(run, made.setup)
    small = run.depression_pa < depression.MIN_DEPRESSION_PA
    assert small.any()
    assert np.isnan(flow[small]).all()


def test_it_takes_no_part_in_a_comparison(made: SimulatedCampaign) -> None:
    assert not next(r for r in ROUTES if r.method == depression.METHOD).between_configurations
    runs = make_runs([*made.before, *made.after], made.setup)
    usable, unused = usable_routes(runs, made.setup)
    assert depression.METHOD not in {r.method for r in (*usable, *unused)}
    pair = compare_logs(made.before, made.after, made.setup).pairs[0]
    assert depression.METHOD not in {e.method for e in pair.estimates}


def test_a_sound_sensor_shows_no_shape(made: SimulatedCampaign) -> None:
    found = shape_of(made.before, made.setup)
    assert found.verdict is ShapeVerdict.NOT_RESOLVED
    assert found.change_over_flow.contains(0.0)
    assert found.flow_high_kgps > 1.5 * found.flow_low_kgps
    assert shape_findings(found) == ()


@pytest.mark.parametrize("size", [-0.15, -0.08, 0.08, 0.15])
def test_a_bent_reading_is_found_with_its_size(made: SimulatedCampaign, size: float) -> None:
    straight = shape_of(made.before, made.setup)
    low, high = straight.flow_low_kgps, straight.flow_high_kgps
    power = np.log1p(size) / np.log(high / low)
    bent = [scaled(x, "mass_air_flow", lambda m: m * (np.maximum(m, 1e-3) / low) ** power)
            for x in made.before]  # fmt: skip
    found = shape_of(bent, made.setup)
    moved = (1.0 + found.change_over_flow.value) / (1.0 + straight.change_over_flow.value) - 1.0
    assert moved == pytest.approx(size, abs=0.02)
    assert found.change_over_flow.contains(size)
    if abs(size) > 0.1:
        up = ShapeVerdict.READS_HIGH_AT_HIGH_FLOW
        assert found.verdict is (up if size > 0.0 else ShapeVerdict.READS_LOW_AT_HIGH_FLOW)
        assert shape_findings(found)[0].code == "sensor_error_changes_with_flow"


def test_a_scale_of_either_reading_is_not_seen(made: SimulatedCampaign) -> None:
    plain = shape_of(made.before, made.setup)
    for name, factor in (("mass_air_flow", 1.1), ("inlet_depression", 2.0)):
        moved = shape_of([scaled(x, name, lambda v, f=factor: v * f) for x in made.before],
                         made.setup)  # fmt: skip
        assert moved.change_over_flow.value == pytest.approx(
            plain.change_over_flow.value, abs=0.003
        )
        assert moved.verdict is ShapeVerdict.NOT_RESOLVED


def test_intervals_of_the_shape_cover() -> None:
    cases = [Case(log_depression=True, n_after=1) for _ in range(25)]
    held = 0
    for one in simulate_campaigns(LARGE_TURBO_DIESEL, cases, seed=14):
        held += shape_of(one.before, one.setup).change_over_flow.contains(0.0)
    # 95 % of 25 is 23.8 with a standard deviation of 1.1.
    assert held >= 21


def test_a_check_carries_the_shape_and_warns(made: SimulatedCampaign) -> None:
    assert check_logs(made.before, made.setup).sensor_shape is not None
    bent = [scaled(x, "mass_air_flow", lambda m: 3.0 * m**1.25) for x in made.before]
    result = check_logs(bent, made.setup)
    assert "sensor_error_changes_with_flow" in {f.code for f in result.findings}


def test_without_depression_nothing_is_said(made: SimulatedCampaign) -> None:
    bare = [
        replace(x, channels={n: c for n, c in x.channels.items() if n != "inlet_depression"})
        for x in made.before
    ]
    result = check_logs(bare, made.setup)
    assert result.sensor_shape is None
    assert "sensor_error_changes_with_flow" not in {f.code for f in result.findings}
