"""What was driven: still, idle, overrun, pulls, holds and drive, one criterion at a time."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segment, segment
from tests.evidence_inputs import run_of

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


def pulls(run: Run) -> list[Segment]:
    return [s for s in segment(run).segments if s.kind is Kind.PULL]


def used(run: Run) -> tuple[float, float]:
    """Return the time span of what is used of the pull, from the start of the climb. [s]"""
    found = segment(run)
    at = np.flatnonzero(found.use & (found.kind == Kind.PULL))
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
        ({"pedal": 0.4, "idle_pedal": 0.0}, False),                 # less than half
        ({"pedal": 1.0, "rest": 900}, True),                        # in a long drive
    ],
)  # fmt: skip
def test_pull(given: dict[str, float], pull: bool) -> None:
    assert len(pulls(climb(**given))) == int(pull)  # type: ignore[arg-type]


def test_sensors_get_their_time_to_settle() -> None:
    """0.6 s after speed starts to rise; smoothing of the speed lets it start 0.3 s early."""
    start, end = used(climb())
    assert start == pytest.approx(0.6 - 0.3, abs=0.15)
    assert end == pytest.approx(6.0, abs=0.45)


def test_only_what_is_driven_with_the_pedal_down_is_full_load() -> None:
    """The foot comes down over the first 2 s of 6, and lifts for half a second in between."""
    pedal = climb().pedal
    assert pedal is not None
    pedal = pedal.copy()
    pedal[REST : REST + 20] = np.linspace(0.4, 0.93, 20)
    pedal[REST + 40 : REST + 45] = 0.9
    found = segment(replace(climb(), pedal=pedal))
    full = found.full[REST : REST + 60]
    down = np.ones(60, dtype=bool)
    down[:20] = down[40:45] = False
    # From then on sensors have 0.6 s to follow.
    down[20:26] = down[45:51] = False
    np.testing.assert_array_equal(full, down)
    assert found.use[REST + 10 : REST + 20].all(), (
        "good enough to hold two flows against each other"
    )
    assert segment(climb(pedal=None)).full.all()
    assert segment(climb(pedal=0.95, idle_pedal=0.9)).full.all(), "a pedal that hardly moves"


def test_build_up_of_boost_is_left_out() -> None:
    """Filling of 10 % of the flow for the first 1.5 s; a later blip takes out its own samples."""
    filling = np.zeros(260)
    filling[REST : REST + 15] = 0.1 * 4e-5 * 3500.0
    start, _ = used(climb(mdot_filling_kgps=filling))
    assert start == pytest.approx(1.5, abs=0.11)
    late = filling.copy()
    late[REST + 50 : REST + 53] = 1.0
    found = segment(climb(mdot_filling_kgps=late))
    assert not found.use[REST + 50 : REST + 53].any()
    assert found.use[REST + 20 : REST + 50].all()
    little = np.full(260, 0.05 * 4e-5 * 1500.0)
    assert used(climb(mdot_filling_kgps=little))[0] == used(climb())[0]


def test_without_air_flow_pressure_is_the_load() -> None:
    pressure = np.full(260, 1.0e5)
    pressure[REST : REST + 60] = 2.0e5
    full = run_of(260, speed_rpm=climb().speed_rpm, p_manifold_pa=pressure)
    assert len(pulls(full)) == 1
    part = pressure.copy()
    part[5:30] = 3.2e5
    assert pulls(run_of(260, speed_rpm=climb().speed_rpm, p_manifold_pa=part)) == []


# Quasi-steady driving


def steady(speed_rate: float, pressure_rate: float) -> float:
    """Return the share of a drive that is used while speed and pressure move. [1/s]"""
    time = STEP * np.arange(400)
    run = run_of(
        400,
        speed_rpm=2000.0 * np.exp(speed_rate * time),
        p_manifold_pa=1.5e5 * np.exp(pressure_rate * time),
        mdot_maf_kgps=np.full(400, 0.05),
    )
    return float(np.mean(segment(run).use))


def test_steady_is_where_speed_and_pressure_rest() -> None:
    """4 % of speed and 6 % of pressure a second."""
    assert steady(0.0, 0.0) > 0.98
    assert steady(-0.035, 0.0) > 0.98
    assert steady(-0.045, 0.0) < 0.02
    assert steady(0.0, 0.055) > 0.98
    assert steady(0.0, 0.07) < 0.02


def test_sensors_settle_after_a_fast_change() -> None:
    speed = np.full(200, 2000.0)
    speed[80:90] = np.linspace(2000.0, 2500.0, 10)
    speed[90:] = 2500.0
    run = run_of(
        200, speed_rpm=speed, p_manifold_pa=np.full(200, 1.5e5), mdot_maf_kgps=np.full(200, 0.05)
    )
    use = segment(run).use
    assert use[20:75].all()
    assert not use[82:96].any()
    assert use[105:].all()


def test_standing_engine_and_missing_speed_are_not_used() -> None:
    speed = np.full(200, 2000.0)
    speed[50:80] = 0.0
    speed[120:140] = np.nan
    flow = np.full(200, 0.05)
    flow[160:165] = 0.0
    run = run_of(200, speed_rpm=speed, p_manifold_pa=np.full(200, 1.5e5), mdot_maf_kgps=flow)
    found = segment(run)
    for nothing in (slice(50, 80), slice(120, 140), slice(160, 165)):
        assert not found.use[nothing].any()
    assert found.use[95:110].all()
    assert found.use[180:].all()
    assert np.all(found.kind[50:80] == Kind.STILL)


# What every sample belongs to


def day(*, pedal: bool = True, fuel: bool = False) -> Run:
    """Return still 4 s, idle 6 s, drive 10 s, a pull 6 s, overrun 5 s, a hold 8 s."""
    n = [round(s / STEP) for s in (4, 6, 10, 6, 5, 8)]
    speed = np.concatenate([
        np.zeros(n[0]), np.full(n[1], 820.0), 2000.0 + 250.0 * np.sin(np.arange(n[2]) / 6.0),
        np.linspace(1500.0, 3800.0, n[3]), np.linspace(3700.0, 2400.0, n[4]),
        np.full(n[5], 2500.0),
    ])  # fmt: skip
    load = np.repeat([0.0, 0.35, 0.5, 1.0, 0.4, 0.9], n)
    position = np.repeat([0.0, 0.0, 0.4, 1.0, 0.0, 0.8], n)
    pressure = np.repeat([0.99e5, 1.0e5, 1.5e5, 2.2e5, 1.0e5, 2.0e5], n)
    flow = np.where(speed > 0.0, load * speed * 4e-5, 1e-9)
    burnt = np.where(position > 0.0, flow / 25.0, 0.0)
    burnt[n[0] : n[0] + n[1]] = 2e-4
    return run_of(
        speed.size,
        speed_rpm=speed,
        mdot_maf_kgps=flow,
        p_manifold_pa=pressure,
        p_ambient_pa=1.0e5,
        pedal=position if pedal else None,
        mdot_fuel_kgps=burnt if fuel else None,
    )


def kinds_at(run: Run, *seconds: float) -> list[Kind]:
    found = segment(run)
    return [Kind(int(found.kind[round(s / STEP)])) for s in seconds]


@pytest.mark.parametrize("fuel", [False, True])
def test_each_part_of_a_day_has_its_kind(fuel: bool) -> None:
    got = kinds_at(day(fuel=fuel), 2.0, 7.0, 15.0, 23.0, 29.0, 35.0)
    assert got == [Kind.STILL, Kind.IDLE, Kind.DRIVE, Kind.PULL, Kind.OVERRUN, Kind.HOLD]


def test_without_pedal_and_fuel_there_is_no_overrun() -> None:
    assert Kind.OVERRUN not in {s.kind for s in segment(day(pedal=False)).segments}


def test_every_sample_stands_in_one_stretch_and_what_is_not_used_says_why() -> None:
    run = day()
    found = segment(run)
    edges = [(s.first, s.stop) for s in found.segments]
    assert edges[0][0] == 0
    assert edges[-1][1] == run.time_s.size
    assert all(a[1] == b[0] for a, b in itertools.pairwise(edges))
    for s in found.segments:
        assert np.all(found.kind[s.samples] == s.kind)
        assert s.used is not bool(s.reason)
        assert s.start_s == pytest.approx(run.time_s[s.first])
        assert s.stop_s == pytest.approx(run.time_s[s.stop - 1])
        if s.kind is not Kind.STILL:
            assert s.used == bool(found.use[s.samples].any())
    assert {s.kind.word for s in found.of(Kind.PULL, Kind.HOLD)} == {"pull", "hold"}


@pytest.mark.parametrize(
    ("seconds", "pressure", "reason"),
    [
        (5.0, True, ""),
        (0.5, True, "too short"),
        (5.0, False, "no manifold pressure to hold against the barometer"),
    ],
)
def test_a_standing_engine_counts_where_it_stood_and_pressure_was_logged(
    seconds: float, pressure: bool, reason: str
) -> None:
    n = round(seconds / STEP)
    speed = np.r_[np.zeros(n), np.full(100, 820.0)]
    run = run_of(
        speed.size,
        speed_rpm=speed,
        mdot_maf_kgps=1e-9 + 1e-5 * speed,
        p_manifold_pa=np.full(speed.size, 1e5) if pressure else None,
    )
    (still,) = [s for s in segment(run).segments if s.kind is Kind.STILL]
    assert (still.used, still.reason) == (not reason, reason)


def test_a_stretch_that_never_settles_says_so() -> None:
    time = STEP * np.arange(100)
    run = run_of(
        100,
        speed_rpm=2000.0 + 400.0 * np.sin(2.0 * time),
        p_manifold_pa=np.full(100, 1.5e5),
        mdot_maf_kgps=np.full(100, 0.05),
    )
    assert {s.reason for s in segment(run).segments} <= {
        "",
        "speed or pressure moves too fast",
        "too short for the sensors to settle",
    }
    assert not segment(run).use[30:70].all()
    filling = np.full(260, 1.0)
    (pull,) = pulls(climb(mdot_filling_kgps=filling))
    assert (pull.used, pull.reason) == (False, "boost is still building up")


def test_a_hold_keeps_its_speed_and_needs_load() -> None:
    def of(spread: float, load: float) -> Kind:
        n, rest = 100, 60
        wave = np.tile([1.0, -1.0], n // 2)
        speed = np.r_[np.linspace(1300.0, 1900.0, rest), 2500.0 * (1.0 + spread * wave)]
        share = np.r_[np.ones(rest), np.full(n, load)]
        run = run_of(speed.size, speed_rpm=speed, mdot_maf_kgps=4e-5 * share * speed)
        return Kind(int(segment(run).kind[rest + 50]))

    assert of(0.003, 0.9) is Kind.HOLD
    assert of(0.03, 0.9) is not Kind.HOLD
    assert of(0.003, 0.4) is not Kind.HOLD


def test_a_laden_engine_at_idle_speed_does_not_idle() -> None:
    def of(load: float, pressure_pa: float) -> Kind:
        n = 100
        speed = np.r_[np.full(n, 900.0), np.full(n, 3000.0)]
        share = np.r_[np.full(n, load), np.ones(n)]
        p = np.r_[np.full(n, pressure_pa), np.full(n, 2e5)]
        run = run_of(
            2 * n, speed_rpm=speed, mdot_maf_kgps=4e-5 * share * speed, p_manifold_pa=p,
            p_ambient_pa=1e5,
        )  # fmt: skip
        return Kind(int(segment(run).kind[50]))

    assert of(0.4, 1.0e5) is Kind.IDLE
    assert of(0.8, 1.0e5) is not Kind.IDLE
    assert of(0.4, 1.4e5) is not Kind.IDLE


def test_a_gap_in_the_grid_cuts_a_stretch() -> None:
    run = day()
    late = replace(run, time_s=np.where(np.arange(run.time_s.size) < 350, 0.0, 60.0) + run.time_s)
    before, after = len(segment(run).segments), len(segment(late).segments)
    assert after == before + 1
