"""A plain engine, solved state by state, that shares no code with the forward model or the product.

Everything of an engine, its sensors and its logger is drawn by campaign: breathing, boost, cooler,
heat soak, sensor lags and delays, calibration errors, noise, rounding, sample rate. What it shares
with the product is the ideal gas. Invented data: for tests and benches only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.signal import lfilter

R, KAPPA = 287.0, 0.286
STEP_S = 0.02
STILL_S, IDLE_S, IDLE_RPM = 4.0, 6.0, 850.0
AIR, PRESSURE = "Mass air flow (g/s)", "Intake manifold absolute pressure (kPa)"
CHARGE, INLET = "Charge air temperature (C)", "Intake air temperature (C)"
POWER, BAROMETER, PEDAL = "Wheel power (kW)", "Barometric pressure (kPa)", "Pedal position (%)"


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is planted, how it is driven, and what of it a logger writes.

    `skew`, `leak`, `relief`, `demand` and `pressure_gain` are fractions of the second side;
    `drive` is pull, hold, steps or drive.
    """

    skew: float = 0.0
    demand: float = 0.0
    relief: float = 0.0
    leak: float = 0.0
    pressure_gain: float = 0.0
    law: str = "absolute"
    weather: bool = False
    drive: str = "pull"
    repeats: int = 3
    petrol: bool = False
    rest: bool = True
    lambda_logged: bool = False
    depression_logged: bool = False
    demand_logged: bool = False
    law_declared: bool = False
    hose_off: bool = False
    second_tune: bool = False
    temperature: str = "charge"
    us_units: bool = False
    barometer: bool = True
    pedal: bool = True
    polled: bool = False


@dataclass(frozen=True, kw_only=True)
class Day:
    """Barometer and air temperature of a side. [Pa, K]"""

    p_pa: float
    t_k: float


@dataclass(frozen=True)
class Engine:
    """One drawn engine with its sensors; see `draw_engine` for the ranges."""

    petrol: bool
    cylinders: int
    swept_m3: float
    ve: float
    ve_at_rpm: float
    ve_wide_rpm: float
    ve_per_ratio: float
    ve_per_ln_t: float
    boost_pa: float
    spool_rpm: float
    compressor: float
    cooler: float
    soak_k: float
    depression_pa: float
    charge_m3: float
    lambda_full: float
    afr: float
    heating_value: float
    efficiency: float
    loss: float
    low_rpm: float
    high_rpm: float
    pull_s: float
    maf_ln: float
    maf_bend: float
    maf_noise: float
    maf_lag_s: float
    maf_delay_s: float
    pressure_error: float
    pressure_lag_s: float
    temperature_error_k: float
    temperature_lag_s: float
    fuel_error: float
    lambda_error: float
    lambda_delay_s: float
    rate_hz: float


def draw_engine(rng: np.random.Generator, petrol: bool) -> Engine:
    """Return an engine; ranges are those of road cars (our choice)."""
    cylinders = int(rng.choice([4, 5, 6]))
    u, n = rng.uniform, rng.normal
    return Engine(
        petrol, cylinders, cylinders * u(0.35, 0.55) * 1e-3,
        u(0.82, 0.95), u(2200, 3600), u(2500, 4500), u(-0.02, 0.03), u(0.0, 0.3),
        u(80e3, 190e3), u(1700, 2300), u(0.62, 0.76), u(0.55, 0.88), u(0, 4), u(2e3, 6e3),
        u(5e-3, 15e-3),
        u(0.82, 0.92) if petrol else u(1.15, 1.45), 14.2 if petrol else 14.5,
        42.0e6 if petrol else 42.8e6, u(0.33, 0.41), u(0.05, 0.14),
        u(1300, 1700), u(4800, 6200) if petrol else u(3600, 4600), u(4, 14),
        n(0, 0.03), u(0, 0.02), u(0.003, 0.015), u(0.02, 0.15), u(0, 0.12),
        n(0, 0.012), u(0.01, 0.08), n(0, 1.5), u(0.6, 4.0), n(0, 0.03), n(0, 0.015), u(0.1, 0.5),
        float(rng.choice([5, 10, 20])),
    )  # fmt: skip


