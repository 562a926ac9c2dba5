"""What is a full-load pull and what is not, one criterion at a time."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from airsense.estimates.run import Run
from airsense.estimates.segments import find_segments, steady_samples
from tests.evidence_inputs import run_of

FloatArray = NDArray[np.float64]
STEP = 0.1
REST = 100  # samples of idle ahead of and behind a climb


def climb(
    *,
    seconds: float = 6.0,
    low: float = 1500.0,
    high: float = 3500.0,
    pedal: float | None = 1.0,
    idle_pedal: float = 0.1,
    load: float = 1.0,
    late_load: float | None = None,
    idle_load: float = 0.3,
    best_load: float = 1.0,
    rest: int = REST,
    **more: object,
) -> Run:
    """Return idle, a climb of the speed, and idle; a short burst at full load ahead of it."""
    n = round(seconds / STEP)
    up = np.linspace(low, high, n)
    speed = np.r_[np.full(rest, low), up, np.full(rest, high)]
    charge = np.full(speed.size, idle_load)
    charge[5 : 5 + max(8, speed.size // 25)] = best_load
    charge[rest : rest + n] = load
    if late_load is not None:
        charge[rest + n // 2 : rest + n] = late_load
    position = np.full(speed.size, idle_pedal)
    position[rest : rest + n] = 0.0 if pedal is None else pedal
    return run_of(
        speed.size, speed_rpm=speed, mdot_maf_kgps=charge * speed * 4e-5,
        p_manifold_pa=np.full(speed.size, 1.5e5), pedal=None if pedal is None else position, **more,
    )  # fmt: skip


def kinds(run: Run) -> list[str]:
    return [s.kind for s in find_segments([run])]


def used(run: Run) -> tuple[float, float]:
    """Return the time span of what is used, from the start of the climb. [s]"""
    (segment,) = find_segments([run])
    at = np.flatnonzero(segment.use)
    return (at[0] - REST) * STEP, (at[-1] - REST) * STEP


@pytest.mark.parametrize(
    ("given", "pull"),
    [
        ({}, True),
        ({"seconds": 2.2, "high": 2600.0}, True),
        ({"seconds": 1.3, "high": 2600.0}, False),                  # too short
        ({"high": 2350.0}, True),
        ({"high": 2250.0}, False),                                  # less than 800 rpm
        ({"low": 4000.0, "high": 5100.0}, True),
        ({"low": 4000.0, "high": 4900.0}, False),                   # less than a quarter
        ({"seconds": 60.0, "high": 3000.0}, False),                 # 25 rpm a second: a hill
        ({"pedal": 0.85}, True),
        ({"pedal": 0.5, "idle_pedal": 0.9}, False),                 # half pedal
        ({"pedal": 0.95, "idle_pedal": 0.9, "load": 0.5}, False),   # a pedal that says nothing
        ({"pedal": 0.95, "idle_pedal": 0.9, "load": 0.9}, True),
        ({"pedal": None}, True),
        ({"pedal": None, "load": 0.75}, True),
        ({"pedal": None, "load": 0.65}, False),                     # part load
        ({"pedal": None, "load": 0.4, "late_load": 0.9}, True),     # boost builds up
        ({"pedal": None, "load": 0.9, "late_load": 0.4}, False),    # backed off
        ({"pedal": 0.5, "idle_pedal": 0.1, "rest": 900}, False),    # lost in a long drive
        ({"pedal": 1.0, "rest": 900}, True),                        # unless floored
    ],
)  # fmt: skip
def test_pull(given: dict[str, float], pull: bool) -> None:
    assert kinds(climb(**given)) == ["pull" if pull else "steady"]  # type: ignore[arg-type]


def test_sensors_get_their_time_to_settle() -> None:
    """0.6 s after speed starts to rise; smoothing of the speed lets it start 0.3 s early."""
    start, end = used(climb())
    assert start == pytest.approx(0.6 - 0.3, abs=0.15)
    assert end == pytest.approx(6.0, abs=0.45)


def test_build_up_of_boost_is_left_out() -> None:
    """Filling of 10 % of the flow for the first 1.5 s; a later blip takes out its own samples."""
    filling = np.zeros(260)
    filling[REST : REST + 15] = 0.1 * 4e-5 * 3500.0
    start, _ = used(climb(mdot_filling_kgps=filling))
    assert start == pytest.approx(1.5, abs=0.11)
    late = filling.copy()
    late[REST + 50 : REST + 53] = 1.0
    (segment,) = find_segments([climb(mdot_filling_kgps=late)])
    assert not segment.use[REST + 50 : REST + 53].any()
    assert segment.use[REST + 20 : REST + 50].all()
    little = np.full(260, 0.05 * 4e-5 * 1500.0)
    assert used(climb(mdot_filling_kgps=little))[0] == used(climb())[0]


def test_each_pull_has_its_label_and_its_run() -> None:
    run = climb()
    (only,) = find_segments([run])
    assert (only.label, only.run) == ("run", run)
    steady = climb(high=1600.0)
    both = find_segments([run, steady])
    assert [(s.kind, s.label) for s in both] == [("steady", "run"), ("steady", "run")]
    assert [s.run for s in both] == [run, steady]


def test_without_air_flow_pressure_is_the_load() -> None:
    pressure = np.full(260, 1.0e5)
    pressure[REST : REST + 60] = 2.0e5
    full = run_of(260, speed_rpm=climb().speed_rpm, p_manifold_pa=pressure)
    assert kinds(full) == ["pull"]
    part = pressure.copy()
    part[5:30] = 3.2e5
    assert kinds(run_of(260, speed_rpm=climb().speed_rpm, p_manifold_pa=part)) == ["steady"]


def test_steady_is_where_speed_and_pressure_rest() -> None:
    """4 % of speed and 6 % of pressure a second."""
    time = STEP * np.arange(400)

    def share(speed_rate: float, pressure_rate: float) -> float:
        run = run_of(
            400, speed_rpm=2000.0 * np.exp(speed_rate * time),
            p_manifold_pa=1.5e5 * np.exp(pressure_rate * time),
            mdot_maf_kgps=np.full(400, 0.05),
        )  # fmt: skip
        return float(np.mean(steady_samples(run)))

    assert share(0.0, 0.0) == 1.0
    assert share(0.035, 0.0) == 1.0
    assert share(0.045, 0.0) == pytest.approx(0.0, abs=0.02)
    assert share(-0.045, 0.0) == pytest.approx(0.0, abs=0.02)
    assert share(0.0, 0.055) == 1.0
    assert share(0.0, 0.07) == pytest.approx(0.0, abs=0.02)


def test_samples_ruled_out_before_stay_out() -> None:
    allowed = np.arange(260) % 2 == 0
    run = climb(high=1600.0, use=allowed)
    np.testing.assert_array_equal(steady_samples(run)[10:90], allowed[10:90])


def test_standing_engine_and_missing_speed_are_not_used() -> None:
    speed = np.full(200, 2000.0)
    speed[50:80] = 0.0
    speed[120:140] = np.nan
    flow = np.full(200, 0.05)
    flow[160:165] = 0.0
    run = run_of(200, speed_rpm=speed, p_manifold_pa=np.full(200, 1.5e5), mdot_maf_kgps=flow)
    got = steady_samples(run)
    assert not got[50:80].any()
    assert not got[120:140].any()
    assert not got[160:165].any()
    assert got[90:110].all()
    assert got[170:].all()
