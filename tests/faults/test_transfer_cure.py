"""What no table can mend is named, and not baked into one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.transfer.cells import Support
from airsense.transfer.rescale import Options, rescale
from airsense.transfer.result import Decision
from tests.bench.tube_changes import ENGINES, Change, make_samples
from tests.property.test_transfer_rescale import TABLE, change_of

DRIVE = {"drive": True, "seconds": 90.0}


def samples_of(seed: int, change: Change, **how):
    engine = list(ENGINES.values())[seed % 3]
    return make_samples(engine, change, np.random.default_rng(seed), **how)


def codes(result) -> set[str]:
    return {f.code for f in result.findings}


def no_change(m: np.ndarray) -> np.ndarray:
    return np.zeros_like(m)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("skew", [0.0, 0.05])
def test_a_leak_of_five_percent_is_named_and_not_baked_in(seed, skew):
    change = replace(change_of(skew), leak=0.05)
    result = rescale(TABLE, samples_of(seed, change, **DRIVE), Options(), where="x")
    assert "leak_after_compressor" in codes(result)
    assert result.decision is Decision.REFUSED
    assert result.sentence.startswith("Refused")
    measured = [c for c in result.cells if c.support is Support.MEASURED]
    assert np.mean([c.wanted for c in measured]) == pytest.approx(1.0 / (1.0 + skew), abs=0.02)
    leak = next(c for c in result.causes if c.cause == "leak_after_compressor")
    assert leak.size.value == pytest.approx(0.05, abs=0.02)


def test_a_leak_is_baked_in_only_when_forced():
    change = replace(change_of(0.0), leak=0.05)
    samples = samples_of(1, change, **DRIVE)
    forced = rescale(TABLE, samples, Options(force_cause=True), where="x")
    assert forced.decision is Decision.CHANGE
    assert "baked into the table as asked" in " ".join(f.message for f in forced.findings)
    assert forced.scale.high < 1.0


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("gain", [-0.2, -0.08, 0.08])
def test_a_pressure_gain_error_is_named_and_not_baked_in(seed, gain):
    change = Change(correction=no_change, map_gain=gain)
    result = rescale(TABLE, samples_of(seed, change), Options(), where="x")
    assert "manifold_pressure_suspected" in codes(result)
    assert result.decision is Decision.REFUSED
    # 18 draws: the 99 % interval, which is 1.35 times as wide
    assert abs(result.scale.value - 1.0) < 1.35 * result.scale.half_width
    used = {r.method: r.used for r in result.routes}
    assert used == {"fuel_lambda": True, "speed_density": False}


@pytest.mark.parametrize("seed", range(3))
def test_a_wrong_fuel_scale_is_named(seed):
    samples = samples_of(seed, Change(correction=no_change))
    shift = np.where(samples.present, np.log(1.08), 0.0)
    routes = tuple(
        replace(r, ln_flow=r.ln_flow + shift) if r.method == "fuel_lambda" else r
        for r in samples.routes
    )
    result = rescale(TABLE, replace(samples, routes=routes), Options(), where="x")
    assert "fuel_or_lambda_suspected" in codes(result)
    assert result.scale.contains(1.0)


@pytest.mark.parametrize("seed", range(3))
def test_routes_that_contradict_each_other_and_the_sensor_settle_nothing(seed):
    change = replace(change_of(0.08), map_gain=0.16)
    result = rescale(TABLE, samples_of(seed, change), Options(), where="x")
    assert "routes_disagree" in codes(result)
    assert result.decision is Decision.REFUSED
    assert result.scale.half_width > 0.04


@pytest.mark.parametrize("seed", range(6))
def test_sound_changes_are_not_accused(seed):
    for change in (change_of(0.08), change_of(0.0, 0.06)):
        for how in ({}, DRIVE):
            result = rescale(TABLE, samples_of(seed, change, **how), Options(), where="x")
            assert "not_a_table_alone" not in codes(result)
            assert not codes(result) & {
                "manifold_pressure_suspected",
                "fuel_or_lambda_suspected",
                "routes_disagree",
            }
            if how:
                assert result.decision is not Decision.REFUSED


def test_an_error_over_speed_is_no_table_error_and_the_place_is_shown():
    samples = samples_of(0, change_of(0.0), **DRIVE)
    low = samples.speed_rpm < np.quantile(samples.speed_rpm, 0.25)
    wrong = np.where(samples.present & low, 0.05, 0.0)
    result = rescale(
        TABLE, replace(samples, ln_indicated=samples.ln_indicated + wrong), Options(), where="x"
    )
    assert codes(result) & {"not_a_table_alone", "pulsation"}
    speed = next(c for c in result.covariates if c.variable == "engine_speed")
    assert speed.tested
    assert speed.depends
    assert speed.low < np.quantile(samples.speed_rpm, 0.25)


def test_a_sweep_alone_cannot_test_speed_and_says_so():
    result = rescale(TABLE, samples_of(0, change_of(0.03)), Options(), where="x")
    assert {"engine_speed_not_tested", "manifold_pressure_not_tested"} <= codes(result)


def test_pulsation_at_low_speed_is_flagged():
    samples = samples_of(0, change_of(0.0), **DRIVE)
    low = np.min(samples.speed_rpm)
    puls = 0.06 * np.exp(-(samples.speed_rpm - low) / (0.15 * np.max(samples.speed_rpm)))
    wrong = np.where(samples.present, puls, 0.0)
    result = rescale(
        TABLE, replace(samples, ln_indicated=samples.ln_indicated + wrong), Options(), where="x"
    )
    assert "pulsation" in codes(result)
    assert result.decision is not Decision.REFUSED


@pytest.mark.parametrize("gain", [-0.2, -0.08, 0.08])
@pytest.mark.parametrize("seed", range(4))
def test_a_pressure_fault_is_suspected_even_with_one_route(seed, gain):
    """The reading at the same speed stands still; only the route moved."""
    change = Change(correction=no_change, map_gain=gain)
    samples = samples_of(seed, change, methods=("speed_density",))
    result = rescale(TABLE, samples, Options(), where="x")
    assert "manifold_pressure_suspected" in codes(result)
    assert result.decision is Decision.REFUSED
    forced = rescale(TABLE, samples, Options(force_cause=True), where="x")
    assert forced.decision is Decision.CHANGE


@pytest.mark.parametrize("skew", [-0.08, 0.05, 0.1])
def test_a_tube_with_one_route_is_not_taken_for_a_pressure_fault(skew):
    samples = samples_of(1, change_of(skew), methods=("speed_density",))
    result = rescale(TABLE, samples, Options(), where="x")
    assert result.decision is Decision.CHANGE
    assert "single_route" in codes(result)