def lagged(x: np.ndarray, tau_s: float) -> np.ndarray:
    """Return what a first-order sensor shows of x, settled at the first sample."""
    a = 1.0 - np.exp(-STEP_S / tau_s)
    return lfilter([a], [1.0, a - 1.0], x, zi=[(1.0 - a) * x[0]])[0]


def late(x: np.ndarray, delay_s: float) -> np.ndarray:
    """Return x so much later."""
    k = round(delay_s / STEP_S)
    return np.r_[np.full(k, x[0]), x[: x.size - k]]


def driven(rng: np.random.Generator, e: Engine, how: str) -> tuple[np.ndarray, np.ndarray]:
    """Return engine speed and pedal over time."""
    if how == "pull":
        t = np.arange(0.0, 1.0, STEP_S / (e.pull_s * rng.uniform(0.95, 1.05)))
        climb = e.low_rpm + (e.high_rpm - e.low_rpm) * (t + 0.15 * t * (1.0 - t))
        lead, tail = round(2.0 / STEP_S), round(1.5 / STEP_S)
        run_down = np.linspace(e.high_rpm, 0.93 * e.high_rpm, tail)
        pedal = np.repeat([0.25, 1.0, 0.0], [lead, t.size, tail])
        return np.r_[np.full(lead, e.low_rpm), climb, run_down], pedal
    if how == "hold":
        t = np.arange(0.0, 14.0, STEP_S)
        return 2705.0 + rng.normal(0, 3, t.size), np.where(t < 1.5, 0.3, 1.0)
    if how == "steps":
        levels = np.linspace(e.low_rpm + 200, e.high_rpm - 200, 6)
        speed = lagged(np.repeat(levels, round(6.0 / STEP_S)), 0.6)
        return speed + rng.normal(0, 3, speed.size), np.ones(speed.size)
    t, nodes = np.arange(0.0, 240.0, STEP_S), np.arange(0.0, 250.0, 8.0)
    speed = np.interp(t, nodes, rng.uniform(900, 3300, nodes.size))
    pedal = np.clip(np.interp(t, nodes + 3.0, rng.uniform(-0.2, 1.1, nodes.size)), 0.0, 1.0)
    return lagged(speed, 1.0), lagged(pedal, 0.3)


@dataclass(frozen=True)
class State:
    """What the engine does at each sample: air, pressures, charge temperature, loss of a leak."""

    air_kgps: np.ndarray
    p_pa: np.ndarray
    inlet_pa: np.ndarray
    t_k: np.ndarray
    lost: np.ndarray


def solve(
    e: Engine, plan: Plan, speed: np.ndarray, pedal: np.ndarray, day: Day, after: bool, ve: float
) -> State:
    """Return the settled state at each sample; `ve` is the run's own error of breathing."""
    spool = np.clip((speed - e.low_rpm + 300) / (e.spool_rpm - e.low_rpm + 300), 0.15, 1.0)
    full, light = e.boost_pa * spool, (0.35 if e.petrol else 0.97) * day.p_pa
    relief, ask = (plan.relief, 1.0 + plan.demand) if after else (0.0, 1.0)
    air = np.full(speed.size, 0.05)
    for _ in range(14):
        density = day.p_pa / (R * day.t_k) / 1.15
        inlet = day.p_pa - e.depression_pa * (1.0 - relief) * (air / 0.12) ** 2 / density
        p_full = {
            "absolute": (98e3 + full) * ask,
            "gauge": day.p_pa + full + (98e3 + full) * (ask - 1.0),
            "ratio_ambient": day.p_pa * (1.0 + full / 98e3) * ask,
            "ratio_inlet": inlet * (1.0 + full / 98e3) * ask,
        }[plan.law]
        p = np.where(pedal > 0.97, p_full, light + (p_full - light) * pedal**1.3)
        ratio = np.maximum(p / inlet, 1.0)
        hot = day.t_k * (1.0 + (ratio**KAPPA - 1.0) / e.compressor)
        t = hot - e.cooler * (hot - day.t_k) + e.soak_k * (1.0 - pedal) + 5.0
        shape = 1.0 - 0.25 * ((speed - e.ve_at_rpm) / e.ve_wide_rpm) ** 2
        breathing = e.ve * shape * (1.0 + e.ve_per_ratio * (ratio - 1.0)) * (1.0 + ve)
        breathing = breathing * (t / 320.0) ** e.ve_per_ln_t
        air = 0.5 * (air + breathing * p * e.swept_m3 * speed / (120.0 * R * t))
    leak = plan.leak if after else 0.0
    return State(air, p, inlet, t, leak * np.sqrt(np.clip(p - day.p_pa, 0.0, None) / 100e3))


