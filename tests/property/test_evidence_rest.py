"""The engine at rest: when the barometer vouches for the pressure sensor, and when it cannot."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented, segment
from airsense.evidence.rest import Rest, RestKind, find_rest
from airsense.setup.engine import Ignition
from tests.evidence_inputs import rest_of, run_of

STILL_S, IDLE_S, PULL_S = 5.0, 8.0, 6.0
STEP = 0.1


def log_with(
    *,
    sensor_pa: float = 99_000.0,
    barometer_pa: float = 98_000.0,
    source: str = "logged",
    still: bool = True,
    idle: bool = True,
    gauge: bool = False,
    name: str = "run",
) -> Run:
    """Return ignition on with the engine still, idle, and a pull."""
    n_still, n_idle, n_pull = (round(s / STEP) for s in (STILL_S, IDLE_S, PULL_S))
    speed = np.r_[
        np.zeros(n_still if still else 0),
        np.full(n_idle if idle else 0, 820.0),
        np.linspace(1500.0, 3800.0, n_pull),
    ]
    pulling = speed > 1000.0
    pressure = np.where(pulling, 2.0e5, np.where(speed > 0.0, sensor_pa + 500.0, sensor_pa))
    flow = np.where(pulling, 4e-5, 1.2e-5) * speed
    run = run_of(
        speed.size,
        speed_rpm=speed,
        p_manifold_pa=pressure,
        mdot_maf_kgps=flow,
        p_ambient_pa=barometer_pa,
        p_ambient_source=source,
        from_gauge=gauge,
    )
    assert run.name
    return run


def found(runs: list[Run], ignition: Ignition = Ignition.COMPRESSION) -> Rest:
    cuts: list[Segmented] = [segment(r) for r in runs]
    half = len(runs) // 2
    return find_rest(runs, cuts, [k >= half for k in range(len(runs))], ignition)


def test_still_and_idle_are_read_against_the_barometer() -> None:
    got = found([log_with(), log_with(sensor_pa=103_000.0)])
    still = got.kind == RestKind.STILL
    np.testing.assert_allclose(got.value[still], np.log(np.array([99.0, 103.0]) / 98.0))
    np.testing.assert_array_equal(got.after[still], [False, True])
    idle = got.kind == RestKind.IDLE
    np.testing.assert_allclose(got.value[idle], np.log(np.array([99.5, 103.5]) / 98.0), atol=1e-6)
    assert got.missing == ()
    np.testing.assert_allclose(got.pressure_pa[still], [99_000.0, 103_000.0])


def test_idle_of_a_throttled_engine_says_nothing() -> None:
    got = found([log_with(), log_with()], Ignition.SPARK)
    assert set(got.kind.tolist()) == {int(RestKind.STILL)}


def test_a_barometer_copied_from_the_sensor_at_key_on_proves_nothing() -> None:
    """It equals the sensor in every run: it is the same sensor. Idle after it is a real reading."""
    runs = [
        log_with(sensor_pa=98_000.0), log_with(sensor_pa=101_500.0, barometer_pa=101_500.0)
    ]  # fmt: skip
    got = found(runs)
    assert got.count(RestKind.STILL) == 0
    assert "the same sensor, and proves nothing" in got.missing[0]


def test_a_barometer_of_its_own_agrees_now_and_then() -> None:
    """Within rounding in one run and not in the other: a real one."""
    got = found([log_with(sensor_pa=98_000.0), log_with(sensor_pa=98_400.0)])
    assert got.count(RestKind.STILL) == 2


def test_one_log_alone_cannot_show_that_it_was_copied() -> None:
    run = log_with(sensor_pa=98_000.0)
    got = find_rest([run], [segment(run)], [True], Ignition.COMPRESSION)
    assert got.count(RestKind.STILL) == 1


@pytest.mark.parametrize("source", ["assumed", "declared"])
def test_without_a_logged_barometer_the_sensor_is_held_against_itself(source: str) -> None:
    got = found([log_with(source=source), log_with(source=source, sensor_pa=103_000.0)])
    assert set(got.kind.tolist()) <= {int(RestKind.STILL_ALONE), int(RestKind.IDLE_ALONE)}
    still = got.value[got.kind == RestKind.STILL_ALONE]
    assert still[1] - still[0] == pytest.approx(np.log(103.0 / 99.0))
    assert "no barometer of its own" in got.missing[0]


def test_another_day_without_a_barometer_says_less() -> None:
    """Weather stands between: a size of its own, far above that of a barometer's reading."""
    for alone, with_it in (
        (RestKind.STILL_ALONE, RestKind.STILL),
        (RestKind.IDLE_ALONE, RestKind.IDLE),
    ):
        assert alone.sizes[1] > 2.0 * with_it.sizes[1]
        assert alone.sizes[2] > with_it.sizes[2]


def test_a_gauge_sensor_has_no_barometer_to_be_held_against() -> None:
    got = found([log_with(gauge=True), log_with(gauge=True)])
    assert got.size == 0
    assert got.missing


def test_no_still_seconds_are_said() -> None:
    got = found([log_with(still=False), log_with(still=False)])
    assert got.count(RestKind.STILL) == 0
    assert got.count(RestKind.IDLE) == 2
    assert got.missing == ("no seconds with the ignition on and the engine still",)


def test_too_few_samples_are_no_reading() -> None:
    run = log_with()
    assert run.p_manifold_pa is not None
    gap = run.p_manifold_pa.copy()
    gap[2:50] = np.nan
    short = run_of(
        run.time_s.size,
        speed_rpm=run.speed_rpm,
        p_manifold_pa=gap,
        mdot_maf_kgps=run.mdot_maf_kgps,
        p_ambient_source="logged",
    )
    got = find_rest([short], [segment(short)], [True], Ignition.COMPRESSION)
    assert got.count(RestKind.STILL) == 0


def test_readings_of_some_runs_are_numbered_anew() -> None:
    rest = rest_of(before=(0.0, 0.01), after=(0.02, 0.03))
    got = rest.of_runs([1, 2], [True, False])
    np.testing.assert_array_equal(got.run, [0, 1])
    np.testing.assert_array_equal(got.after, [True, False])
    np.testing.assert_array_equal(got.value, [0.01, 0.02])
    assert rest.of_runs([], []).size == 0


def test_a_still_stretch_is_of_its_kind() -> None:
    kinds = {s.kind for s in segment(log_with()).segments}
    assert {Kind.STILL, Kind.IDLE, Kind.PULL} <= kinds
