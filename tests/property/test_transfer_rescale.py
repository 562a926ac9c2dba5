"""Known changes of a sensor, made without the estimator's model, come back in their interval."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri

from airsense.errors import InputError
from airsense.physics.hot_film import KingsLaw
from airsense.transfer.cells import Support
from airsense.transfer.fit import Model
from airsense.transfer.model import SignalKind, TransferTable
from airsense.transfer.rescale import Options, rescale
from airsense.transfer.result import Decision
from tests.bench.tube_changes import ENGINES, Change, make_samples

BOTH = ("speed_density", "fuel_lambda")
PRESSURE_ONLY = ("speed_density",)
DRIVE = {"drive": True, "seconds": 60.0}
CAMPAIGNS = 30


def hot_film_table(top_kgps: float = 0.6, rows: int = 24) -> TransferTable:
    """A table made by King's law, from zero flow up."""
    flow = top_kgps * np.linspace(0.0, 1.0, rows) ** 2.2
    law = KingsLaw(1.0, 24.0 / top_kgps**0.5, 0.5)
    return TransferTable(
        signal=law.voltage_v(flow),
        flow_kgps=flow,
        kind=SignalKind.VOLTAGE,
        flow_unit="kg/s",
        flow_factor=1.0,
    )


TABLE = hot_film_table()


def change_of(scale: float, shape: float = 0.0, top_kgps: float = 0.3) -> Change:
    """A sensor that reads 1 + scale times too high, and by `shape` more at `top_kgps`."""
    return Change(correction=lambda m: -np.log1p(scale + shape * (m / top_kgps - 0.5)))


def true_corrections(change: Change) -> np.ndarray:
    """ln(true/indicated) at the table's flows: the true flow is found by iteration."""
    ln_indicated = np.log(np.maximum(TABLE.flow_kgps, 1e-6))
    true = np.exp(ln_indicated)
    for _ in range(50):
        true = np.exp(ln_indicated + change.correction(true))
    return change.correction(true)


def engine_of(seed: int):
    return list(ENGINES.values())[seed % 3]


def answer(seed: int, change: Change, options: Options | None = None, **how):
    samples = make_samples(engine_of(seed), change, np.random.default_rng(seed), **how)
    return rescale(TABLE, samples, options or Options(max_step=0.25), where="invented")


