"""The table of observations: what a cell holds, what is left out, and what it costs."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.arrays import FloatArray
from airsense.estimates.estimate import Estimate
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented, segment
from airsense.evidence.cells import (
    MAX_STRETCHES,
    USUAL_NOISE,
    Cells,
    cut,
    merged,
)
from tests.evidence_inputs import DRY, cells_of, log_of, run_of, shifted

STEP = 0.1


def stretches(residual: FloatArray, *, run: int = 0, kind: Kind = Kind.HOLD) -> Cells:
    """Return stretches of one run at one state, with some ln(MAF) - ln(route) on one route."""
    n = residual.size
    plain = np.zeros(n)
    ln_maf = plain + np.log(0.1)
    return Cells(
        routes=("speed_density",),
        run=np.full(n, run),
        after=np.zeros(n, dtype=bool),
        kind=np.full(n, int(kind)),
        sweep=np.zeros(n, dtype=bool),
        time_s=0.5 * np.arange(n),
        length_s=plain + 0.5,
        ln_maf=ln_maf,
        ln_route=(ln_maf - residual)[None],
        u_noise=np.full((1, n), np.nan),
        speed_rpm=plain + 2000.0,
        p_manifold_pa=plain + 2e5,
        p_ambient_pa=plain + 1e5,
        t_charge_k=plain + 310.0,
        t_inlet_k=plain * np.nan,
        lambda_=plain * np.nan,
        map_slope=plain * np.nan,
        rate_ps=plain,
    )


def joined(*parts: Cells) -> Cells:
    first = parts[0]
    names = [n for n in first.__dataclass_fields__ if n != "routes"]
    return replace(
        first,
        **{n: np.concatenate([getattr(p, n) for p in parts], axis=-1) for n in names},
    )


def test_stretches_of_one_state_are_one_cell_with_their_mean() -> None:
    residual = np.array([0.02, 0.04, 0.03, 0.05])
    got = merged(stretches(residual))
    assert got.size == 1
    assert got.residual[0, 0] == pytest.approx(residual.mean())
    assert got.length_s[0] == pytest.approx(2.0)
    assert got.time_s[0] == pytest.approx(0.75)


def test_states_runs_and_kinds_stay_apart() -> None:
    one = stretches(np.zeros(4))
    faster = replace(one, speed_rpm=one.speed_rpm * 1.2, ln_maf=one.ln_maf + np.log(1.2))
    fuller = replace(one, ln_maf=one.ln_maf + 0.3)
    other = stretches(np.zeros(4), run=1)
    idle = stretches(np.zeros(4), kind=Kind.IDLE)
    assert merged(joined(one, faster, fuller, other, idle)).size == 5
    assert merged(joined(one, one)).size == 1


@given(st.integers(0, 2**31), st.floats(0.005, 0.03))
@settings(max_examples=25, deadline=None)
def test_noise_of_a_mean_is_the_scatter_over_the_root_of_number(seed: int, sigma: float) -> None:
    """Independent stretches: what no number of them averages away is added later."""
    rng = np.random.default_rng(seed)
    n = 400
    got = merged(stretches(rng.normal(0.0, sigma, n)))
    assert got.u_noise[0, 0] == pytest.approx(sigma / np.sqrt(n), rel=0.25)


def test_stretches_that_follow_each_other_alike_are_fewer_looks() -> None:
    """An autoregression of 0.8: nine stretches are one look."""
    rng = np.random.default_rng(5)
    white = rng.normal(0.0, 0.01, 4000)
    slow = white.copy()
    for k in range(1, slow.size):
        slow[k] = 0.8 * slow[k - 1] + white[k]
    slow *= white.std() / slow.std()
    u2 = [float(merged(stretches(x)).u_noise[0, 0]) ** 2 for x in (white, slow)]
    assert u2[1] / u2[0] == pytest.approx(9.0, rel=0.3)


def test_idle_has_a_noise_of_its_own() -> None:
    rng = np.random.default_rng(6)
    laden = stretches(rng.normal(0.0, 0.004, 200))
    idle = stretches(rng.normal(0.0, 0.03, 200), kind=Kind.IDLE)
    got = merged(joined(laden, idle))
    noise = {Kind(int(k)): u for k, u in zip(got.kind, got.u_noise[0], strict=True)}
    assert noise[Kind.IDLE] == pytest.approx(0.03 / np.sqrt(200), rel=0.2)
    assert noise[Kind.HOLD] == pytest.approx(0.004 / np.sqrt(200), rel=0.2)


def test_a_state_seen_once_has_the_usual_noise() -> None:
    got = merged(stretches(np.array([0.01])))
    assert got.u_noise[0, 0] == pytest.approx(USUAL_NOISE)


def test_a_stretch_far_off_the_others_is_left_out() -> None:
    rng = np.random.default_rng(7)
    residual = rng.normal(0.0, 0.004, 60)
    odd = residual.copy()
    odd[30] = 0.8
    assert merged(stretches(odd)).residual[0, 0] == pytest.approx(residual.mean(), abs=5e-4)


def test_two_looks_at_a_few_states_are_not_all_far_off() -> None:
    """States that were seen once say nothing of the scatter within a state."""
    single = [
        replace(stretches(np.array([0.01])), speed_rpm=np.array([2000.0 * 1.2**k]))
        for k in range(8)
    ]
    twice = stretches(np.array([0.02, 0.05]))
    got = merged(joined(twice, *single))
    assert np.isfinite(got.residual[0]).all()


def test_what_no_fault_within_a_run_can_do_is_left_out() -> None:
    """A lambda that is still on its way gives a state that is off by half."""
    rest = [
        replace(stretches(np.array([0.01])), speed_rpm=np.array([2000.0 * 1.2**k]))
        for k in range(6)
    ]
    wild = replace(stretches(np.array([-0.6])), speed_rpm=np.array([1500.0]))
    got = merged(joined(*rest, wild))
    assert np.count_nonzero(np.isfinite(got.residual[0])) == 6


@given(st.floats(-0.3, 0.3))
def test_a_factor_on_the_reading_of_a_run_moves_its_cells_by_as_much(ln_factor: float) -> None:
    """The state keeps its place: cells are cut by what is charged in the run itself."""
    rng = np.random.default_rng(8)
    one = stretches(rng.normal(0.0, 0.004, 40))
    more = replace(one, ln_maf=one.ln_maf + ln_factor)
    moved = merged(more).residual - merged(one).residual
    np.testing.assert_allclose(moved, ln_factor, atol=1e-12)


def test_what_one_route_lacks_is_missing_there_alone() -> None:
    one = stretches(np.full(6, 0.02))
    second = one.ln_route.copy()
    second[0, :3] = np.nan
    two = replace(
        one,
        routes=("speed_density", "fuel_lambda"),
        ln_route=np.concatenate([one.ln_route, second]),
        u_noise=np.full((2, 6), np.nan),
    )
    got = merged(two)
    np.testing.assert_allclose(got.residual[:, 0], 0.02)
    never = replace(two, ln_route=np.concatenate([one.ln_route, np.full((1, 6), np.nan)]))
    assert np.isnan(merged(never).residual[1, 0])


def test_cells_of_some_runs_are_numbered_anew() -> None:
    cells = shifted(cells_of(runs=2), 0.01 * np.arange(32) / 32)
    got = cells.of_runs([1, 3], [False, True])
    np.testing.assert_array_equal(np.unique(got.run), [0, 1])
    np.testing.assert_array_equal(got.after, got.run == 1)
    np.testing.assert_array_equal(got.ln_route, cells.pick(np.isin(cells.run, [1, 3])).ln_route)
    back = cells.of_runs([1, 3], [True, False])
    np.testing.assert_array_equal(back.after, back.run == 0)


def test_no_cells_are_no_error() -> None:
    nothing = stretches(np.zeros(0))
    assert merged(nothing).size == 0
    assert cells_of().of_runs([], []).size == 0


def test_boost_is_never_negative_and_zero_where_unknown() -> None:
    pressure = np.full(48, 0.8e5)
    pressure[0] = np.nan
    cells = cells_of(p_manifold_pa=pressure)
    np.testing.assert_array_equal(cells.boost_pa, 0.0)


# From runs


def driven(seconds: float, *, ln_error: float = 0.05, noise: float = 0.01, seed: int = 1) -> Run:
    """Return a steady hold whose reading is off a route that is exactly 0.1 kg/s."""
    n = round(seconds / STEP)
    rng = np.random.default_rng(seed)
    flow = 0.1 * np.exp(ln_error + rng.normal(0.0, noise, n))
    return run_of(n, speed_rpm=2000.0, mdot_maf_kgps=flow, p_manifold_pa=2.0e5, t_charge_k=310.0)


def cells_from(runs: list[Run], flow: float = 0.1) -> Cells:
    estimates = {
        "speed_density": [
            Estimate(method="speed_density", mdot_kgps=np.full(r.time_s.size, flow), budget=())
            for r in runs
        ]
    }
    cuts = [segment(r) for r in runs]
    return cut(runs, cuts, estimates, [False] * len(runs), [False] * len(runs))


def test_a_hold_becomes_one_cell_with_its_error() -> None:
    got = cells_from([driven(40.0)])
    assert got.size == 1
    assert got.kind[0] == Kind.HOLD
    assert got.residual[0, 0] == pytest.approx(0.05, abs=0.002)
    assert got.speed_rpm[0] == pytest.approx(2000.0)
    assert got.length_s[0] == pytest.approx(40.0, abs=1.0)


def test_each_run_keeps_its_number() -> None:
    got = cells_from([driven(20.0), driven(20.0, ln_error=0.1)])
    by_run = dict(zip(got.run.tolist(), got.residual[0].tolist(), strict=True))
    assert by_run == pytest.approx({0: 0.05, 1: 0.10}, abs=0.003)


def test_a_run_without_the_route_gives_none() -> None:
    assert cells_from([driven(20.0)], flow=np.nan).size == 0


def pulled(count: int) -> Run:
    """Return one log with so many pulls of 6 s, each with 4 s of low load before it."""
    n, rest = 60, 40
    one_speed = np.r_[np.full(rest, 1500.0), np.linspace(1500.0, 3900.0, n)]
    one_load = np.r_[np.full(rest, 0.3), np.ones(n)]
    speed, load = np.tile(one_speed, count), np.tile(one_load, count)
    time = STEP * np.arange(speed.size)
    return Run(
        name="long",
        log=log_of(time, engine_speed=speed),
        time_s=time,
        native_step_s=STEP,
        speed_rpm=speed,
        air=DRY,
        mdot_maf_kgps=4e-5 * load * speed,
        p_manifold_pa=1e5 + 1e5 * load,
        t_charge_k=np.full(speed.size, 310.0),
    )


def table_and_peak(count: int) -> tuple[Cells, Segmented, int]:
    run = pulled(count)
    estimate = Estimate(method="speed_density", mdot_kgps=np.asarray(run.mdot_maf_kgps), budget=())
    tracemalloc.start()
    found = segment(run)
    got = cut([run], [found], {"speed_density": [estimate]}, [False], [True])
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return got, found, peak


def test_many_pulls_in_one_log_cost_memory_in_proportion_and_no_more_cells() -> None:
    """States of a run, not its length, make the table; 600 pulls stay far below a gigabyte."""
    few, cut_few, peak_few = table_and_peak(60)
    many, cut_many, peak_many = table_and_peak(600)
    assert sum(s.kind is Kind.PULL for s in cut_few.segments) == 60
    assert sum(s.kind is Kind.PULL for s in cut_many.segments) == 600
    assert many.size == few.size
    assert many.length_s.sum() == pytest.approx(10.0 * few.length_s.sum(), rel=0.02)
    assert peak_many < 12 * peak_few
    assert peak_many < 2**28


def test_a_day_of_driving_is_cut_into_longer_stretches() -> None:
    """Ten hours at 10 Hz: no more stretches than the table needs."""
    run = driven(36_000.0)
    got = cells_from([run])
    assert got.size == 1
    assert got.residual[0, 0] == pytest.approx(0.05, abs=1e-3)
    assert got.length_s[0] > 0.99 * 36_000.0
    assert got.length_s[0] / MAX_STRETCHES > 0.5
