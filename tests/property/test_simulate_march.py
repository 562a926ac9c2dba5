"""The march: balances that must close, steps that must not matter, signs that must be right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.arrays import FloatArray
from tests.simulate.case import Case
from tests.simulate.engines import (
    ENGINES,
    LARGE_TURBO_DIESEL,
    TURBO_DIESEL,
    TURBO_PETROL,
    EngineModel,
)
from tests.simulate.history import RECORDED, History
from tests.simulate.inputs import Inputs, join, nominal_inputs
from tests.simulate.march import march
from tests.simulate.state import R_AIR
from tests.simulate.surroundings import specific_humidity, speed_and_pedal
from tests.simulate.truth import Truth, truth_of

pytestmark = pytest.mark.slow

QUIET = Case(drift=0.0, absolute_errors=0.0, scatter=0.0, noise=0.0)
engines = pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)


def nominal(engine: EngineModel, *cases: Case) -> Inputs:
    return join([nominal_inputs(engine, case, np.random.default_rng(0)) for case in cases])


def truths(engine: EngineModel, *cases: Case) -> list[Truth]:
    inputs = nominal(engine, *cases)
    history = march(engine, inputs)
    return [truth_of(history.part(2 * i, 2 * i + 2), inputs) for i in range(len(cases))]


def window(engine: EngineModel) -> tuple[float, float]:
    """The part of the sweep in which boost has been built."""
    return 1.5 * engine.sweep.start_rpm, 0.98 * engine.sweep.end_rpm


def in_window(engine: EngineModel, history: History) -> FloatArray:
    low, high = window(engine)
    speed = history.speed_rpm[:, 0]
    return (speed > low) & (speed < high) & (history.pedal_frac[:, 0] > 0.99)


@engines
def test_what_flows_in_flows_out_or_is_stored(engine: EngineModel) -> None:
    step = 0.01
    leaky = replace(QUIET, leak_after_compressor=0.05, boost_change=0.05)
    history = march(engine, nominal(engine, leaky), step_s=step, record_s=step)
    net = (history.mdot_compressor_kgps - history.mdot_engine_kgps - history.mdot_leak_kgps)[
        1:
    ] * step
    stored = np.diff(history.stored_kg, axis=0)
    assert np.max(np.abs(net - stored)) < 1e-14
    # Filling must be worth balancing: the store grows by much more than rounding.
    assert np.ptp(history.stored_kg) > 0.4 * history.stored_kg.max()


@engines
def test_stored_air_obeys_the_gas_law(engine: EngineModel) -> None:
    inputs = nominal(engine, QUIET)
    history = march(engine, inputs)
    vapour = specific_humidity(inputs)
    r_moist = R_AIR * (1.0 - vapour) + 461.5 * vapour  # water vapour: CRC Handbook, from memory
    p = history.stored_kg * r_moist * history.t_charge_k / engine.charge.volume_m3
    full = history.pedal_frac[:, 0] > 0.99
    throttled = 0.99 if engine.spark else 1.0
    np.testing.assert_allclose(history.p_manifold_pa[full], throttled * p[full], rtol=1e-5)


@engines
def test_the_step_does_not_matter(engine: EngineModel) -> None:
    inputs = nominal(engine, replace(QUIET, skew=0.05, boost_change=0.02))
    histories = [march(engine, inputs, step_s=step, record_s=0.1) for step in (0.02, 0.01, 0.005)]
    rows = histories[-1].time_s.size
    keep = in_window(engine, histories[-1])[:rows]

    def distance(a: History, b: History) -> float:
        ratio = np.log(a.mdot_engine_kgps[:rows] / b.mdot_engine_kgps[:rows])
        return float(np.sqrt(np.mean(ratio[keep] ** 2)))

    coarse, fine = distance(*histories[:2]), distance(*histories[1:])
    assert fine < 0.001
    assert 0.35 < fine / coarse < 0.65  # first order


@engines
def test_a_sweep_looks_like_that_engine(engine: EngineModel) -> None:
    history = march(engine, nominal(engine, QUIET)).part(0, 1)
    keep = in_window(engine, history)
    flow = history.mdot_engine_kgps[keep]
    assert 0.85 < flow.max() / engine.reference_flow_kgps < 1.1
    assert np.all(np.diff(history.mdot_sensor_kgps[keep][::25, 0]) > 0.0)
    power = history.power_w[keep]
    efficiency = power / (history.mdot_fuel_kgps[keep] * engine.fuelling.heating_value_j_kg)
    assert 0.28 < efficiency.min() < efficiency.max() < 0.44
    mixture = history.lambda_true[keep]
    low, high = (0.8, 1.0) if engine.spark else (1.1, 1.5)
    assert low < mixture.min() < mixture.max() < high
    ambient = QUIET.ambient_temperature_k
    assert ambient + 15.0 < history.t_charge_k[keep].max() < ambient + 65.0
    # The thermistor trails a rising temperature.
    early = keep & (history.speed_rpm[:, 0] < 2.0 * engine.sweep.start_rpm)
    assert np.all(history.t_thermistor_k[early] < history.t_charge_k[early] - 2.0)


@engines
def test_the_pull_rises_from_start_to_end_and_is_framed_by_part_load(engine: EngineModel) -> None:
    inputs = nominal(engine, QUIET)
    times = np.linspace(0.0, inputs.sweep_end_s[0] + 1.0, 600)
    rows = [speed_and_pedal(engine, inputs, float(t)) for t in times]
    speed = np.array([row[0][0] for row in rows])
    pedal = np.array([row[1][0] for row in rows])
    pulling = (times > inputs.sweep_start_s[0]) & (times < inputs.sweep_end_s[0])
    assert np.all(np.diff(speed[pulling]) > 0.0)
    assert speed[pulling][0] == pytest.approx(engine.sweep.start_rpm, rel=0.01)
    assert speed[pulling][-1] == pytest.approx(engine.sweep.end_rpm, rel=0.01)
    assert np.all(pedal[pulling] == 1.0)
    assert np.all(pedal[times < 2.5] == engine.sweep.cruise_pedal)
    assert pedal[-1] == 0.0


@engines
def test_no_change_has_no_truth(engine: EngineModel) -> None:
    (truth,) = truths(engine, QUIET)
    for name in ("reading", "airflow", "sensor_flow", "fuel", "power", "p_manifold"):
        assert np.all(getattr(truth, name) == 0.0)
    assert truth.skew(*window(engine)) == 0.0
    assert truth.airflow_change(*window(engine)) == 0.0


@engines
def test_a_constant_skew_is_the_skew_and_nothing_else(engine: EngineModel) -> None:
    for size, truth in zip(
        (0.08, -0.06),
        truths(engine, replace(QUIET, skew=0.08), replace(QUIET, skew=-0.06)),
        strict=True,
    ):
        assert truth.skew(*window(engine)) == pytest.approx(size, abs=1e-12)
        assert abs(truth.airflow_change(*window(engine))) < 0.03


@pytest.mark.parametrize("engine", [TURBO_DIESEL, LARGE_TURBO_DIESEL], ids=lambda e: e.name)
def test_an_over_reading_sensor_makes_a_diesel_breathe_more(engine: EngineModel) -> None:
    high, low = truths(engine, replace(QUIET, skew=0.05), replace(QUIET, skew=-0.05))
    span = window(engine)
    assert high.change(high.fuel, *span) > 0.03
    assert high.change(high.p_manifold, *span) > 0.005
    assert 0.005 < high.airflow_change(*span) < 0.03
    assert -0.03 < low.airflow_change(*span) < -0.005


def test_a_lambda_loop_takes_the_excess_fuel_back() -> None:
    (truth,) = truths(TURBO_PETROL, replace(QUIET, skew=0.05))
    assert abs(truth.airflow_change(*window(TURBO_PETROL))) < 0.002
    # Authority is four percent, of which the loop is slow: less fuel than the skew alone asks for.
    assert 0.0 < truth.change(truth.fuel, 4000.0, 6000.0) < 0.03


@engines
def test_each_way_to_breathe_more_breathes_more(engine: EngineModel) -> None:
    span = window(engine)
    freer, choked, boosted, better = truths(
        engine,
        replace(QUIET, restriction_factor=0.5),
        replace(QUIET, restriction_factor=2.0),
        replace(QUIET, boost_change=0.03),
        replace(QUIET, ve_change=0.02),
    )
    assert 0.002 < freer.airflow_change(*span) < 0.02
    assert choked.airflow_change(*span) < -freer.airflow_change(*span)
    assert 0.015 < boosted.airflow_change(*span) < 0.03
    assert better.airflow_change(*span) == pytest.approx(0.02, abs=0.005)
    # Better breathing shows in the air and hardly in the pressure; more boost in both.
    assert better.change(better.p_manifold, *span) < 0.007
    assert boosted.change(boosted.p_manifold, *span) > 0.02
    for truth in (freer, choked, boosted, better):
        assert truth.skew(*span) == 0.0


@engines
def test_a_leak_behind_the_compressor_is_metered_but_not_breathed(engine: EngineModel) -> None:
    inputs = nominal(engine, replace(QUIET, leak_after_compressor=0.05))
    history = march(engine, inputs)
    truth = truth_of(history, inputs)
    span = window(engine)
    assert truth.skew(*span) == 0.0
    assert truth.airflow_change(*span) < truth.change(truth.sensor_flow, *span) - 0.04
    leak = history.mdot_leak_kgps[:, 1]
    at_reference = np.argmin(np.abs(history.p_manifold_pa[:, 1] - engine.reference_pressure_pa))
    assert leak[at_reference] == pytest.approx(0.05 * engine.reference_flow_kgps, rel=0.1)
    cruise = history.time_s < 2.0
    assert np.all(leak[cruise] < 0.4 * leak.max())
    assert np.all(history.mdot_leak_kgps[:, 0] == 0.0)


@engines
def test_a_leak_ahead_of_the_compressor_is_breathed_but_not_metered(engine: EngineModel) -> None:
    inputs = nominal(engine, replace(QUIET, leak_before_compressor=0.05))
    history = march(engine, inputs)
    truth = truth_of(history, inputs)
    assert truth.skew(*window(engine)) == 0.0
    share = 1.0 - history.mdot_sensor_kgps[:, 1] / history.mdot_compressor_kgps[:, 1]
    expected = 0.05 * np.sqrt(history.p_depression_pa[:, 1] / engine.charge.depression_pa)
    keep = in_window(engine, history)
    # Depression moves within the step that share was taken at.
    np.testing.assert_allclose(share[keep], expected[keep], rtol=0.02)
    assert share[keep][-1] > 1.2 * share[keep][0]
    assert share[keep][-1] > 3.0 * share[history.time_s < 2.0].max()
    np.testing.assert_array_equal(
        history.mdot_sensor_kgps[:, 0], history.mdot_compressor_kgps[:, 0]
    )


@engines
def test_depression_follows_flow_squared_over_density(engine: EngineModel) -> None:
    cold = replace(QUIET, ambient_temperature_k=273.0)
    thin = replace(QUIET, ambient_pressure_pa=85_000.0, ambient_temperature_k=303.0)
    inputs = nominal(engine, cold, thin)
    history = march(engine, inputs)
    keep = in_window(engine, history)
    rho = inputs.p_ambient_pa / inputs.t_ambient_k
    law = history.p_depression_pa * rho / history.mdot_sensor_kgps**2
    typical = np.median(law[keep], axis=0)
    # Humidity is all that is left between cold dense and warm thin air.
    assert typical[2] / typical[0] == pytest.approx(1.0, abs=0.01)
    # Once boost is built everywhere, the 30 ms of the air column bend the law but little.
    built = keep & (history.speed_rpm[:, 0] > 1.7 * engine.sweep.start_rpm)
    assert np.max(np.abs(law[built] / typical - 1.0)) < 0.02


def test_recirculation_left_open_displaces_fresh_air_at_nearly_the_same_pressure() -> None:
    (truth,) = truths(TURBO_DIESEL, replace(QUIET, egr_open_after=0.05))
    span = window(TURBO_DIESEL)
    assert -0.08 < truth.airflow_change(*span) < -0.045
    assert truth.change(truth.p_manifold, *span) > -0.02


def test_recirculation_is_open_at_part_load_of_a_diesel_and_shut_in_the_pull() -> None:
    inputs = nominal(TURBO_DIESEL, QUIET)
    history = march(TURBO_DIESEL, inputs)
    b = TURBO_DIESEL.breathing
    ideal = (
        history.p_manifold_pa
        * b.displacement_m3
        * history.speed_rpm
        / 120.0
        / (287.0 * history.t_charge_k)
    )
    apparent = (history.mdot_engine_kgps / ideal)[:, 0]
    assert np.all(apparent[history.time_s < 2.5] < 0.75)
    assert np.all(apparent[in_window(TURBO_DIESEL, history)] > 0.84)


@engines
def test_breathing_without_drift_depends_on_speed_alone(engine: EngineModel) -> None:
    plain = replace(QUIET, ve_drift=False, boost_change=0.10)
    drifting = replace(plain, ve_drift=True)
    history = march(engine, nominal(engine, plain, drifting))
    b = engine.breathing
    ideal = history.p_manifold_pa * history.speed_rpm / history.t_charge_k
    ve = history.mdot_engine_kgps / ideal * 287.05 * 120.0 / b.displacement_m3
    keep = in_window(engine, history)
    change = np.mean(np.log(ve[keep, 1::2] / ve[keep, ::2]), axis=0)
    # Recorded pressure and temperature are those after the step, hence not quite zero.
    assert abs(change[0]) < 2e-4
    assert abs(change[1]) > 1e-3


@engines
def test_a_hot_cooler_costs_air(engine: EngineModel) -> None:
    inputs = nominal(engine, QUIET, QUIET)
    soaked = replace(inputs, soak_k=np.array([0.0, 0.0, 4.0, 4.0]))
    history = march(engine, soaked)
    keep = in_window(engine, history)
    lost = np.mean(np.log(history.mdot_engine_kgps[keep, 2] / history.mdot_engine_kgps[keep, 0]))
    assert -0.012 < lost < -0.001


@engines
def test_no_mix_of_knobs_breaks_the_march(engine: EngineModel) -> None:
    rng = np.random.default_rng(12)
    cases = [
        Case(
            skew=rng.uniform(-0.15, 0.15),
            skew_shape=rng.uniform(-0.1, 0.1),
            pulsation=rng.uniform(0.0, 0.15),
            restriction_factor=rng.uniform(0.2, 3.0),
            boost_change=rng.uniform(-0.2, 0.2),
            ve_change=rng.uniform(-0.08, 0.08),
            leak_after_compressor=rng.uniform(0.0, 0.12),
            leak_before_compressor=rng.uniform(0.0, 0.12),
            fuel_scale=rng.uniform(-0.1, 0.1),
            egr_open_after=rng.uniform(0.0, 0.15),
            ambient_pressure_pa=rng.uniform(72e3, 104e3),
            ambient_temperature_k=rng.uniform(255.0, 315.0),
            relative_humidity_frac=rng.uniform(0.0, 1.0),
        )
        for _ in range(150)
    ]
    history = march(engine, nominal(engine, *cases))
    for name in RECORDED:
        assert np.all(np.isfinite(getattr(history, name))), name
    flows = (history.mdot_engine_kgps, history.mdot_fuel_kgps, history.mdot_indicated_kgps)
    assert all(flow.min() > 0.0 for flow in flows)
    assert history.mdot_sensor_kgps.min() > -0.02 * engine.reference_flow_kgps
    assert 20e3 < history.p_manifold_pa.min() < history.p_manifold_pa.max() < 450e3
    assert 240.0 < history.t_charge_k.min() < history.t_charge_k.max() < 420.0
    # Neither the volume nor the actuator rings from step to step.
    keep = in_window(engine, history)
    jerk = np.abs(np.diff(history.p_manifold_pa[keep], n=2, axis=0))
    assert jerk.max() < 1.5e3