KINDS = {
    "scale, both routes": (0.0, {"methods": BOTH}),
    "scale, no lambda": (0.0, {"methods": PRESSURE_ONLY}),
    "shape, both routes": (0.08, {"methods": BOTH}),
    "shape, no lambda": (0.08, {"methods": PRESSURE_ONLY}),
    "drive, shape": (0.08, {"methods": BOTH, **DRIVE}),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_measured_breakpoints_are_right_and_their_intervals_cover(kind):
    shape_size, how = KINDS[kind]
    errors, hits = [], []
    for seed in range(CAMPAIGNS):
        rng = np.random.default_rng([7, seed])
        change = change_of(rng.uniform(-0.08, 0.10), rng.uniform(-shape_size, shape_size))
        result = answer(seed, change, **how)
        assert np.all(np.diff([c.flow_new for c in result.cells]) > 0.0)
        truth = np.exp(true_corrections(change))
        rows = [i for i, c in enumerate(result.cells) if c.support is Support.MEASURED]
        assert len(rows) >= 3
        errors += [result.cells[i].wanted / truth[i] - 1.0 for i in rows]
        hits.append(
            np.mean([result.cells[i].low <= truth[i] <= result.cells[i].high for i in rows])
        )
    assert float(np.sqrt(np.mean(np.square(errors)))) <= 0.010
    # breakpoints of a campaign err together, so campaigns count: 95 % less two standard errors
    assert float(np.mean(hits)) >= 0.95 - 2.0 * np.sqrt(0.95 * 0.05 / CAMPAIGNS)


@pytest.mark.parametrize("methods", [BOTH, PRESSURE_ONLY])
def test_no_change_in_is_no_change_out(methods):
    said = [answer(seed, change_of(0.0), methods=methods) for seed in range(20)]
    left = [r for r in said if r.decision is Decision.LEAVE_IT]
    # 95 % intervals: with 20 draws, three or more misses have a chance of 8 %, four of 2 %
    assert len(left) >= 17
    for result in left:
        assert result.scale.contains(1.0)
        assert result.sentence.startswith("Leave it")


def test_a_second_pass_with_the_new_table_has_converged():
    engine, change = engine_of(0), change_of(0.06)
    first = answer(0, change)
    assert first.decision is Decision.CHANGE
    left = 1.06 * first.scale.value - 1.0  # what the new table leaves of the skew
    samples = make_samples(engine, change_of(left), np.random.default_rng(0))
    second = rescale(TABLE, samples, Options(), where="invented")
    assert second.decision is Decision.LEAVE_IT
    assert "converged" in second.sentence


def test_what_is_held_is_never_called_measured():
    result = answer(1, change_of(0.05))
    present = [c for c in result.cells if c.samples > 0]
    low, high = present[0].signal, present[-1].signal
    for cell in result.cells:
        if cell.signal < low or cell.signal > high:
            assert cell.support is Support.HELD
        if cell.support is Support.MEASURED:
            assert cell.samples >= 10
            assert cell.runs >= 1
    assert {c.support for c in result.cells} >= {Support.MEASURED, Support.HELD}


def test_a_shape_returns_to_the_factor_where_data_end():
    result = answer(2, change_of(0.03, 0.10), **DRIVE)
    assert result.model is Model.SHAPE
    lowest = next(c for c in result.cells if c.flow_old > 0.0)
    known = [c for c in result.cells if c.support is Support.MEASURED]
    spread = max(c.wanted for c in known) - min(c.wanted for c in known)
    assert abs(lowest.wanted - result.scale.value) < 0.7 * spread
    assert lowest.high - lowest.low > 1.5 * min(c.high - c.low for c in known)


def test_one_factor_is_one_factor():
    result = answer(3, change_of(-0.07))
    assert result.model is Model.SCALE
    assert max(c.wanted for c in result.cells) - min(c.wanted for c in result.cells) < 1e-9


def test_without_a_baseline_the_interval_is_wide_and_the_text_says_so():
    with_baseline = answer(4, change_of(0.04))
    without = answer(4, change_of(0.04), runs=(0, 3))
    assert without.scale.half_width > 4.0 * with_baseline.scale.half_width
    assert without.scale.half_width > 0.05
    assert "no_baseline" in {f.code for f in without.findings}
    assert "no_baseline" not in {f.code for f in with_baseline.findings}


def test_signals_of_runs_left_out_read_true_through_the_new_table():
    inside = []
    for seed in range(20):
        engine, change = engine_of(seed), change_of(0.05, 0.05)
        samples = make_samples(engine, change, np.random.default_rng(seed), runs=(3, 5))
        fitted = _only(samples, samples.run < 6)
        result = rescale(TABLE, fitted, Options(max_step=0.25), where="invented")
        new = replace(TABLE, flow_kgps=np.array([c.flow_new for c in result.cells]))
        for run in (6, 7):
            out = samples.run == run
            signal = np.interp(np.exp(samples.ln_indicated[out]), TABLE.flow_kgps, TABLE.signal)
            trusted = samples.run < 3
            gaps = []
            for route in samples.routes:
                # the double ratio: the same route against the sensor with the old tube
                own = np.mean(route.ln_flow[trusted] - samples.ln_indicated[trusted])
                gaps.append(np.mean(route.ln_flow[out] - np.log(new.flow_at(signal))) - own)
            u = result.scale.half_width / ndtri(0.975)
            one_run = np.hypot(0.005, 0.003)
            inside.append(abs(np.mean(gaps)) < 2.0 * np.hypot(u, one_run))
    assert np.mean(inside) >= 0.9


def _only(samples, keep):
    arrays = {
        name: getattr(samples, name)[keep]
        for name in (
            "run",
            "present",
            "time_s",
            "ln_indicated",
            "speed_rpm",
            "p_manifold_pa",
            "p_ambient_pa",
        )
    }
    routes = tuple(replace(r, ln_flow=r.ln_flow[keep]) for r in samples.routes)
    return replace(samples, routes=routes, **arrays)


@pytest.mark.parametrize("noise", [0.003, 0.03])
def test_noise_of_the_signal_does_not_tilt_the_table(noise):
    """Noise moves a sample along the axis and against it at once: 3 % would tilt by 9 %."""
    tilts = []
    for seed in range(12):
        result = answer(seed, change_of(0.0), noise=noise, runs=(0, 3), **DRIVE)
        known = [c.wanted for c in result.cells if c.support is Support.MEASURED]
        tilts.append(known[-1] / known[0] - 1.0)
    assert abs(float(np.mean(tilts))) < 0.012


def test_a_large_scatter_of_the_runs_widens_the_interval():
    quiet = answer(5, change_of(0.03))
    samples = make_samples(engine_of(5), change_of(0.03), np.random.default_rng(5))
    rng = np.random.default_rng(1)
    shifts = rng.normal(0.0, 0.03, 6)[samples.run]
    loud = replace(
        samples,
        routes=tuple(replace(r, ln_flow=r.ln_flow + shifts) for r in samples.routes),
    )
    result = rescale(TABLE, loud, Options(), where="invented")
    assert result.scale.half_width > 1.5 * quiet.scale.half_width


def test_copies_of_samples_are_no_evidence():
    samples = make_samples(engine_of(6), change_of(0.03), np.random.default_rng(6))
    order = np.repeat(np.arange(samples.run.size), 5)
    copied = _only(samples, order)
    jitter = np.tile(np.arange(5) * 1e-3, samples.run.size)
    copied = replace(copied, time_s=copied.time_s + jitter)
    one = rescale(TABLE, samples, Options(), where="x")
    five = rescale(TABLE, copied, Options(), where="x")
    assert five.scale.half_width == pytest.approx(one.scale.half_width, rel=0.1)
    measured = [c.support is Support.MEASURED for c in one.cells]
    assert measured == [c.support is Support.MEASURED for c in five.cells]


@pytest.mark.parametrize("skew", [0.18, -0.18])
def test_a_large_step_is_limited_with_a_warning(skew):
    result = answer(7, change_of(skew), Options(max_step=0.10))
    for cell in result.cells:
        assert 1.0 / 1.1 - 1e-9 <= cell.correction <= 1.1 + 1e-9
    assert "step_limited" in {f.code for f in result.findings}
    assert any(abs(c.wanted - 1.0) > 0.11 for c in result.cells)


def test_the_equivalent_bore_is_that_of_the_skew():
    options = Options(bore_before_m=0.080, bore_after_m=0.078, max_step=0.25)
    result = answer(8, change_of((80.0 / 78.0) ** 2 - 1.0), options)
    assert result.equivalent_bore_m.contains(0.078)
    assert result.equivalent_bore_m.half_width < 0.001
    assert "mm" in result.sentence


def test_too_few_samples_are_refused():
    samples = make_samples(engine_of(0), change_of(0.0), np.random.default_rng(0), seconds=1.2)
    few = _only(samples, samples.run < 4)
    with pytest.raises(InputError, match="too few usable samples"):
        rescale(TABLE, few, Options(), where="short.csv")


@settings(max_examples=15, deadline=None)
@given(
    st.integers(0, 10_000),
    st.floats(-0.3, 0.4),
    st.floats(-0.3, 0.3),
    st.floats(0.01, 0.5),
    st.booleans(),
)
def test_the_new_table_keeps_order_and_zero(seed, scale, shape, max_step, drive):
    how = DRIVE if drive else {}
    result = answer(seed, change_of(scale, shape), Options(max_step=max_step), **how)
    flow = np.array([c.flow_new for c in result.cells])
    assert np.all(np.diff(flow) > 0.0)
    assert flow[0] == 0.0
    assert [c.signal for c in result.cells] == list(TABLE.signal)
    for cell in result.cells:
        assert cell.low <= cell.wanted <= cell.high
        if cell.flow_old > 0.0:
            assert cell.correction == pytest.approx(cell.flow_new / cell.flow_old)
