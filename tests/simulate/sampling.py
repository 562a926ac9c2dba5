"""From the march to what a data logger writes: delays, noise, rounding, sample times."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from airsense.arrays import FloatArray
from airsense.logs.canon import CANON
from airsense.logs.log import Channel, Log
from airsense.units import to_si
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.history import History
from tests.simulate.inputs import Inputs
from tests.simulate.sensor import transfer_table


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A logged quantity on the march's time grid, in SI; `grid` has shape (m, n).

    `step` is the logger's last digit in `unit`. `held` takes the last controller value instead
    of interpolating: noise that several channels share sits on the grid already.
    """

    name: str
    header: str
    unit: str
    grid: FloatArray
    step: float
    noise_frac: float = 0.0
    noise_abs: float = 0.0
    delay_s: float = 0.0
    held: bool = False


def sample_logs(
    engine: EngineModel,
    case: Case,
    history: History,
    inputs: Inputs,
    rng: np.random.Generator,
) -> list[Log]:
    """Return one log a column of `history`; `inputs` are those of the same columns."""
    signals = logged_signals(engine, case, history, inputs, rng)
    count = inputs.count
    end = inputs.sweep_end_s + engine.sweep.lift_off_s
    first = rng.uniform(0.2, 0.9, count)
    period = (len(signals) if case.staggered else 1) / case.sample_rate_hz
    rows = int((end.max() - first.min()) / period) + 1
    base = first + np.arange(rows)[:, None] * period
    channels: list[dict[str, Channel]] = [{} for _ in range(count)]
    shared = [base[base[:, run] <= end[run], run] for run in range(count)]
    for position, signal in enumerate(signals):
        late = position / case.sample_rate_hz if case.staggered else 0.0
        value = _read(signal, history.time_s, base + late, case, rng)
        for run in range(count):
            time = shared[run] + late if case.staggered else shared[run]
            channels[run][signal.name] = Channel(
                name=signal.name,
                header=signal.header,
                unit_read=signal.unit,
                time_s=time,
                value=value[: time.size, run].copy(),
                recognised_by="simulated",
                resolution=signal.step * display_scale(signal.name, signal.unit)[0]
                if case.rounding
                else 0.0,
            )
    return [
        Log(path=_path(case, run), reader="simulated", sha256="", channels=channels[run])
        for run in range(count)
    ]


def _path(case: Case, run: int) -> str:
    side, number = ("before", run) if run < case.n_before else ("after", run - case.n_before)
    return f"{case.name}/{side}_{number + 1}"


def _read(
    signal: Signal, grid_s: FloatArray, time_s: FloatArray, case: Case, rng: np.random.Generator
) -> FloatArray:
    """Return noisy, rounded values at `time_s`; shape (rows, n) as `time_s`."""
    spacing = grid_s[1] - grid_s[0]
    place = np.clip((time_s - signal.delay_s - grid_s[0]) / spacing, 0.0, grid_s.size - 1.001)
    low = place.astype(np.intp)
    columns = np.arange(time_s.shape[1])
    value: FloatArray = signal.grid[low, columns]
    if not signal.held:
        value = value + (place - low) * (signal.grid[low + 1, columns] - value)
    if signal.noise_frac or signal.noise_abs:
        size = signal.noise_frac * np.abs(value) + signal.noise_abs
        value = value + case.noise * size * rng.standard_normal(value.shape)
    if case.rounding:
        factor, zero = display_scale(signal.name, signal.unit)
        step = signal.step * factor
        value = np.round((value - zero) / step) * step + zero
    return value


_OTHER_UNITS = {"wheel_power": "W", "boost_demand": "Pa"}


@cache
def display_scale(name: str, unit: str) -> tuple[float, float]:
    """Return factor and offset from a logger's unit to the unit inside airsense."""
    canonical = CANON[name].unit if name in CANON else _OTHER_UNITS[name]
    if not unit or not canonical:
        return 1.0, 0.0
    zero, one = to_si([0.0, 1.0], unit, canonical)
    return float(one - zero), float(zero)


def logged_signals(
    engine: EngineModel,
    case: Case,
    history: History,
    inputs: Inputs,
    rng: np.random.Generator,
) -> list[Signal]:
    """Return the channels that the case logs, in the order in which they are polled."""
    shape = history.speed_rpm.shape
    rough = case.noise * 2.5 * rng.standard_normal(shape)
    speed = history.speed_rpm + rough * (history.speed_rpm > 0.0)
    film = _delayed(history, engine.sensing.film_delay_s)
    film = film * (1.0 + case.noise * 0.004 * rng.standard_normal(shape))
    fuelled = engine.fuelled(history.mdot_fuel_commanded_kgps, history.speed_rpm)
    asked = inputs.boost_target_pa(
        engine.turbo.p_target_pa(history.speed_rpm),
        fuelled,
        inputs.p_ambient_pa - history.p_depression_pa,
    )
    demand = Signal(
        name="boost_demand", header="boost pressure demand", unit="kPa", grid=asked, step=1.0
    )
    turning = Signal(
        name="engine_speed", header="engine speed", unit="rpm", grid=speed, step=1.0, held=True
    )
    return [
        turning,
        *_air_flow(engine, case, speed, film),
        _pressure(case, history, inputs),
        *_temperatures(case, history, inputs),
        *_fuel_and_lambda(engine, case, history, inputs, film),
        *_around_the_engine(case, history, inputs),
        *([demand] if case.log_boost_demand else []),
    ]