def reading(e: Engine, plan: Plan, air: np.ndarray, after: bool) -> np.ndarray:
    """Return what the sensor makes of the air that passes it."""
    true = np.maximum(air, 1e-3)
    shown = true * np.exp(e.maf_ln + e.maf_bend * np.log(true / 0.1))
    return shown * (1.0 + plan.skew) if after else shown


def log_of(
    rng: np.random.Generator, e: Engine, plan: Plan, day: Day, number: int, after: bool
) -> pd.DataFrame:
    """Return one log: engine still, idle, and what was driven."""
    speed, pedal = driven(rng, e, plan.drive)
    day = replace(day, t_k=day.t_k + rng.normal(0, 0.5) + 0.4 * number)
    own = solve(e, plan, speed, pedal, day, after, rng.normal(0, 0.003))
    p, t = lagged(own.p_pa, 0.15), lagged(own.t_k, 0.3)
    air = own.air_kgps * p / own.p_pa
    passing = (air + e.charge_m3 / (R * t) * np.gradient(p, STEP_S)) * (1.0 + own.lost)
    shown = reading(e, plan, passing, after) * np.exp(rng.normal(0, 0.002))
    shown = lagged(late(shown, e.maf_delay_s), e.maf_lag_s)
    aim = e.lambda_full + np.where(pedal > 0.97, 0.0, (0.0 if e.petrol else 1.5) * (1.0 - pedal))
    fuel = (air if e.petrol else shown) / (aim * e.afr)
    burnt = fuel * (1.0 + e.fuel_error + rng.normal(0, 0.004))
    rich = air / (burnt * e.afr)
    burns = (1.0 - np.exp(-3.0 * rich)) / (1.0 - np.exp(-3.0 * e.lambda_full))
    power = burnt * e.heating_value * e.efficiency * burns * (1.0 + rng.normal(0, 0.003))
    truth = {
        "speed": speed, "pedal": pedal, "p": p, "t": t, "maf": shown, "fuel": fuel,
        "lambda": rich, "power": power, "inlet": own.inlet_pa, "asked": own.p_pa,
    }  # fmt: skip
    if plan.rest:
        truth = {k: np.r_[v, truth[k]] for k, v in _at_rest(rng, e, plan, day, after).items()}
    return _written(rng, e, plan, day, after, truth)


def _at_rest(
    rng: np.random.Generator, e: Engine, plan: Plan, day: Day, after: bool
) -> dict[str, np.ndarray]:
    """Return the seconds ahead of the drive: ignition on, then idle."""
    counts = [round(STILL_S / STEP_S), round(IDLE_S / STEP_S)]
    p_idle = (0.38 if e.petrol else 0.98) * day.p_pa
    air = 0.85 * p_idle * e.swept_m3 * IDLE_RPM / (120.0 * R * (day.t_k + 25.0))
    lean = 1.0 if e.petrol else 4.5
    shown = float(reading(e, plan, np.array([air]), after)[0])
    pairs = {
        "speed": (0.0, IDLE_RPM), "pedal": (0.0, 0.0), "p": (day.p_pa, p_idle),
        "t": (day.t_k + 22.0, day.t_k + 22.0), "maf": (0.0, shown),
        "fuel": (0.0, air / (e.afr * lean)), "lambda": (8.0, lean), "power": (0.0, 0.0),
        "inlet": (day.p_pa, day.p_pa), "asked": (day.p_pa, day.p_pa),
    }  # fmt: skip
    out = {name: np.repeat(both, counts) for name, both in pairs.items()}
    out["speed"][counts[0] :] += rng.normal(0, 4, counts[1])
    return out


