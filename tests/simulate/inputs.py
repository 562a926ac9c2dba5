"""From cases to the columns of the march: one column a run, with its drawn effects."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from airsense.arrays import FloatArray
from tests.simulate.case import BoostControl, Case
from tests.simulate.engine_model import EngineModel

SOAK_K = 4.0  # the cooler's metal above ambient after many runs
SOAK_RUNS = 1.5
NOMINAL_SOAK_K = 2.5
CONTROL_REFERENCE_PA = 98_500.0  # ambient at which all laws ask for the same pressure
INTEGRAL_PER_S = 6.0
AIR_LIMITED_DEMAND = 1.25
INLET_REFERENCE_PA = 95_500.0  # compressor inlet at which the ratio to it asks for the same


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Standard deviations of the effects on one run; fractions, or kelvin where named."""

    ve: float = 0.0
    boost: float = 0.0
    maf: float = 0.0
    map_: float = 0.0
    t_charge_k: float = 0.0
    fuel: float = 0.0
    lambda_: float = 0.0
    power: float = 0.0


# Source of the three rows: our choice from generic sensor data sheets and practice. What is
# common to a campaign cancels in a change; a drift of the MAF reading would be skew itself.
RUN_TO_RUN = Sizes(
    ve=0.003,
    boost=0.003,
    maf=0.002,
    map_=0.002,
    t_charge_k=0.8,
    fuel=0.005,
    lambda_=0.005,
    power=0.005,
)
BETWEEN = Sizes(ve=0.003, map_=0.0015, t_charge_k=0.5, fuel=0.003, lambda_=0.003, power=0.004)
ABSOLUTE = Sizes(
    ve=0.03, maf=0.02, map_=0.008, t_charge_k=1.5, fuel=0.03, lambda_=0.012, power=0.015
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What drives the march and the read-out; every field has shape (n,), one entry a run."""

    p_ambient_pa: FloatArray
    t_ambient_k: FloatArray
    humidity_frac: FloatArray
    restriction: FloatArray
    boost: FloatArray
    boost_ratio: FloatArray
    boost_ratio_inlet: FloatArray
    boost_shift_pa: FloatArray
    boost_integral_per_s: FloatArray
    boost_per_fuel: FloatArray
    fuel_demand: FloatArray
    ve: FloatArray
    ve_drift: FloatArray
    reading: FloatArray
    skew_shape: FloatArray
    pulsation: FloatArray
    pulsation_by_load: FloatArray
    maf_ceiling_kgps: FloatArray
    leak_after: FloatArray
    leak_before: FloatArray
    egr: FloatArray
    delivery: FloatArray
    soak_k: FloatArray
    full_pedal_s: FloatArray
    sweep_start_s: FloatArray
    sweep_end_s: FloatArray
    map_gain: FloatArray
    map_offset_pa: FloatArray
    t_charge_offset_k: FloatArray
    lambda_gain: FloatArray
    power_gain: FloatArray

    @property
    def count(self) -> int:
        """Number of columns."""
        return int(self.ve.size)

    def column(self, index: int) -> Inputs:
        """Return one column, as inputs of one run."""
        return Inputs(**{f.name: getattr(self, f.name)[index : index + 1] for f in fields(Inputs)})

    def boost_target_pa(
        self, target_pa: FloatArray, fuelled: FloatArray | float, p_inlet_pa: FloatArray
    ) -> FloatArray:
        """Return the pressure that the controller asks for; shape as broadcast. [Pa]

        `fuelled` is commanded over mapped fuel; what it adds counts up to a tenth either way.
        """
        by_fuel = 1.0 + self.boost_per_fuel * np.clip(fuelled - 1.0, -0.1, 0.1)
        by_inlet = p_inlet_pa / INLET_REFERENCE_PA
        ratio = np.where(self.boost_ratio_inlet > 0.0, by_inlet, self.boost_ratio)
        return np.asarray(target_pa * self.boost * ratio * by_fuel + self.boost_shift_pa)


def run_inputs(engine: EngineModel, case: Case, rng: np.random.Generator) -> Inputs:
    """Return the inputs of all runs of a campaign, the before-runs first."""
    after = (np.arange(case.n_runs) >= case.n_before).astype(float)
    drawn = _drawn(case, after, rng)
    order = np.arange(case.n_runs, dtype=float)
    soak = SOAK_K * (1.0 - np.exp(-order / SOAK_RUNS))
    jitter = rng.standard_normal((3, case.n_runs)) * case.scatter
    weather = rng.standard_normal((3, case.n_runs)) * case.scatter
    return _inputs(engine, case, after, drawn=drawn, jitter=jitter, weather=weather, soak_k=soak)


def nominal_inputs(engine: EngineModel, case: Case, rng: np.random.Generator) -> Inputs:
    """Return one before and one after pass without run-to-run effects.

    `rng` must be in the state that `run_inputs` starts from: what belongs to the campaign or
    the configuration (constant sensor errors, a drift of breathing) is the same there.
    """
    runs = (np.arange(case.n_runs) >= case.n_before).astype(float)
    drawn = _drawn(case, runs, rng, run_to_run=False)
    pick = np.array([0, case.n_runs - 1])
    drawn = _Drawn(**{f.name: getattr(drawn, f.name)[pick] for f in fields(_Drawn)})
    still = np.zeros((3, 2))
    return _inputs(
        engine,
        case,
        np.array([0.0, 1.0]),
        drawn=drawn,
        jitter=still,
        weather=still,
        soak_k=np.full(2, NOMINAL_SOAK_K),
    )


def join(parts: Sequence[Inputs]) -> Inputs:
    """Put the columns of several inputs side by side."""
    return Inputs(
        **{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Inputs)}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """Sum of absolute, between and run-to-run effects per run; shape (n_runs,)."""

    ve: FloatArray
    boost: FloatArray
    maf: FloatArray
    map_: FloatArray
    t_charge_k: FloatArray
    fuel: FloatArray
    lambda_: FloatArray
    power: FloatArray


def _drawn(
    case: Case, after: FloatArray, rng: np.random.Generator, *, run_to_run: bool = True
) -> _Drawn:
    names = [f.name for f in fields(Sizes)]
    common = rng.standard_normal(len(names)) * case.absolute_errors
    drift = rng.standard_normal(len(names)) * case.drift
    single = rng.standard_normal((len(names), after.size)) * case.scatter
    if not run_to_run:
        single = np.zeros_like(single)
    return _Drawn(
        **{
            name: getattr(ABSOLUTE, name) * common[i]
            + getattr(BETWEEN, name) * drift[i] * after
            + getattr(RUN_TO_RUN, name) * single[i]
            for i, name in enumerate(names)
        }
    )


def _weather(
    case: Case, after: FloatArray, drawn: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return ambient pressure [Pa], temperature [K] and relative humidity of each run."""
    pressure = case.ambient_pressure_pa + case.ambient_pressure_scatter_pa * drawn[0]
    temperature = case.ambient_temperature_k + case.ambient_temperature_scatter_k * drawn[1]
    humid = case.relative_humidity_frac + case.relative_humidity_scatter_frac * drawn[2]
    return (
        pressure + case.ambient_pressure_change_pa * after,
        temperature + case.ambient_temperature_change_k * after,
        np.clip(humid, 0.02, 1.0),
    )


def _inputs(
    engine: EngineModel,
    case: Case,
    after: FloatArray,
    *,
    drawn: _Drawn,
    jitter: FloatArray,
    weather: FloatArray,
    soak_k: FloatArray,
) -> Inputs:
    sweep, law = engine.sweep, case.boost_control
    full_pedal = sweep.lead_in_s + 0.25 * np.clip(jitter[0], -2.0, 2.0)
    start = full_pedal + sweep.settle_s + 0.08 * np.clip(jitter[1], -2.0, 2.0)
    duration = sweep.duration_s * (1.0 + 0.02 * np.clip(jitter[2], -2.5, 2.5))
    flat = np.ones_like(after)
    p_ambient, t_ambient, humidity = _weather(case, after, weather)
    return Inputs(
        p_ambient_pa=p_ambient,
        t_ambient_k=t_ambient,
        humidity_frac=humidity,
        restriction=case.restriction_before * (1.0 + (case.restriction_factor - 1.0) * after),
        boost=(1.0 + case.boost_change * after) * (1.0 + drawn.boost),
        boost_ratio_inlet=flat * float(law is BoostControl.RATIO_INLET),
        boost_ratio=p_ambient / CONTROL_REFERENCE_PA if law is BoostControl.RATIO_AMBIENT else flat,
        boost_shift_pa=(p_ambient - CONTROL_REFERENCE_PA) * float(law is BoostControl.GAUGE),
        boost_integral_per_s=flat * (0.0 if law is BoostControl.DROOP else INTEGRAL_PER_S),
        boost_per_fuel=flat * case.boost_per_fuel,
        fuel_demand=flat * (AIR_LIMITED_DEMAND if case.air_limited else 1.0),
        ve=(1.0 + case.ve_change * after) * (1.0 + drawn.ve),
        ve_drift=flat * float(case.ve_drift),
        reading=(1.0 + case.skew * after) * (1.0 + drawn.maf),
        skew_shape=case.skew_shape * after,
        pulsation=engine.sensing.pulsation_frac + case.pulsation * after,
        pulsation_by_load=flat * float(case.pulsation_by_load),
        maf_ceiling_kgps=flat * (case.maf_ceiling_kgps or np.inf),
        leak_after=case.leak_after_compressor * after,
        leak_before=case.leak_before_compressor * after,
        egr=case.egr_open_after * after,
        delivery=(1.0 + drawn.fuel) / (1.0 + case.fuel_scale * after),
        soak_k=soak_k * float(case.heat_soak),
        full_pedal_s=full_pedal,
        sweep_start_s=start,
        sweep_end_s=start + duration,
        map_gain=(1.0 + case.map_gain * after) * (1.0 + drawn.map_),
        map_offset_pa=1e3 * case.map_offset_kpa * after,
        t_charge_offset_k=case.charge_temp_offset_k * after + drawn.t_charge_k,
        lambda_gain=(1.0 + case.lambda_scale * after) * (1.0 + drawn.lambda_),
        power_gain=1.0 + drawn.power,
    )
