"""Bins of engine speed: means at the centre, what is missing, the window that runs share."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.estimates.run import Run
from airsense.evidence.bins import Repeat, bin_runs, common_window
from tests.evidence_inputs import DRY, log_of


def sweep(low: float = 1500.0, high: float = 3500.0, n: int = 400, step: float = 0.05) -> Repeat:
    time = step * np.arange(n)
    run = Run(
        name="run", log=log_of(time, engine_speed=2000.0), time_s=time, native_step_s=step,
        speed_rpm=np.linspace(low, high, n), air=DRY,
    )  # fmt: skip
    return Repeat(run=run, use=np.ones(n, dtype=bool), label="run")


def flow(segment: Repeat, exponent: float = 1.3) -> FloatArray:
    return exponent * np.log(segment.run.speed_rpm / 2000.0) - 2.0


def test_bin_means_are_values_at_the_centre_whatever_part_of_the_bin_was_sampled() -> None:
    """ln(flow) straight in ln(speed) is recovered exactly, also where a run skips half a bin."""
    full, gappy = sweep(), sweep()
    gappy.use[(gappy.run.speed_rpm % 400.0) < 120.0] = False
    table = bin_runs([full, gappy], {"a": [flow(full), flow(gappy)]}, {}, (1600.0, 3400.0))
    wanted = 1.3 * np.log(table.centre_rpm / 2000.0) - 2.0
    np.testing.assert_allclose(table.ln["a"], [wanted, wanted], atol=1e-9)
    np.testing.assert_allclose(table.centre_rpm, np.arange(1700.0, 3400.0, 200.0))
    np.testing.assert_allclose(table.edges_rpm, np.arange(1600.0, 3401.0, 200.0))
    assert table.n_bins == 9
    assert table.labels == ("run", "run")


def test_a_few_noisy_samples_at_an_edge_of_a_bin_set_no_slope() -> None:
    """Three samples within 3 rpm, 1 % apart: the bin's mean stays within their scatter."""
    one = sweep(n=4000, step=0.005)
    one.use[(one.run.speed_rpm > 1601.5) & (one.run.speed_rpm < 1800.0)] = False
    value = flow(one)
    at_edge = np.flatnonzero(one.use & (one.run.speed_rpm >= 1600.0))[:3]
    value[at_edge] += (0.01, 0.0, -0.01)
    table = bin_runs([one], {"a": [value]}, {}, (1600.0, 3400.0))
    assert table.samples[0, 0] == 3
    assert abs(table.ln["a"][0, 0] - flow(one)[at_edge[1]]) < 0.02


def test_samples_are_counted_and_thin_bins_left_empty() -> None:
    one = sweep()
    one.use[(one.run.speed_rpm > 2000.0) & (one.run.speed_rpm < 2190.0)] = False
    table = bin_runs([one], {"a": [flow(one)]}, {}, (1600.0, 3400.0))
    inside = (one.run.speed_rpm >= 1600.0) & (one.run.speed_rpm <= 3400.0) & one.use
    assert table.samples.sum() == np.count_nonzero(inside)
    assert table.samples[0, 2] < 3
    assert np.isnan(table.ln["a"][0, 2])
    assert np.isfinite(np.delete(table.ln["a"][0], 2)).all()


def test_what_one_route_lacks_costs_the_other_nothing() -> None:
    one = sweep()
    lacking = flow(one)
    lacking[130:200] = np.nan
    table = bin_runs([one], {"a": [flow(one)], "b": [lacking]}, {}, (1600.0, 3400.0))
    alone = bin_runs([one], {"a": [flow(one)]}, {}, (1600.0, 3400.0))
    np.testing.assert_array_equal(table.ln["a"], alone.ln["a"])
    known = np.isfinite(table.ln["b"])
    assert 0 < np.count_nonzero(~known) < table.n_bins
    np.testing.assert_allclose(table.ln["b"][known], table.ln["a"][known], atol=1e-9)


def test_states_are_plain_means_and_nan_where_not_logged() -> None:
    one = sweep()
    pressure = one.run.speed_rpm * 100.0
    pressure[::2] = np.nan
    table = bin_runs([one], {"a": [flow(one)]}, {"p": [pressure], "t": [None]}, (1600, 3400))
    np.testing.assert_allclose(table.state["p"][0], 100.0 * table.centre_rpm, rtol=3e-3)
    assert np.isnan(table.state["t"]).all()
    missing = np.where(one.run.speed_rpm < 1800.0, np.nan, 1.0)
    gap = bin_runs([one], {"a": [flow(one)]}, {"p": [missing]}, (1600, 3400)).state["p"][0]
    assert np.isnan(gap[0])
    np.testing.assert_array_equal(gap[1:], 1.0)


@pytest.mark.parametrize(
    ("n", "window", "bins"),
    [
        (400, (1600.0, 3400.0), 9),   # 200 rpm each
        (400, (1600.0, 1800.0), 3),   # never below three
        (4000, (0.0, 6000.0), 16),    # never above sixteen
        (40, (1600.0, 3400.0), 6),    # six samples a bin of the shortest run at least
    ],
)  # fmt: skip
def test_number_of_bins(n: int, window: tuple[float, float], bins: int) -> None:
    one = sweep(n=n, low=max(window[0] - 1, 1), high=window[1] + 1) if n == 4000 else sweep(n=n)
    assert bin_runs([one], {"a": [flow(one)]}, {}, window).n_bins == bins


def test_common_window_is_what_all_runs_cover() -> None:
    """One hundredth of the samples at each end of a pull may be cut."""
    low, high = common_window([sweep(1500, 3500), sweep(1700, 3900)], None)
    assert low == pytest.approx(1700 + 0.01 * 2200, abs=1.0)
    assert high == pytest.approx(3500 - 0.01 * 2000, abs=1.0)
    assert common_window([sweep()], (2000.0, 9000.0)) == pytest.approx((2000.0, 3480.0), abs=1.0)


@pytest.mark.parametrize("wanted", [None, (4000.0, 5000.0), (2000.0, 2100.0)])
def test_runs_that_share_no_window_have_none(wanted: tuple[float, float] | None) -> None:
    """It stops nothing: there is no matched full load then."""
    runs = [sweep(1500, 2000), sweep(2100, 3500)] if wanted is None else [sweep()]
    assert common_window(runs, wanted) is None


def test_a_run_without_usable_samples_takes_no_part() -> None:
    one, nothing = sweep(), sweep()
    nothing.use[:] = False
    assert common_window([nothing], None) is None
    assert common_window([one, nothing], None) == common_window([one], None)
