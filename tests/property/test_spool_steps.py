"""Load steps and the build-up of boost against first-order steps of known time constant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.estimates.defaults import Defaults, defaults_for
from airsense.estimates.load_steps import AFTER_STEP_S, crossing, load_steps
from airsense.estimates.run import Run
from airsense.evidence.spool_up import (
    LevelVerdict,
    Rise,
    SpoolUp,
    SpoolVerdict,
    TimeRow,
    Trace,
    spool_up,
)
from airsense.logs.log import Channel, Log
from airsense.setup.engine import Uncertainty

STEP_S = 0.05
START_S, END_S = 3.0, 11.0
SIZES: Defaults = defaults_for(Uncertainty(), charge_temperature_estimated=False)


def step_run(
    tau_s: float,
    *,
    start_s: float = START_S,
    rise_pa: float = 140e3,
    speed_rpm: float = 1500.0,
    gain: float = 1.0,
    noise_pa: float = 0.0,
    seed: int = 0,
    shown_by: str = "pedal",
    sample_s: float = STEP_S,
) -> Run:
    """Return a run whose boost answers a pedal step at constant speed as a first-order lag."""
    time = np.arange(0.0, 13.0, STEP_S)
    own = np.arange(0.0, 13.0, sample_s)
    down = (time >= start_s) & (time <= END_S)

    def pressure(t: np.ndarray) -> np.ndarray:
        late = np.clip(t - start_s, 0.0, END_S - start_s)
        gone = np.where(t > END_S, np.exp(-(t - END_S) / 0.2), 1.0)
        return 110e3 + rise_pa * (1.0 - np.exp(-late / tau_s)) * gone

    rng = np.random.default_rng(seed)
    logged = gain * (pressure(own) + rng.normal(0.0, noise_pa, own.size))
    channels = {
        "manifold_pressure": Channel(
            name="manifold_pressure", header="p", unit_read="Pa", time_s=own, value=logged
        )
    }
    throttle = np.where(down, 0.95, 0.2)
    if shown_by == "throttle":
        channels["throttle"] = Channel(
            name="throttle", header="t", unit_read="", time_s=time, value=throttle
        )
    return Run(
        name="run",
        log=Log(path="run", reader="test", sha256="", channels=channels),
        time_s=time,
        speed_rpm=np.full(time.size, speed_rpm),
        native_step_s=sample_s,
        p_manifold_pa=np.interp(time, own, logged),
        pedal=np.where(down, 1.0, 0.3) if shown_by == "pedal" else None,
        power_w=pressure(time) * 0.5,
    )


def traced(run: Run, u_between: float = 0.004) -> Trace:
    assert run.p_manifold_pa is not None
    return Trace(run=run, mdot_kgps=run.p_manifold_pa * 4e-7, method="speed_density",
                 u_between=u_between)  # fmt: skip


def several(tau_s: float, *, n: int = 3, seed: int = 0, **how: object) -> list[Trace]:
    rng = np.random.default_rng(seed)
    return [
        traced(
            step_run(
                tau_s * (1.0 + 0.02 * rng.standard_normal()),
                start_s=START_S + 0.2 * rng.random(),
                noise_pa=300.0,
                seed=100 * seed + k,
                **how,
            )
        )
        for k in range(n)
    ]


def row(result: SpoolUp, share: float, rise: Rise = Rise.OWN) -> TimeRow:
    (found,) = [r for r in result.times if r.share_of_rise == share and r.rise is rise]
    return found


def exact_s(tau_s: float, share: float) -> float:
    """Time to a share of the rise that is reached six seconds after the step."""
    return -tau_s * float(np.log(1.0 - share * (1.0 - np.exp(-AFTER_STEP_S / tau_s))))


@settings(max_examples=30, deadline=None)
@given(tau=st.floats(0.3, 2.5), share=st.sampled_from([0.5, 0.9]))
def test_times_of_a_first_order_step_are_the_analytic_ones(tau: float, share: float) -> None:
    name, ((step,),) = load_steps([step_run(tau)])
    assert name == "pedal"
    level = step.p_start_pa + share * step.rise_pa
    # The step is seen between two samples, and the pressure over five of them.
    assert step.time_to_s(level) == pytest.approx(exact_s(tau, share), abs=0.06)


@pytest.mark.parametrize(("shown_by", "late"), [("throttle", 0.0), ("boost", 0.05)])
def test_other_channels_show_the_step_too(shown_by: str, late: float) -> None:
    tau = 1.2
    name, ((step,),) = load_steps([step_run(tau, shown_by=shown_by)])
    assert name == {"throttle": "throttle", "boost": "boost_rise"}[shown_by]
    # Seen by the boost itself, the step is late by the time to 5 % of the rise.
    missing = exact_s(tau, late) if late else 0.0
    assert step.start_s == pytest.approx(START_S + missing, abs=0.06)


def test_the_quicker_of_two_is_called_quicker_and_the_other_slower() -> None:
    slow, quick = several(1.2, seed=1), several(0.9, seed=2)
    there, back = spool_up(slow, quick, SIZES), spool_up(quick, slow, SIZES)
    assert there is not None
    assert back is not None
    assert there.verdict is SpoolVerdict.QUICKER
    assert back.verdict is SpoolVerdict.SLOWER
    for share in (0.5, 0.9):
        found = row(there, share)
        assert found.difference_s.contains(exact_s(0.9, share) - exact_s(1.2, share))
        assert found.before_s.contains(exact_s(1.2, share))
        assert found.after_s.contains(exact_s(0.9, share))
    assert there.sentence.startswith("Quicker")
    assert (there.repeats_before, there.repeats_after) == (3, 3)


def test_the_same_is_not_resolved() -> None:
    result = spool_up(several(1.2, seed=3), several(1.2, seed=4), SIZES)
    assert result is not None
    assert result.verdict is SpoolVerdict.NOT_RESOLVED
    assert "not resolved" in result.sentence


def test_a_single_repeat_resolves_nothing_however_large_the_difference() -> None:
    result = spool_up(several(2.0, n=1, seed=5), several(0.5, n=3, seed=6), SIZES)
    assert result is not None
    assert result.verdict is SpoolVerdict.NOT_RESOLVED
    assert np.isnan(row(result, 0.9).difference_s.low)
    assert "single repeat" in result.sentence


def test_identical_repeats_are_no_surer_than_their_sampling() -> None:
    # Repeats that agree to the digit, logged twice a second: the clock hides 0.3 s.
    def alike(tau: float) -> list[Trace]:
        return [traced(step_run(tau, sample_s=0.5)) for _ in range(3)]

    result = spool_up(alike(1.2), alike(1.15), SIZES)
    assert result is not None
    assert result.verdict is SpoolVerdict.NOT_RESOLVED
    assert row(result, 0.5).difference_s.half_width > 0.3


def verdicts(count: int, seed: int, **how: float) -> list[SpoolUp]:
    """Compare repeats of one turbo with others of the same turbo, of which something differs."""
    found = []
    for k in range(count):
        result = spool_up(
            several(1.2, seed=seed + k), several(1.2, seed=7000 + seed + k, **how), SIZES
        )
        assert result is not None
        found.append(result)
    return found


def test_more_boost_alone_is_neither_quicker_nor_slower() -> None:
    # The same turbo with a higher target is sooner at the old boost, but not at its own.
    found = verdicts(40, seed=100, rise_pa=170e3)
    baseline = [row(r, 0.9, Rise.BASELINE).verdict for r in found]
    assert set(baseline) == {SpoolVerdict.QUICKER}
    assert any("a changed boost target" in r.sentence for r in found)
    # One tail of 95 % intervals: 1 of 40 on average.
    assert sum(r.verdict is not SpoolVerdict.NOT_RESOLVED for r in found) <= 4


def test_a_drifted_pressure_sensor_is_neither_quicker_nor_slower() -> None:
    found = verdicts(40, seed=200, gain=0.8)
    assert sum(r.verdict is not SpoolVerdict.NOT_RESOLVED for r in found) <= 4


def test_steps_at_other_speeds_do_not_compare() -> None:
    result = spool_up(several(1.2, seed=11), several(0.8, seed=12, speed_rpm=1650.0), SIZES)
    assert result is not None
    assert result.verdict is SpoolVerdict.NOT_RESOLVED
    assert "not the same test" in result.sentence
    assert all(r.verdict is LevelVerdict.NOT_RESOLVED for r in result.levels)


def test_levels_at_fixed_times_follow_the_boost() -> None:
    result = spool_up(several(1.2, seed=13), several(0.9, seed=14), SIZES)
    assert result is not None
    air = [r for r in result.levels if r.quantity == "mass_air_flow"]
    assert [r.time_s for r in air] == [1.0, 2.0, 3.0]
    for r in air:
        expected = [110e3 + 140e3 * (1.0 - np.exp(-r.time_s / tau)) for tau in (1.2, 0.9)]
        assert r.before == pytest.approx(4e-7 * expected[0], rel=0.02)
        assert r.change.contains(expected[1] / expected[0] - 1.0)
    assert air[0].verdict is LevelVerdict.HIGHER
    assert {r.quantity for r in result.levels} == {"mass_air_flow", "brake_power"}


def test_the_sensor_under_test_resolves_no_level() -> None:
    old = [replace(t, method="mass_air_flow", u_between=float("inf")) for t in several(1.2, seed=1)]
    new = [replace(t, method="mass_air_flow", u_between=float("inf")) for t in several(0.6, seed=2)]
    result = spool_up(old, new, SIZES)
    assert result is not None
    air = [r for r in result.levels if r.quantity == "mass_air_flow"]
    assert air
    assert all(r.verdict is LevelVerdict.NOT_RESOLVED for r in air)


def test_no_step_no_answer() -> None:
    flat = [traced(step_run(1.2, rise_pa=0.0)) for _ in range(2)]
    assert spool_up(flat, several(1.2), SIZES) is None
    short = step_run(1.2)
    assert short.pedal is not None
    tapped = replace(short, pedal=np.where(short.time_s < START_S + 1.0, short.pedal, 0.3))
    assert load_steps([replace(tapped, p_manifold_pa=np.full(short.time_s.size, 1e5))])[0] == ""


def test_intervals_of_a_time_cover() -> None:
    rng = np.random.default_rng(21)
    held = 0
    for k in range(150):
        taus = rng.uniform(0.8, 1.4, 2)
        result = spool_up(several(taus[0], seed=1000 + k), several(taus[1], seed=3000 + k), SIZES)
        assert result is not None
        held += row(result, 0.9).difference_s.contains(
            exact_s(taus[1], 0.9) - exact_s(taus[0], 0.9)
        )
    # 95 % of 150 is 142.5 with a standard deviation of 2.7; the floor of sampling adds.
    assert held >= 134


@given(level=st.floats(0.0, 0.999), slope=st.floats(0.1, 10.0))
def test_a_crossing_lies_on_the_line(level: float, slope: float) -> None:
    time = np.linspace(0.0, 12.0, 61)
    found = crossing(time, slope * time / 12.0, slope * level)
    assert found == pytest.approx(12.0 * level, abs=1e-9)


def test_a_level_that_is_never_reached_has_no_time() -> None:
    assert np.isnan(crossing(np.arange(4.0), np.arange(4.0), 9.0))