def _written(
    rng: np.random.Generator,
    e: Engine,
    plan: Plan,
    day: Day,
    after: bool,
    true: dict[str, np.ndarray],
) -> pd.DataFrame:
    """Return what the logger writes of it: sensors with lag and error, noise, rounding."""
    gain = e.pressure_error + rng.normal(0, 0.0025) + (plan.pressure_gain if after else 0.0)
    p = lagged(true["p"], e.pressure_lag_s) * (1.0 + gain)
    t = lagged(true["t"], e.temperature_lag_s) + e.temperature_error_k + rng.normal(0, 0.6)
    rich = lagged(late(true["lambda"], e.lambda_delay_s), 0.15)
    rich = rich * (1.0 + e.lambda_error + rng.normal(0, 0.005))
    rate = 10.0 if plan.drive != "pull" else e.rate_hz
    at = np.arange(0, p.size, round(1.0 / rate / STEP_S))
    n = at.size
    speed, maf = true["speed"][at], true["maf"][at]
    with np.errstate(divide="ignore"):
        strokes = np.where(speed > 100.0, 120.0 / (speed * e.cylinders), 0.0)
    columns = {
        "Time (s)": (at * STEP_S).round(2),
        "Engine speed (rpm)": speed.round(),
        AIR: (1e3 * maf * (1.0 + rng.normal(0, e.maf_noise, n))).round(2),
        PRESSURE: (1e-3 * p[at] + rng.normal(0, 0.4, n)).round(1),
        CHARGE: (t[at] - 273.15 + rng.normal(0, 0.2, n)).round(1),
        PEDAL: (100.0 * true["pedal"][at]).round(),
        "Fuel per stroke (mg)": (1e6 * true["fuel"][at] * strokes).round(2),
        "Air mass per stroke (mg)": (1e6 * maf * strokes).round(1),
        POWER: _at_wheels(e, true["power"][at], rng).round(1),
        BAROMETER: np.full(n, round(1e-3 * day.p_pa, 1)),
        INLET: (day.t_k - 273.15 + rng.normal(0, 0.15, n)).round(1),
    }
    if plan.lambda_logged:
        columns["Lambda (-)"] = rich[at].round(3)
    if plan.depression_logged:
        lower = 1e-3 * (day.p_pa - true["inlet"][at])
        columns["Intake depression (kPa)"] = (lower + rng.normal(0, 0.03, n)).round(2)
    if plan.demand_logged:
        columns["Demanded boost pressure (kPa)"] = (1e-3 * true["asked"][at]).round(1)
    return _as_logged(pd.DataFrame(columns), plan, day)


