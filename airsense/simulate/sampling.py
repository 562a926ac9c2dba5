"""From the march to what a data logger writes: delays, noise, rounding, sample times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.logs.log import Channel, FloatArray, Log
from airsense.simulate.case import Case
from airsense.simulate.engines import EngineModel
from airsense.simulate.history import History
from airsense.simulate.inputs import Inputs
from airsense.simulate.sensor import transfer_table

PSI_PA = 6894.757293168
LB_PER_MIN_KGPS = 0.45359237 / 60.0
HORSEPOWER_W = 745.6998715822702
FAHRENHEIT_K = 5.0 / 9.0
FAHRENHEIT_ZERO_K = 273.15 - 32.0 * 5.0 / 9.0
SIGNAL_STEP_V = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A logged quantity on the march's time grid, in SI; `grid` has shape (m, n).

    `held` takes the last controller value instead of interpolating: noise that several
    channels share sits on the grid already.
    """

    name: str
    header: str
    unit: str
    grid: FloatArray
    resolution: float
    zero: float = 0.0
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
                resolution=signal.resolution if case.rounding else 0.0,
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
        size = signal.noise_frac * np.abs(value - signal.zero) + signal.noise_abs
        value = value + case.noise * size * rng.standard_normal(value.shape)
    if case.rounding and signal.resolution:
        steps = np.round((value - signal.zero) / signal.resolution)
        value = steps * signal.resolution + signal.zero
    return value


def logged_signals(
    engine: EngineModel,
    case: Case,
    history: History,
    inputs: Inputs,
    rng: np.random.Generator,
) -> list[Signal]:
    """Return the channels that the case logs, in the order in which they are polled."""
    shape = history.speed_rpm.shape
    speed = history.speed_rpm + case.noise * 2.5 * rng.standard_normal(shape)
    film = history.mdot_indicated_kgps * (1.0 + case.noise * 0.004 * rng.standard_normal(shape))
    signals = [
        Signal(name="engine_speed", header="engine speed", unit="rpm", grid=speed,
               resolution=1.0, held=True),
        _mass_air_flow(engine, case, film),
        _pressure(case, history, inputs),
        *_temperatures(case, history, inputs),
        *_fuel_and_lambda(engine, case, history, inputs, film),
        Signal(name="pedal", header="accelerator pedal position", unit="%",
               grid=history.pedal_frac, resolution=0.01),
    ]
    if case.circular_air_per_stroke:
        signals.append(_air_per_stroke(engine, speed, film))
    if case.log_maf_signal:
        table = transfer_table(engine)
        signals.append(
            Signal(name="maf_signal", header="air flow sensor signal", unit="V",
                   grid=table.signal(film), resolution=SIGNAL_STEP_V, held=True,
                   delay_s=engine.sensing.film_delay_s)
        )
    if case.log_brake_power:
        signals.append(_power(case, history, inputs))
    if case.log_depression:
        signals.append(
            Signal(name="inlet_depression", header="inlet depression", unit="Pa",
                   grid=history.p_depression_pa, resolution=10.0, noise_frac=0.01, noise_abs=10.0)
        )
    if case.log_barometer:
        ambient = np.broadcast_to(inputs.p_ambient_pa, history.speed_rpm.shape)
        signals.append(
            Signal(name="barometric_pressure", header="barometric pressure", unit="kPa",
                   grid=ambient, resolution=100.0)
        )
    return signals


def _mass_air_flow(engine: EngineModel, case: Case, film: FloatArray) -> Signal:
    resolution, unit = (0.1 * LB_PER_MIN_KGPS, "lb/min") if case.gauge_us_units else (1e-4, "g/s")
    return Signal(name="mass_air_flow", header="mass air flow", unit=unit, grid=film,
                  resolution=resolution, held=True, delay_s=engine.sensing.film_delay_s)


def _air_per_stroke(engine: EngineModel, speed: FloatArray, film: FloatArray) -> Signal:
    strokes = engine.strokes_per_second(np.maximum(speed, 100.0))
    return Signal(name="air_per_stroke", header="air mass per stroke", unit="mg",
                  grid=film / strokes, resolution=1e-6, held=True,
                  delay_s=engine.sensing.film_delay_s)


def _pressure(case: Case, history: History, inputs: Inputs) -> Signal:
    shown = history.p_manifold_pa * inputs.map_gain + inputs.map_offset_pa
    if case.map_ceiling_kpa is not None:
        shown = np.minimum(shown, 1e3 * case.map_ceiling_kpa)
    if case.gauge_us_units:
        return Signal(name="boost_pressure", header="boost pressure", unit="psi",
                      grid=shown - inputs.p_ambient_pa, resolution=0.1 * PSI_PA, noise_abs=300.0)
    return Signal(name="manifold_pressure", header="intake manifold absolute pressure",
                  unit="kPa", grid=shown, resolution=1e3 * case.map_resolution_kpa,
                  noise_abs=300.0)


def _temperatures(case: Case, history: History, inputs: Inputs) -> list[Signal]:
    step, zero, unit = 1.0, 273.15, "degC"
    if case.gauge_us_units:
        step, zero, unit = FAHRENHEIT_K, FAHRENHEIT_ZERO_K, "degF"
    signals = []
    if case.log_charge_temperature:
        signals.append(
            Signal(name="charge_temperature", header="charge air temperature", unit=unit,
                   grid=history.t_thermistor_k + inputs.t_charge_offset_k, resolution=step,
                   zero=zero, noise_abs=0.15)
        )
    if case.log_intake_temperature:
        signals.append(
            Signal(name="intake_temperature", header="intake air temperature", unit=unit,
                   grid=history.t_intake_k, resolution=step, zero=zero, noise_abs=0.15)
        )
    return signals


def _fuel_and_lambda(
    engine: EngineModel, case: Case, history: History, inputs: Inputs, film: FloatArray
) -> list[Signal]:
    commanded = history.mdot_fuel_commanded_kgps
    signals = []
    if case.log_fuel:
        signals.append(
            Signal(name="fuel_per_stroke", header="injected fuel per stroke", unit="mg",
                   grid=commanded / engine.strokes_per_second(history.speed_rpm),
                   resolution=1e-7, noise_frac=0.002)
        )
    if case.circular_lambda:
        by_air = film / (commanded * engine.fuelling.air_fuel_ratio_stoich)
        signals.append(
            Signal(name="lambda", header="lambda", unit="", grid=np.clip(by_air, 0.5, 16.0),
                   resolution=0.01, held=True, delay_s=engine.sensing.film_delay_s)
        )
    elif case.log_lambda:
        signals.append(
            Signal(name="lambda", header="lambda", unit="",
                   grid=history.lambda_sensor * inputs.lambda_gain, resolution=0.01,
                   noise_frac=0.005, delay_s=engine.sensing.lambda_delay_s)
        )
    return signals


def _power(case: Case, history: History, inputs: Inputs) -> Signal:
    resolution, unit = (HORSEPOWER_W, "hp") if case.gauge_us_units else (100.0, "kW")
    return Signal(name="brake_power", header="brake power", unit=unit,
                  grid=history.power_w * inputs.power_gain, resolution=resolution,
                  noise_frac=0.003, noise_abs=100.0)
