"""A log and a setup to a `Run`: one grid, aligned in time, absolute pressures, charge state."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.estimates.boost_demand import find_boost_demand, find_wheel_power
from airsense.estimates.combustion import (
    find_fuel_flow,
    find_lambda,
    find_power_w,
    fuel_of,
)
from airsense.estimates.pressures import Pressures, find_pressures
from airsense.estimates.run import Air, Run, grid_of, native_step_s, on_grid
from airsense.estimates.temperature import Charge, find_charge_temperature
from airsense.logs.log import Log
from airsense.logs.suggest import or_suggested
from airsense.physics.air import (
    condenses,
    gas_constant_moist_air_jpkgk,
    vapour_mole_fraction,
)
from airsense.physics.align import lag_s
from airsense.physics.breathing import filling_flow_kgps, ideal_charge_flow_kgps
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.results import Assumption, Finding, Severity
from airsense.setup.engine import Engine, EngineSetup, TemperaturePlace

# Humidity of unlogged workshop air: mole fraction of vapour from cool and dry to warm and damp.
ASSUMED_X_VAPOUR = 0.010
U_ASSUMED_X_VAPOUR = 0.006
# d ln R / d x_vapour = 1 - Mv/Ma.
R_PER_X_VAPOUR = 0.378
# Charge path from compressor to valves where none is declared, in displacements: our choice.
CHARGE_VOLUME_PER_DISPLACEMENT = 4.0
MAX_LAG_S = 1.0
# Only the timing of the expected flow counts, not its level.
USUAL_VE = 0.9
MIN_LAG_QUALITY = 0.8
COARSEST_STEP_TO_ALIGN_S = 0.25
SMOOTHING_S = 0.3
MIN_WET_SHARE = 0.05


def prepare(log: Log, setup: EngineSetup, shown: TemperaturePlace | None = None) -> Run:
    """Return the run of a log; `shown` is where all logs say that its temperature is taken.

    Raises
    ------
    InputError
        If engine speed or the air-flow channel is missing or they never overlap in time.
    """
    time_s = grid_of(log)
    speed = on_grid(log, "engine_speed", time_s)
    if time_s.size < 2 or speed is None:
        raise _no_grid(log)
    pressures = find_pressures(log, time_s)
    charge = find_charge_temperature(log, setup, time_s, pressures, shown)
    air, air_assumed = _air(log, pressures, charge)
    filling, filling_assumed = _filling(setup.engine, time_s, pressures, charge, air)
    expected = _expected_flow(setup.engine, speed, pressures, charge, filling)
    maf, lags = _aligned_maf(log, time_s, expected)
    run = Run(
        name=log.path,
        log=log,
        time_s=time_s,
        speed_rpm=speed,
        native_step_s=native_step_s(log),
        mdot_maf_kgps=maf,
        p_manifold_pa=pressures.p_manifold_pa,
        p_ambient_pa=pressures.p_ambient_pa,
        p_ambient_source=pressures.ambient_source,
        p_resolution_pa=log["manifold_pressure"].resolution if "manifold_pressure" in log else 0.0,
        from_gauge=pressures.from_gauge,
        t_charge_k=charge.t_charge_k,
        t_ambient_k=charge.t_ambient_k,
        charge_estimated=charge.estimated,
        u_t_charge_k=charge.u_k,
        ln_place_odds=charge.ln_odds,
        t_inlet_k=charge.t_inlet_k,
        air=air,
        mdot_filling_kgps=filling,
        lags_s=lags,
        findings=(
            *log.findings,
            *pressures.findings,
            *charge.findings,
            *_condensation(log, pressures, charge, air),
        ),
        assumptions=(
            *pressures.assumptions,
            *charge.assumptions,
            *air_assumed,
            *filling_assumed,
        ),
    )
    return _with_what_burns(run, setup, pressures)


def _with_what_burns(run: Run, setup: EngineSetup, pressures: Pressures) -> Run:
    """Return the run with fuel, mixture, power, and the channels that are taken as logged."""
    log, time_s, speed = run.log, run.time_s, run.speed_rpm
    fuel, fuel_assumed = fuel_of(setup)
    fuel_flow = find_fuel_flow(log, setup, fuel, time_s, speed)
    demand = find_boost_demand(log, time_s, pressures)
    wheel = find_wheel_power(log, time_s, speed, setup.engine)
    logged = partial(on_grid, log, time_s=time_s)
    return replace(
        run,
        mdot_fuel_kgps=fuel_flow.mdot_kgps,
        fuel_is_per_stroke=fuel_flow.per_stroke,
        lambda_=find_lambda(log, fuel, time_s),
        trim_short=logged("fuel_trim_short"),
        trim_long=logged("fuel_trim_long"),
        power_w=find_power_w(log, time_s, speed),
        wheel_power_w=wheel.power_w,
        p_demand_pa=demand.p_demand_pa,
        maf_signal=logged("maf_signal"),
        egr_rate=logged("egr_rate"),
        depression_pa=logged("inlet_depression"),
        turbo_speed_rpm=logged("turbo_speed"),
        pedal=logged("pedal"),
        findings=(*run.findings, *wheel.findings),
        assumptions=(
            *run.assumptions,
            *fuel_assumed,
            *fuel_flow.assumptions,
            *demand.assumptions,
            *wheel.assumptions,
        ),
    )


def _condensation(log: Log, pressures: Pressures, charge: Charge, air: Air) -> tuple[Finding, ...]:
    """Return a finding where the cooler takes measured charge air below its dew point."""
    cooled = charge.t_charge_k is not None and not charge.estimated
    if "relative_humidity" not in log or not cooled or pressures.p_manifold_pa is None:
        return ()
    assert charge.t_charge_k is not None
    wet = condenses(air.x_vapour, pressures.p_manifold_pa, charge.t_charge_k)
    share = float(np.mean(wet))
    if share < MIN_WET_SHARE:
        return ()
    return (
        Finding(
            code="condensation_after_cooler",
            severity=Severity.INFO,
            message=f"in {100.0 * share:.0f} % of the samples the charge air is below its dew "
            "point: water that the sensor counts drops out after the cooler, up to 2 % of the flow",
            fix="compare runs of like humidity, or a dry day",
            where=log.path,
        ),
    )


def _no_grid(log: Log) -> InputError:
    return InputError(
        "the log has no engine speed together with an air flow or manifold pressure",
        where=log.path,
        got=", ".join(sorted(log.channels)) or "no recognised channel",
        allowed="engine speed and mass air flow with at least two samples in common",
        fix=or_suggested(
            log.findings,
            "see `airsense channels LOG`; name the columns in [channels] of engine.toml",
        ),
    )


def _air(log: Log, pressures: Pressures, charge: Charge) -> tuple[Air, tuple[Assumption, ...]]:
    if "relative_humidity" in log and charge.t_ambient_k is not None:
        humid = float(np.median(log["relative_humidity"].value))
        x = float(vapour_mole_fraction(pressures.p_ambient_pa, charge.t_ambient_k, humid))
        r = float(gas_constant_moist_air_jpkgk(x))
        return Air(x_vapour=x, r_jpkgk=r, u_r_abs=3e-4, u_r_run=2e-4), ()
    r = float(gas_constant_moist_air_jpkgk(ASSUMED_X_VAPOUR))
    u = R_PER_X_VAPOUR * U_ASSUMED_X_VAPOUR
    note = Assumption(
        quantity="humidity",
        value=f"vapour mole fraction {ASSUMED_X_VAPOUR:g} +- {U_ASSUMED_X_VAPOUR:g} (k = 1)",
        source="workshop air, not logged",
    )
    # Runs of different days may differ by the whole range.
    return Air(x_vapour=ASSUMED_X_VAPOUR, r_jpkgk=r, u_r_abs=u, u_r_run=u), (note,)


def smoothed(x: FloatArray, step_s: float, width_s: float = SMOOTHING_S) -> FloatArray:
    """Return a centred moving mean over `width_s`, NaN-aware, same shape."""
    half = min(max(0, round(0.5 * width_s / step_s)), (x.size - 1) // 2)
    if half == 0 or x.size < 3:
        return x.astype(np.float64)
    good = np.isfinite(x)
    kernel = np.ones(2 * half + 1)
    total = np.convolve(np.where(good, x, 0.0), kernel, mode="same")
    count = np.convolve(good.astype(np.float64), kernel, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(good, total / count, np.nan)


def rate(x: FloatArray, step_s: float) -> FloatArray:
    """Return the time derivative of a smoothed signal, per second; zero for a single sample."""
    if x.size < 2:
        return np.zeros_like(x)
    return np.gradient(smoothed(x, step_s), step_s)


def _filling(
    engine: Engine, time_s: FloatArray, pressures: Pressures, charge: Charge, air: Air
) -> tuple[FloatArray | None, tuple[Assumption, ...]]:
    if pressures.p_manifold_pa is None or charge.t_charge_k is None:
        return None, ()
    declared = engine.charge_volume_l
    volume_l = (
        CHARGE_VOLUME_PER_DISPLACEMENT * engine.displacement_l if declared is None else declared
    )
    step = float(time_s[1] - time_s[0])
    flow = filling_flow_kgps(
        rate(pressures.p_manifold_pa, step),
        volume_m3=volume_l * 1e-3,
        t_charge_k=charge.t_charge_k,
        r_jpkgk=air.r_jpkgk,
    )
    if declared is not None:
        return flow, ()
    note = Assumption(
        quantity="charge volume, compressor outlet to valves",
        value=f"{volume_l:.1f} l",
        source=f"{CHARGE_VOLUME_PER_DISPLACEMENT:g} displacements; set charge_volume_l",
    )
    return flow, (note,)


def _expected_flow(
    engine: Engine,
    speed: FloatArray,
    pressures: Pressures,
    charge: Charge,
    filling: FloatArray | None,
) -> FloatArray | None:
    """Return what passes the sensor as speed and pressure have it, good enough to time it by.

    With filling, which runs ahead of the pressure: without it the sensor would seem to be early.
    """
    if pressures.p_manifold_pa is None or charge.t_charge_k is None or filling is None:
        return None
    swept = ideal_charge_flow_kgps(
        pressures.p_manifold_pa,
        float(np.nanmedian(charge.t_charge_k)),
        speed,
        displacement_m3=engine.displacement_m3,
        cycles_per_rev=engine.cycles_per_rev,
        r_jpkgk=R_DRY_AIR_JPKGK,
    )
    return USUAL_VE * swept + filling


def _aligned_maf(
    log: Log, time_s: FloatArray, expected: FloatArray | None
) -> tuple[FloatArray | None, tuple[tuple[str, float], ...]]:
    """Shift the air-flow channel by its lag against the expected flow, where that is clear."""
    maf = on_grid(log, "mass_air_flow", time_s)
    coarse = native_step_s(log) > COARSEST_STEP_TO_ALIGN_S
    if maf is None or expected is None or coarse:
        return maf, ()
    both = np.isfinite(maf) & np.isfinite(expected) & (maf > 0.0) & (expected > 0.0)
    if np.count_nonzero(both) < 20:
        return maf, ()
    found = lag_s(time_s[both], np.log(maf[both]), np.log(expected[both]), MAX_LAG_S)
    if found.quality < MIN_LAG_QUALITY or abs(found.lag_s) >= MAX_LAG_S:
        return maf, ()
    return on_grid(log, "mass_air_flow", time_s + found.lag_s), (("mass_air_flow", found.lag_s),)
