"""Matched full load: changes of run means, what repeats teach, and where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.estimates import maf
from airsense.estimates.defaults import defaults_for
from airsense.estimates.estimate import Estimate, Influence
from airsense.estimates.run import Run
from airsense.estimates.segments import segment
from airsense.evidence.matched import ENGINE_RUN, LnChange, Matched, Sweeps, match
from airsense.setup.engine import Uncertainty
from tests.evidence_inputs import DRY, log_of

SIZES = defaults_for(Uncertainty(), charge_temperature_estimated=False)
STEP = 0.05


def sweep(ln_gain: float = 0.0, *, low: float = 1500.0, high: float = 4000.0, **more: float) -> Run:
    """Return a pull of 8 s; `more` are factors on pressure and fuel."""
    speed = np.linspace(low, high, 160)
    time = STEP * np.arange(speed.size)
    plain = np.ones(speed.size)
    return Run(
        name="sweep",
        log=log_of(time, engine_speed=speed),
        time_s=time,
        native_step_s=STEP,
        speed_rpm=speed,
        air=DRY,
        mdot_maf_kgps=5e-5 * speed * np.exp(ln_gain),
        p_manifold_pa=2e5 * plain * more.get("pressure", 1.0),
        t_charge_k=310.0 * plain,
        mdot_fuel_kgps=2.5e-6 * speed * more.get("fuel", 1.0),
    )


def given(runs: list[Run], **more: object) -> Sweeps:
    estimates = {
        "speed_density": [
            Estimate(method="speed_density", mdot_kgps=5e-5 * r.speed_rpm, budget=()) for r in runs
        ]
    }
    return Sweeps(
        runs=runs,
        cuts=[segment(r) for r in runs],
        is_sweep=[True] * len(runs),
        estimates=estimates,
        sizes=SIZES,
        **more,  # type: ignore[arg-type]
    )


def matched(before: list[Run], after: list[Run], **more: object) -> Matched:
    runs = [*before, *after]
    found = match(
        given(runs, **more), range(len(runs)), [k >= len(before) for k in range(len(runs))]
    )
    assert found is not None
    return found


def test_a_change_of_all_speeds_is_the_change() -> None:
    got = matched([sweep()] * 3, [sweep(0.05)] * 3)
    change = got.indicated()
    assert change.value == pytest.approx(0.05, abs=1e-9)
    np.testing.assert_allclose(got.indicated_by_bin(), 0.05, atol=1e-9)
    assert change.interval().contains(np.expm1(0.05))
    assert got.route("speed_density", ()).value == pytest.approx(0.0, abs=1e-9)
    assert got.weights.sum() == pytest.approx(0.0)


def test_more_runs_know_more_and_a_drift_does_not_average() -> None:
    one, three = matched([sweep()], [sweep(0.05)]), matched([sweep()] * 3, [sweep(0.05)] * 3)
    assert three.indicated().u < one.indicated().u / 1.6
    drift = Influence(key="k", label="k", absolute=0.05, run=0.0, between=0.02)
    by_route = [m.route("speed_density", (drift,)).u for m in (one, three)]
    assert min(by_route) > 0.02


def test_repeats_that_scatter_widen_and_repeats_that_agree_narrow() -> None:
    agree = matched([sweep()] * 3, [sweep(0.05)] * 3).indicated()
    apart = matched(
        [sweep(0.03), sweep(-0.03), sweep()], [sweep(0.08), sweep(0.02), sweep(0.05)]
    ).indicated()
    assert apart.value == pytest.approx(agree.value)
    assert apart.u > 2.0 * agree.u
    assert agree.dof == apart.dof > 4.0


def test_one_run_each_rests_on_what_was_declared() -> None:
    got = matched([sweep()], [sweep(0.05)]).indicated()
    expected = np.hypot(ENGINE_RUN, SIZES.mass_air_flow.run) * np.sqrt(2.0)
    assert got.u == pytest.approx(expected)
    assert got.dof == pytest.approx(4.0)


def test_an_interval_is_students() -> None:
    change = LnChange(value=0.0, u=0.01, dof=4.0)
    got = change.interval()
    assert np.log1p(got.high) == pytest.approx(2.776 * 0.01, rel=1e-3)
    assert np.log1p(got.low) == pytest.approx(-2.776 * 0.01, rel=1e-3)
    draws = change.draw(40_000, np.random.default_rng(1))
    assert np.quantile(draws, 0.975) == pytest.approx(0.02776, rel=0.05)


def test_states_change_beside_the_air() -> None:
    got = matched([sweep()], [sweep(pressure=1.04, fuel=1.07)])
    fuel, pressure = (
        got.state(n, run=0.003, between=0.003) for n in ("mdot_fuel_kgps", "p_manifold_pa")
    )
    assert fuel is not None
    assert pressure is not None
    assert fuel.value == pytest.approx(np.log(1.07))
    assert pressure.value == pytest.approx(np.log(1.04))
    assert got.state("wheel_power_w", run=0.01) is None
    assert got.level("p_manifold_pa", after=True) == pytest.approx(2.08e5)
    assert np.isnan(got.level("depression_pa", after=True))


def test_a_state_that_one_repeat_lacks_is_not_compared() -> None:
    lacking = replace(sweep(), mdot_fuel_kgps=None)
    assert matched([sweep(), lacking], [sweep()]).state("mdot_fuel_kgps", run=0.01) is None


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ([sweep(high=2400.0)], [sweep(low=2500.0)]),
        ([], [sweep()]),
        ([sweep()], []),
    ],
)
def test_without_a_shared_window_there_is_no_match(before: list[Run], after: list[Run]) -> None:
    runs = [*before, *after]
    is_after = [k >= len(before) for k in range(len(runs))]
    assert match(given(runs), range(len(runs)), is_after) is None


def test_runs_that_are_no_sweeps_do_not_count_and_stop_nothing() -> None:
    runs = [sweep(), sweep(0.2), sweep(0.05)]
    sweeps = replace(given(runs), is_sweep=[True, False, True])
    got = match(sweeps, range(3), [False, False, True])
    assert got is not None
    assert got.run_of == (0, 2)
    assert got.indicated().value == pytest.approx(0.05, abs=1e-9)


def test_a_window_may_be_asked_for() -> None:
    got = matched([sweep()], [sweep(0.05)], wanted_rpm=(2000.0, 3000.0))
    low, high = got.window_rpm
    assert (low, high) == pytest.approx((2000.0, 3000.0))
    assert np.all((got.speed_rpm > 2000.0) & (got.speed_rpm < 3000.0))
    assert (
        match(given([sweep(), sweep()], wanted_rpm=(6000.0, 7000.0)), [0, 1], [False, True]) is None
    )


def test_the_reading_of_the_sensor_is_what_indicated_means() -> None:
    got = matched([sweep()], [sweep(0.05)])
    centres = got.speed_rpm
    np.testing.assert_allclose(
        got.table.ln[maf.METHOD][0, got.filled], np.log(5e-5 * centres), atol=2e-4
    )


def asked(own: float, *, gain: float = 1.0, spool_up: float = 0.0) -> Run:
    """Return a pull whose demand falls with speed; the pressure keeps a share `own` of its own."""
    run = sweep()
    demand = 2.6e5 - 20.0 * (run.speed_rpm - 1500.0)
    low = np.where(run.speed_rpm < 2200.0, 1.0 - spool_up, 1.0)
    pressure = gain * 0.96 * demand * low * (run.speed_rpm / 3000.0) ** own
    return replace(run, p_demand_pa=demand, p_manifold_pa=pressure)


def test_a_pressure_that_keeps_its_ratio_to_the_demand_follows_it() -> None:
    follows = matched([asked(0.0, spool_up=0.2)] * 2, [asked(0.0, spool_up=0.2)] * 2)
    assert follows.follows_demand() is True, "on the way up no control has its pressure yet"
    freed = matched([asked(0.0)] * 2, [asked(0.0, gain=1.05)] * 2)
    assert freed.follows_demand() is True, "an intake may move the ratio as a whole"
    own_curve = matched([asked(0.0)] * 2, [asked(0.5)] * 2)
    assert own_curve.follows_demand() is False, "either configuration may show it"
    assert matched([sweep()] * 2, [sweep()] * 2).follows_demand() is None
    narrow = [asked(0.0)] * 2
    assert matched(narrow, narrow, wanted_rpm=(2000.0, 2400.0)).follows_demand() is None