def _at_wheels(e: Engine, power_w: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Power at the wheels: a share and three kilowatts are lost on the way. [kW]"""
    left = np.maximum(power_w - 3e3, 0.0) * (1.0 - e.loss)
    return 1e-3 * left * (1.0 + rng.normal(0, 0.004, power_w.size))


def _as_logged(frame: pd.DataFrame, plan: Plan, day: Day) -> pd.DataFrame:
    """Return the columns that this workshop has, in its units and at its polling."""
    if plan.temperature == "charge in the inlet's name":
        frame[INLET] = frame[CHARGE]
    if plan.temperature in ("inlet alone", "charge in the inlet's name"):
        frame = frame.drop(columns=CHARGE)
    if plan.temperature == "charge alone":
        frame = frame.drop(columns=INLET)
    left = {BAROMETER: plan.barometer, PEDAL: plan.pedal}
    frame = frame.drop(columns=[name for name, there in left.items() if not there])
    if plan.polled:
        for k, name in enumerate(frame.columns[1:]):
            keep = (np.arange(len(frame)) + k) % 3 == 0
            frame[name] = frame[name].where(keep).ffill().bfill()
    if plan.us_units:
        gauge = (frame.pop(PRESSURE) - 1e-3 * day.p_pa) / 6.894757
        frame["Boost pressure (psi)"] = gauge.round(2)
        frame["Mass air flow (lb/min)"] = (frame.pop(AIR) * 60.0 / 453.59237).round(2)
        frame["Wheel power (hp)"] = (frame.pop(POWER) / 0.7457).round(1)
        for name in {CHARGE, INLET} & set(frame.columns):
            frame[name.replace("(C)", "(F)")] = (1.8 * frame.pop(name) + 32.0).round()
    return frame


@dataclass(frozen=True, kw_only=True)
class Campaign:
    """Logs of both sides, what is declared, and what is true: fractions by name."""

    plan: Plan
    engine_toml: str
    before: list[pd.DataFrame]
    after: list[pd.DataFrame]
    truth: dict[str, float]


def campaign_of(rng: np.random.Generator, plan: Plan) -> Campaign:
    """Return a campaign of a drawn engine."""
    e = draw_engine(rng, plan.petrol)
    days = [_day(rng)] * 2
    if plan.weather:
        days[1] = _day(rng)
    before, after = (
        [log_of(rng, e, plan, days[side], k, bool(side)) for k in range(plan.repeats)]
        for side in (0, 1)
    )
    if plan.hose_off:
        after[1] = log_of(rng, e, replace(plan, leak=plan.leak + 0.2), days[1], 1, True)
    return Campaign(
        plan=plan,
        engine_toml=_declared(rng, e, plan),
        before=before,
        after=after,
        truth=_truth(e, plan, days),
    )


def _day(rng: np.random.Generator) -> Day:
    return Day(p_pa=rng.uniform(95e3, 102e3), t_k=rng.uniform(278.0, 303.0))


def _truth(e: Engine, plan: Plan, days: list[Day]) -> dict[str, float]:
    """Return the engine's change at full load and its parts, by runs that lack one of them."""
    speed = np.linspace(e.spool_rpm + 100.0, e.high_rpm - 100.0, 60)
    down = np.ones(speed.size)

    def ln_air(day: Day, after: bool, **changed: float) -> np.ndarray:
        return np.log(solve(e, replace(plan, **changed), speed, down, day, after, 0.0).air_kgps)

    old, new = ln_air(days[0], False), ln_air(days[1], True)
    old_box, old_demand = ln_air(days[1], False), ln_air(days[1], True, demand=0.0)
    steps = {
        "change": new - old,
        "weather": old_box - old,
        "intake": old_demand - old_box,
        "demand": new - old_demand,
    }
    parts = {name: float(np.expm1(np.mean(step))) for name, step in steps.items()}
    return {"skew": plan.skew, **parts}


def _declared(rng: np.random.Generator, e: Engine, plan: Plan) -> str:
    """Return the setup file that this workshop writes."""
    ignition = "spark" if e.petrol else "compression"
    lines = [
        "[engine]",
        f"displacement_l = {1e3 * e.swept_m3:.3f}",
        f"cylinders = {e.cylinders}",
        f'ignition = "{ignition}"',
        f"charge_volume_l = {1e3 * e.charge_m3:.1f}",
    ]
    if plan.law_declared:
        lines.append(f'boost_control = "{plan.law}"')
    lines += ["[power]", 'at = "wheels"', 'corrected = "no"']
    if plan.temperature in ("charge", "charge alone"):
        lag = e.temperature_lag_s * rng.uniform(0.7, 1.4)
        lines += ["[charge_temperature]", 'place = "after_cooler"', f"time_constant_s = {lag:.2f}"]
    return "\n".join(lines) + "\n"