def _around_the_engine(case: Case, history: History, inputs: Inputs) -> list[Signal]:
    """Return pedal, roller power, intake depression and weather."""
    signals = [
        Signal(
            name="pedal",
            header="accelerator pedal position",
            unit="%",
            grid=history.pedal_frac,
            step=1.0,
        ),
        *_powers(case, history, inputs),
    ]
    if case.log_depression:
        signals.append(
            Signal(
                name="inlet_depression",
                header="inlet depression",
                unit="Pa",
                grid=history.p_depression_pa,
                step=10.0,
                noise_frac=0.01,
                noise_abs=10.0,
            )
        )
    if case.log_barometer:
        shown = inputs.p_ambient_pa
        if case.barometer_from_map:
            shown = shown * inputs.map_gain + inputs.map_offset_pa
        signals.append(
            Signal(
                name="barometric_pressure",
                header="barometric pressure",
                unit="kPa",
                grid=np.broadcast_to(shown, history.speed_rpm.shape),
                step=0.1,
            )
        )
    return signals


def _powers(case: Case, history: History, inputs: Inputs) -> list[Signal]:
    """Return brake power and what of it arrives at the wheels."""
    signals = []
    if case.log_brake_power:
        unit, step = ("hp", 1.0) if case.gauge_us_units else ("kW", 0.1)
        signals.append(
            Signal(
                name="brake_power",
                header="brake power",
                unit=unit,
                grid=history.power_w * inputs.power_gain,
                step=step,
                noise_frac=0.003,
                noise_abs=100.0,
            )
        )
    if case.log_wheel_power:
        brake = history.power_w * inputs.power_gain
        at_wheels = case.driveline_efficiency * brake - case.driveline_loss_w
        signals.append(
            Signal(
                name="wheel_power",
                header="wheel power",
                unit="hp",
                grid=np.maximum(at_wheels, 0.0),
                step=0.1,
                noise_frac=0.004,
            )
        )
    return signals


def _delayed(history: History, delay_s: float) -> FloatArray:
    """Return the indicated flow as the controller has it, whole grid rows late."""
    late = round(delay_s / float(history.time_s[1] - history.time_s[0]))
    flow = history.mdot_indicated_kgps
    return np.concatenate([flow[:1].repeat(late, axis=0), flow[: flow.shape[0] - late]])


def _air_flow(engine: EngineModel, case: Case, speed: FloatArray, film: FloatArray) -> list[Signal]:
    """Return the channels that come from the hot film."""
    unit = "lb/min" if case.gauge_us_units else "g/s"
    rows = [("mass_air_flow", "mass air flow", unit, film, 0.1)]
    if case.circular_air_per_stroke:
        strokes = engine.strokes_per_second(np.maximum(speed, 100.0))
        rows.append(("air_per_stroke", "air mass per stroke", "mg", film / strokes, 1.0))
    if case.log_maf_signal:
        signal = transfer_table(engine).signal(film)
        rows.append(("maf_signal", "mass air flow signal", "V", signal, 0.001))
    return [
        Signal(name=name, header=header, unit=unit, grid=grid, step=step, held=True)
        for name, header, unit, grid, step in rows
    ]


def _pressure(case: Case, history: History, inputs: Inputs) -> Signal:
    shown = history.p_manifold_pa * inputs.map_gain + inputs.map_offset_pa
    if case.map_ceiling_kpa is not None:
        shown = np.minimum(shown, 1e3 * case.map_ceiling_kpa)
    if case.gauge_us_units:
        return Signal(
            name="boost_pressure",
            header="boost pressure",
            unit="psi",
            grid=shown - inputs.p_ambient_pa,
            step=0.1,
            noise_abs=300.0,
        )
    return Signal(
        name="manifold_pressure",
        header="intake manifold absolute pressure",
        unit="kPa",
        grid=shown,
        step=case.map_resolution_kpa,
        noise_abs=300.0,
    )


def _temperatures(case: Case, history: History, inputs: Inputs) -> list[Signal]:
    rows = []
    if case.log_charge_temperature:
        shown = history.t_thermistor_k + inputs.t_charge_offset_k
        rows.append(("charge_temperature", "charge air temperature", shown))
    if case.log_intake_temperature:
        rows.append(("intake_temperature", "intake air temperature", history.t_intake_k))
    unit = "degF" if case.gauge_us_units else "degC"
    return [
        Signal(name=name, header=header, unit=unit, grid=grid, step=1.0, noise_abs=0.15)
        for name, header, grid in rows
    ]


def _fuel_and_lambda(
    engine: EngineModel, case: Case, history: History, inputs: Inputs, film: FloatArray
) -> list[Signal]:
    commanded = history.mdot_fuel_commanded_kgps
    signals = []
    if case.log_fuel:
        per_stroke = commanded / engine.strokes_per_second(np.maximum(history.speed_rpm, 100.0))
        signals.append(
            Signal(
                name="fuel_per_stroke",
                header="fuel per stroke",
                unit="mg",
                grid=per_stroke,
                step=0.1,
                noise_frac=0.002,
            )
        )
    if case.circular_lambda:
        burnt = np.maximum(commanded, 1e-9) * engine.fuelling.air_fuel_ratio_stoich
        by_air = np.clip(film / burnt, 0.5, 16.0)
        signals.append(
            Signal(name="lambda", header="lambda", unit="", grid=by_air, step=0.01, held=True)
        )
    elif case.log_lambda:
        signals.append(
            Signal(
                name="lambda",
                header="lambda",
                unit="",
                grid=history.lambda_sensor * inputs.lambda_gain,
                step=0.01,
                noise_frac=0.005,
                delay_s=engine.sensing.lambda_delay_s,
            )
        )
    return signals
