"""A log becomes a run: charge temperature, humidity, filling, alignment, pulls, recirculation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.estimates.brake_power import brake_power
from airsense.estimates.defaults import defaults_for
from airsense.estimates.fuel_lambda import fuel_lambda
from airsense.estimates.prepare import prepare, rate, smoothed
from airsense.estimates.recirculation import (
    apparent_ve,
    loaded_samples,
    two_groups,
)
from airsense.estimates.run import Run
from airsense.estimates.segments import SETTLING_S, Kind, Segment, segment
from airsense.logs.log import Channel, Log
from airsense.results import Finding, Severity
from airsense.setup.engine import ChargeTemperature, EngineSetup
from tests.evidence_inputs import channel, run_of, setup_of

SPIKE = Finding(code="spike", severity=Severity.INFO, message="m", fix="f")
STEP = 0.1
R_AIR = 287.05


def pull_channels(
    *,
    delay_s: float = 0.0,
    pulls: int = 1,
    skip: tuple[str, ...] = (),
    rest_s: float = 4.0,
) -> dict[str, Channel]:
    """Return idle, then a full-load pull of 8 s, then idle, as often as asked."""
    one = rest_s + 8.0 + rest_s
    time = np.arange(0.0, one * pulls + 1e-9, STEP)
    phase = time % one

    def at(t: FloatArray) -> dict[str, FloatArray]:
        where = t % one
        share = np.clip((where - rest_s) / 8.0, 0.0, 1.0)
        pulling = (where > rest_s) & (where < rest_s + 8.0)
        speed = np.where(where < rest_s + 8.0, 1500.0 + 2200.0 * share, 1500.0)
        pressure = np.where(pulling, 1.6e5 + 6e4 * np.sin(np.pi * share) ** 2, 1.05e5)
        air = pressure * speed * 2e-3 / (120.0 * R_AIR * 310.0) * 0.9
        return {"engine_speed": speed, "manifold_pressure": pressure, "mass_air_flow": air}

    values = {**at(time), "mass_air_flow": at(np.maximum(time - delay_s, 0.0))["mass_air_flow"]}
    pedal = np.where((phase > rest_s) & (phase < rest_s + 8.0), 1.0, 0.1)
    values |= {
        # It follows a fifth of the heat of compression, as air behind a cooler does.
        "charge_temperature": 303.0 + 20.0 * (values["manifold_pressure"] / 1e5 - 1.05),
        "pedal": pedal,
        "barometric_pressure": np.full(time.size, 1e5),
        "ambient_temperature": np.full(time.size, 293.0),
    }  # fmt: skip
    return {n: channel(n, time, v) for n, v in values.items() if n not in skip}


def log_from(channels: dict[str, Channel], path: str = "pull.csv") -> Log:
    return Log(path=path, reader="t", sha256="", channels=channels)


def setup(**given: object) -> EngineSetup:
    charge = ChargeTemperature.model_validate(given.pop("charge", {"time_constant_s": 0.0}))
    return setup_of(**given).model_copy(update={"charge_temperature": charge})  # type: ignore[arg-type]


# --- charge temperature ----------------------------------------------------------------------


def test_a_charge_temperature_is_freed_of_its_lag() -> None:
    """First order: the reading follows 1 - exp(-t/tau); undone it is the step again."""
    channels = pull_channels()
    time = channels["engine_speed"].time_s
    true = np.where(time < 5.0, 310.0, 322.0)
    seen = np.where(time < 5.0, 310.0, 310.0 + 12.0 * (1.0 - np.exp(-(time - 5.0) / 1.2)))
    channels["charge_temperature"] = channel("charge_temperature", time, seen)
    got = prepare(log_from(channels), setup(charge={"time_constant_s": 1.2}))
    assert got.t_charge_k is not None
    settled = np.abs(time - 5.0) > 0.6
    t = np.interp(got.time_s, time, true)
    np.testing.assert_allclose(
        got.t_charge_k[np.interp(got.time_s, time, settled) > 0.9],
        t[np.interp(got.time_s, time, settled) > 0.9], atol=1.0,
    )  # fmt: skip
    assert not got.charge_estimated
    assert got.u_t_charge_k is None
    left = prepare(log_from(channels), setup(charge={"time_constant_s": 0.0}))
    np.testing.assert_allclose(left.t_charge_k, np.interp(left.time_s, time, seen), atol=1e-9)  # type: ignore[arg-type]


def test_a_time_constant_that_nobody_declared_is_an_assumption() -> None:
    got = prepare(log_from(pull_channels()), setup(charge={}))
    assert any(
        a.quantity == "time constant of the charge-temperature sensor" and a.value == "1.5 s"
        for a in got.assumptions
    )
    declared = prepare(log_from(pull_channels()), setup())
    assert not any("time constant" in a.quantity for a in declared.assumptions)


@pytest.mark.parametrize("place", ["before_compressor", None])
def test_intake_air_is_not_charge_air(place: str | None) -> None:
    """Without a declared place it is left open or found; either way it is estimated, and wide."""
    channels = pull_channels(skip=("charge_temperature",), pulls=3)
    time = channels["engine_speed"].time_s
    channels["intake_temperature"] = channel("intake_temperature", time, 295.0)
    charge = {} if place is None else {"place": place}
    got = prepare(log_from(channels), setup(charge=charge))
    assert got.charge_estimated
    assert got.u_t_charge_k is not None
    assert got.u_t_charge_k > 5.0
    boosted = got.p_manifold_pa > 2.0e5  # type: ignore[operator]
    assert got.t_charge_k is not None
    assert np.all(got.t_charge_k[boosted] > 300.0)
    assert any("compressor efficiency" in a.source for a in got.assumptions)


def test_a_declared_place_behind_the_cooler_is_believed_unless_behaviour_says_otherwise() -> None:
    channels = pull_channels(skip=("charge_temperature",))
    time = channels["engine_speed"].time_s
    hot = 300.0 + 10.0 * np.clip(time / 10.0, 0.0, 1.0)
    channels["intake_temperature"] = channel("intake_temperature", time, hot)
    declared = {"place": "after_cooler", "time_constant_s": 0.0}
    got = prepare(log_from(channels), setup(charge=declared))
    assert not got.charge_estimated


def test_naturally_aspirated_engines_have_one_temperature() -> None:
    channels = pull_channels(skip=("charge_temperature",))
    time = channels["engine_speed"].time_s
    channels["intake_temperature"] = channel("intake_temperature", time, 295.0)
    got = prepare(log_from(channels), setup(induction="naturally_aspirated"))
    assert not got.charge_estimated
    np.testing.assert_allclose(got.t_charge_k, 295.0)  # type: ignore[arg-type]


def test_no_pressure_no_charge_temperature() -> None:
    channels = pull_channels(skip=("charge_temperature", "manifold_pressure"))
    got = prepare(log_from(channels), setup())
    assert got.t_charge_k is None
    assert got.mdot_filling_kgps is None
    assert got.charge_estimated


# --- the rest of a run -----------------------------------------------------------------------


def test_humidity_logged_or_assumed() -> None:
    """50 % at 20 degC and 100 kPa: psat 2339 Pa (CIPM-2007), x 0.0117, R/R_dry = 1/(1-0.378x)."""
    channels = pull_channels()
    time = channels["engine_speed"].time_s
    channels["relative_humidity"] = channel("relative_humidity", time, 0.5)
    channels["ambient_temperature"] = channel("ambient_temperature", time, 293.15)
    got = prepare(log_from(channels), setup()).air
    assert got is not None
    assert got.x_vapour == pytest.approx(0.5 * 2339.2 * 1.0042 / 1e5, rel=1e-3)
    assert got.r_jpkgk == pytest.approx(287.05 / (1.0 - 0.378 * got.x_vapour), rel=1e-4)
    assert (got.u_r_abs, got.u_r_run) == (3e-4, 2e-4)
    plain = prepare(log_from(pull_channels()), setup())
    assert plain.air is not None
    assert plain.air.x_vapour == 0.010
    assert plain.air.u_r_abs == pytest.approx(0.378 * 0.006)
    assert plain.air.u_r_run == pytest.approx(0.378 * 0.006)
    assert any(a.quantity == "humidity" for a in plain.assumptions)


def test_filling_is_the_charge_volume_times_the_rise_of_density() -> None:
    """V/(R T) dp/dt; 8 l where 2 l of displacement declare none, and that is said."""
    log = log_from(pull_channels())
    assumed = prepare(log, setup())
    declared = prepare(log, setup(charge_volume_l=4.0))
    assert assumed.mdot_filling_kgps is not None
    np.testing.assert_allclose(assumed.mdot_filling_kgps, 2.0 * declared.mdot_filling_kgps)  # type: ignore[operator]
    assert assumed.air is not None
    slope = rate(assumed.p_manifold_pa, assumed.step_s)  # type: ignore[arg-type]
    np.testing.assert_allclose(
        assumed.mdot_filling_kgps,
        8e-3 * slope / (assumed.air.r_jpkgk * assumed.t_charge_k),  # type: ignore[operator]
        atol=1e-12,
    )
    named = [a for a in assumed.assumptions if "charge volume" in a.quantity]
    assert [a.value for a in named] == ["8.0 l"]
    assert not [a for a in declared.assumptions if "charge volume" in a.quantity]


@pytest.mark.parametrize("delay", [0.15, 0.3, 0.5])
def test_a_late_air_flow_is_put_back(delay: float) -> None:
    got = prepare(log_from(pull_channels(delay_s=delay)), setup())
    prompt = prepare(log_from(pull_channels()), setup())
    found = dict(got.lags_s)["mass_air_flow"] - dict(prompt.lags_s)["mass_air_flow"]
    assert found == pytest.approx(delay, abs=0.05)
    # The made-up flow lacks filling, so that it seems to be late by a little.
    assert abs(dict(prompt.lags_s)["mass_air_flow"]) < 0.12
    climbing = (got.speed_rpm > 2000.0) & (got.speed_rpm < 3500.0)
    mine, theirs = got.mdot_maf_kgps, prompt.mdot_maf_kgps
    assert mine is not None
    assert theirs is not None
    use = climbing & np.isfinite(mine) & np.isfinite(theirs)
    np.testing.assert_allclose(mine[use], theirs[use], rtol=0.02)


def test_slow_polling_is_not_aligned() -> None:
    channels = pull_channels(delay_s=0.5)
    slow = channels["mass_air_flow"]
    channels["mass_air_flow"] = channel("mass_air_flow", slow.time_s[::4], slow.value[::4])
    assert prepare(log_from(channels), setup()).lags_s == ()


def test_what_was_logged_is_carried_along() -> None:
    channels = pull_channels()
    time = channels["engine_speed"].time_s
    extra = {
        "egr_rate": 0.1, "inlet_depression": -2e3, "turbo_speed": 9e4, "maf_signal": 3.0,
        "brake_torque": 200.0, "lambda": 1.4, "fuel_mass_flow": 4e-3,
    }  # fmt: skip
    channels |= {n: channel(n, time, v) for n, v in extra.items()}
    got = prepare(log_from(channels), setup())
    for name, value in (
        ("egr_rate", 0.1), ("depression_pa", -2e3), ("turbo_speed_rpm", 9e4), ("maf_signal", 3.0),
        ("lambda_", 1.4), ("mdot_fuel_kgps", 4e-3),
    ):  # fmt: skip
        np.testing.assert_allclose(getattr(got, name), value)
    np.testing.assert_allclose(got.power_w, 200.0 * got.speed_rpm * 2 * np.pi / 60)  # type: ignore[arg-type]
    assert not got.fuel_is_per_stroke
    assert not got.p_ambient_assumed
    assert not got.from_gauge
    assert got.name == "pull.csv"
    assert got.p_ambient_pa == 1e5
    assert got.t_ambient_k == 293.0
    assert got.native_step_s == pytest.approx(STEP)
    assert got.step_s == pytest.approx(STEP)


def test_gauge_pressure_and_fuel_per_stroke_are_marked_as_such() -> None:
    channels = pull_channels(skip=("manifold_pressure", "barometric_pressure"))
    time = channels["engine_speed"].time_s
    channels["boost_pressure"] = channel("boost_pressure", time, 8e4)
    channels["fuel_per_stroke"] = channel("fuel_per_stroke", time, 5e-5)
    log = replace(log_from(channels), findings=(SPIKE,))
    got = prepare(log, setup())
    assert got.from_gauge
    assert got.p_ambient_assumed
    assert got.fuel_is_per_stroke
    np.testing.assert_allclose(got.p_manifold_pa, 8e4 + 101_325.0)  # type: ignore[arg-type]
    assert got.findings[0] == SPIKE
    assert "missing_barometer" in {f.code for f in got.findings}


def test_a_log_without_speed_is_bad_input() -> None:
    with pytest.raises(InputError) as caught:
        prepare(log_from(pull_channels(skip=("engine_speed",))), setup())
    error = caught.value
    assert "no engine speed" in error.what
    assert error.where == "pull.csv"
    assert "mass_air_flow" in error.got
    assert "[channels]" in error.fix


def test_smoothing_is_a_centred_mean_that_skips_gaps() -> None:
    x = np.array([0.0, 0.0, 3.0, 0.0, 0.0, np.nan, 6.0])
    np.testing.assert_allclose(
        smoothed(x, 0.15, 0.3), [0.0, 1.0, 1.0, 1.0, 0.0, np.nan, 6.0], atol=1e-12
    )
    np.testing.assert_array_equal(smoothed(x, 1.0, 0.3), x)
    ramp = np.arange(50.0)
    np.testing.assert_allclose(rate(ramp, 0.1)[5:-5], 10.0)
    np.testing.assert_array_equal(rate(np.array([4.0]), 0.1), [0.0])


# --- pulls -----------------------------------------------------------------------------------


def pulls_of(channels: dict[str, Channel]) -> tuple[Run, list[Segment], list[int]]:
    """Return the run, its pulls, and how many samples of each are used."""
    run = prepare(log_from(channels), setup(charge_volume_l=1.0))
    found = segment(run)
    pulls = [s for s in found.segments if s.kind is Kind.PULL]
    return run, pulls, [int(np.count_nonzero(found.use[s.samples])) for s in pulls]


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("pedal", [True, False])
def test_full_load_pulls_are_found(count: int, pedal: bool) -> None:
    run, pulls, sizes = pulls_of(pull_channels(pulls=count, skip=() if pedal else ("pedal",)))
    assert len(pulls) == count
    # 8 s at 0.1 s less the first 0.6 s, and what the smoothing of speed takes or adds at the ends.
    assert all(65 <= n <= 82 for n in sizes)
    assert all(s.used and not s.reason for s in pulls)
    use = segment(run).use
    for s in pulls:
        assert np.all(run.speed_rpm[s.samples][use[s.samples]] > 1550.0)


def test_part_load_climbs_are_no_pulls() -> None:
    channels = pull_channels(pulls=2)
    pedal = channels["pedal"]
    time = pedal.time_s
    half = np.where((time > 16.0) & (pedal.value > 0.5), 0.5, pedal.value)
    channels["pedal"] = channel("pedal", time, half)
    assert len(pulls_of(channels)[1]) == 1


@pytest.mark.parametrize("pedal_frac", [1.0, 0.6])
def test_a_pull_of_a_long_drive_is_found_by_the_pedal_of_that_drive(pedal_frac: float) -> None:
    """8 s of 400 s: whether it is a sweep at full load is a further question."""
    channels = pull_channels(rest_s=196.0)
    pedal = channels["pedal"]
    pressed = np.where(pedal.value > 0.5, pedal_frac, pedal.value)
    channels["pedal"] = channel("pedal", pedal.time_s, pressed)
    assert len(pulls_of(channels)[1]) == 1


def test_a_drive_without_pulls_takes_nothing_from_a_run_with_one() -> None:
    pull = prepare(log_from(pull_channels()), setup())
    time = np.arange(0.0, 60.0, STEP)
    calm = {
        "engine_speed": np.full(time.size, 2200.0), "manifold_pressure": np.full(time.size, 1.5e5),
        "mass_air_flow": np.full(time.size, 0.05), "charge_temperature": np.full(time.size, 310.0),
    }  # fmt: skip
    calm["engine_speed"][300:310] += np.linspace(0.0, 400.0, 10)
    drive = prepare(log_from({n: channel(n, time, v) for n, v in calm.items()}), setup())
    assert Kind.PULL in {s.kind for s in segment(pull).segments}
    found = segment(drive)
    assert {s.kind for s in found.segments} == {Kind.HOLD, Kind.DRIVE}
    assert found.use[50:250].all()
    assert not found.use[300:309].any()


def test_samples_without_flow_are_not_used() -> None:
    channels = pull_channels()
    flow = channels["mass_air_flow"]
    spoilt = flow.value.copy()
    spoilt[90:95] = 0.0
    channels["mass_air_flow"] = channel("mass_air_flow", flow.time_s, spoilt)
    run = prepare(log_from(channels), setup(charge_volume_l=1.0))
    use = segment(run).use
    assert run.mdot_maf_kgps is not None
    assert np.all(run.mdot_maf_kgps[use] > 0.0)
    assert np.count_nonzero(use) > 50


@pytest.mark.parametrize("volume_l", [10.0, 20.0])
def test_samples_that_filling_dominates_are_not_used(volume_l: float) -> None:
    """Where more than 6 % of the reading goes into the charge path, its error would count."""
    run = prepare(log_from(pull_channels()), setup(charge_volume_l=volume_l))
    found = segment(run)
    assert run.mdot_filling_kgps is not None
    assert run.mdot_maf_kgps is not None
    share = np.abs(run.mdot_filling_kgps / run.mdot_maf_kgps)
    pulling = (run.time_s > 5.0) & (run.time_s < 10.8)
    np.testing.assert_array_equal(found.use[pulling], (share <= 0.06)[pulling])
    assert (share[pulling] > 0.06).any() == (volume_l > 15.0)


def test_what_a_log_starts_with_and_a_pull_ends_with_is_not_used() -> None:
    """A log may begin in the middle of a change; the smoothed speed reaches beyond the climb."""
    found = segment(prepare(log_from(pull_channels()), setup()))
    run = prepare(log_from(pull_channels()), setup())
    (pull,) = found.of(Kind.PULL)
    assert not found.use[run.time_s < SETTLING_S].any()
    ending = (run.time_s > run.time_s[pull.stop - 1] - 0.25) & (run.time_s <= pull.stop_s)
    assert not found.use[ending].any()
    assert found.use[pull.samples].any()


def test_fuel_routes_count_what_fills_the_charge_path() -> None:
    """V/(R T) dp/dt passes the sensor and not the engine: by hand 10 l, 310 K, 30 kPa/s."""
    filling = 0.010 * 30e3 / (287.05 * 310.0)
    plain = {"mdot_fuel_kgps": 0.004, "lambda_": 1.3, "power_w": 60e3}
    still, rising = run_of(**plain), run_of(**plain, mdot_filling_kgps=filling)
    sizes = defaults_for(setup_of().uncertainty, charge_temperature_estimated=False)
    for route in (fuel_lambda, brake_power):
        alone, beside = (route(run, setup_of(), sizes).mdot_kgps for run in (still, rising))
        np.testing.assert_allclose(beside - alone, filling, rtol=1e-9)


# --- recirculation ---------------------------------------------------------------------------


def test_two_groups_are_split_at_the_valley_between_them() -> None:
    rng = np.random.default_rng(4)
    low, high = 0.62 * np.exp(rng.normal(0, 0.02, 60)), 0.86 * np.exp(rng.normal(0, 0.03, 240))
    got = two_groups(rng.permutation(np.r_[low, high]))
    assert got is not None
    assert got.found
    assert got.low == pytest.approx(0.62, rel=0.02)
    assert got.high == pytest.approx(0.86, rel=0.02)
    assert low.max() < got.limit < high.min()
    assert got.share_low == pytest.approx(0.2, abs=0.01)
    assert got.valley < 0.05


@pytest.mark.parametrize(
    ("low", "high", "share", "spread"),
    [
        (0.86, 0.86, 0.5, 0.03),    # one group
        (0.80, 0.86, 0.3, 0.01),    # 7 % apart: breathing over speed does that
        (0.30, 0.86, 0.3, 0.02),    # far apart: another state of the engine
        (0.62, 0.86, 0.01, 0.02),   # a few strays
        (0.62, 0.86, 0.5, 0.25),    # no valley between them
        (0.62, 0.86, 0.4, 0.14),    # hardly one
    ],
)  # fmt: skip
def test_what_is_not_two_groups(low: float, high: float, share: float, spread: float) -> None:
    rng = np.random.default_rng(4)
    n = round(600 * share)
    ve = np.r_[
        low * np.exp(rng.normal(0, spread, n)), high * np.exp(rng.normal(0, spread, 600 - n))
    ]
    got = two_groups(ve)
    assert got is not None
    assert not got.found


def test_few_samples_show_no_groups() -> None:
    ve = np.r_[np.full(19, 0.6), np.full(20, 0.9)]
    assert two_groups(ve) is None
    found = two_groups(np.r_[ve, 0.9])
    assert found is not None
    assert found.found
    assert found.low == pytest.approx(0.6)
    assert found.high == pytest.approx(0.9)
    assert two_groups(np.full(100, 0.8)) is None


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("shape", ["normal", "uniform"])
@pytest.mark.parametrize("n", [80, 500, 4000])
def test_one_broad_group_is_never_two(n: int, shape: str, seed: int) -> None:
    """Breathing that varies by 30 % over speed and load is no valve that opens."""
    rng = np.random.default_rng(seed)
    x = rng.normal(0.0, 0.1, n) if shape == "normal" else rng.uniform(-0.15, 0.15, n)
    got = two_groups(0.8 * np.exp(x))
    assert got is None or not got.found


def driving(*, valve: bool, egr_logged: bool = False) -> Run:
    """Return 200 s of quasi-steady driving, mostly under boost, with a valve open now and then."""
    rng = np.random.default_rng(9)
    n = 2000
    time = STEP * np.arange(n)
    speed = 2000.0 + 300.0 * np.sin(0.05 * time)
    pressure = 1.9e5 + 1.5e4 * np.sin(0.031 * time)
    swept = pressure * 2e-3 * speed / (120.0 * 287.0 * 310.0)
    ve = np.where(valve & (np.sin(0.12 * time) < -0.5), 0.64, 0.86)
    return run_of(
        n, speed_rpm=speed, p_manifold_pa=pressure, t_charge_k=310.0,
        mdot_maf_kgps=swept * ve * (1.0 + rng.normal(0.0, 0.01, n)),
        p_ambient_pa=1e5, egr_rate=0.1 if egr_logged else None,
    )  # fmt: skip


def test_apparent_breathing_by_hand() -> None:
    run = run_of(
        speed_rpm=2000.0, p_manifold_pa=2e5, t_charge_k=320.0, mdot_maf_kgps=0.9 * 72.59e-3
    )
    got = apparent_ve(run, setup())
    assert got is not None
    # 2e5 Pa x 2 l x 2000/min / (120 x 287 x 320) = 72.59 g/s.
    np.testing.assert_allclose(got, 0.9, rtol=1e-4)
    for missing in ("mdot_maf_kgps", "p_manifold_pa", "t_charge_k"):
        assert apparent_ve(replace(run, **{missing: None}), setup()) is None


def test_load_is_boost_at_speed() -> None:
    run = run_of(3, speed_rpm=np.array([2000.0, 2000.0, 1000.0]),
                 p_manifold_pa=np.array([1.4e5, 1.2e5, 1.4e5]), p_ambient_pa=1e5)  # fmt: skip
    np.testing.assert_array_equal(loaded_samples(run), [True, False, False])


@pytest.mark.parametrize("n", [60, 300, 3000])
def test_limit_lies_in_the_middle_of_an_empty_valley(n: int) -> None:
    rng = np.random.default_rng(1)
    low, high = 0.60 * np.exp(rng.normal(0, 0.01, n // 3)), 0.90 * np.exp(rng.normal(0, 0.01, n))
    got = two_groups(np.r_[low, high])
    assert got is not None
    middle = np.sqrt(low.max() * high.min())
    assert got.limit == pytest.approx(middle, rel=0.04)
    assert got.low == pytest.approx(np.exp(np.mean(np.log(low))))
    assert got.high == pytest.approx(np.exp(np.mean(np.log(high))))
    assert got.share_low == pytest.approx(low.size / (low.size + high.size))


def test_valley_is_relative_to_the_lower_peak() -> None:
    """Peaks of 4 to 1 with a floor between them of half of the lower: no valley."""
    x = np.r_[np.full(400, 0.0), np.full(100, -0.30), np.linspace(-0.30, 0.0, 700)]
    rng = np.random.default_rng(1)
    got = two_groups(np.exp(x + rng.normal(0.0, 0.02, x.size)))
    assert got is not None
    assert got.valley > 0.4
