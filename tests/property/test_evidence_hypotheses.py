"""Signatures of the causes over route and speed, and the prior that combines them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.evidence import priors
from airsense.evidence.hypotheses import (
    LEVEL_SIZES,
    Conditions,
    Hypothesis,
    boost_signature,
    columns_of,
    depression_signature,
    hypotheses,
    low_speed_signature,
    orifice_signature,
    possible,
)
from airsense.evidence.priors import FAULT_PRIORS, SENSOR_PRIORS, Cause
from tests.evidence_inputs import ROUTES, change_of, conditions_for

ALL_ROUTES = (*ROUTES, "brake_power", "compressor_map")
CONDITIONS = conditions_for(change_of(np.zeros((3, 6))))
WITH_ALL = replace(
    CONDITIONS,
    routes=ALL_ROUTES,
    lambda_routes=("fuel_lambda", "brake_power"),
    compressor_to_pressure=np.linspace(-3.0, -1.0, 6),
)
BINS = 6


def rows(cause: Cause, conditions: Conditions = WITH_ALL) -> list[dict[str, np.ndarray]]:
    return [
        dict(zip(conditions.routes, c.effect.reshape(-1, BINS), strict=True))
        for c in columns_of(cause, conditions, 1.0)
    ]


def moved(cause: Cause) -> set[str]:
    return {name for row in rows(cause) for name, v in row.items() if np.any(v != 0.0)}


@pytest.mark.parametrize(
    ("cause", "routes"),
    [
        (Cause.NONE, set()),
        (Cause.SENSOR_SCALE, {"mass_air_flow"}),
        (Cause.SENSOR_SHAPE, {"mass_air_flow"}),
        (Cause.PULSATION, {"mass_air_flow"}),
        (Cause.LEAK_AFTER_COMPRESSOR, {"mass_air_flow", "compressor_map"}),
        (Cause.LEAK_BEFORE_COMPRESSOR, {"mass_air_flow"}),
        (Cause.MANIFOLD_PRESSURE, {"speed_density", "compressor_map"}),
        (Cause.CHARGE_TEMPERATURE, {"speed_density"}),
        (Cause.VOLUMETRIC_EFFICIENCY, {"speed_density"}),
        (Cause.RECIRCULATION, {"speed_density"}),
        (Cause.FUEL_SCALE, {"fuel_lambda"}),
        (Cause.LAMBDA_SCALE, {"fuel_lambda", "brake_power"}),
    ],
)
def test_each_cause_moves_its_routes_only(cause: Cause, routes: set[str]) -> None:
    assert moved(cause) == routes


def test_only_what_is_at_the_sensor_counts_as_its_skew() -> None:
    at_sensor = {c for c in Cause if any(col.at_sensor for col in columns_of(c, WITH_ALL, 1.0))}
    assert at_sensor == {Cause.SENSOR_SCALE, Cause.SENSOR_SHAPE, Cause.PULSATION}
    one_sided = {c for c in Cause if any(col.one_sided for col in columns_of(c, WITH_ALL, 1.0))}
    assert one_sided == {Cause.LEAK_AFTER_COMPRESSOR, Cause.LEAK_BEFORE_COMPRESSOR}


def test_a_scale_is_one_at_all_speeds() -> None:
    (row,) = rows(Cause.SENSOR_SCALE)
    np.testing.assert_array_equal(row["mass_air_flow"], 1.0)


def test_a_shape_goes_with_the_logarithm_of_flow_and_averages_to_nothing() -> None:
    (row,) = rows(Cause.SENSOR_SHAPE)
    got = row["mass_air_flow"]
    ln_m = np.log(CONDITIONS.mdot_kgps)
    np.testing.assert_allclose(np.diff(got), np.diff(ln_m) / np.ptp(ln_m))
    assert got.mean() == pytest.approx(0.0, abs=1e-12)
    assert np.ptp(got) == pytest.approx(1.0)


def test_pulsation_is_a_matter_of_speed_not_of_flow() -> None:
    """It falls by e over 15 % of the window."""
    got = low_speed_signature(np.array([1000.0, 1300.0, 1600.0, 3000.0]))
    np.testing.assert_allclose(got, np.exp([0.0, -1.0, -2.0, -2000.0 / 300.0]))
    other = replace(WITH_ALL, mdot_kgps=WITH_ALL.mdot_kgps[::-1].copy())
    np.testing.assert_array_equal(
        rows(Cause.PULSATION)[0]["mass_air_flow"], rows(Cause.PULSATION, other)[0]["mass_air_flow"]
    )


def test_a_window_without_width_divides_by_nothing() -> None:
    np.testing.assert_array_equal(low_speed_signature(np.full(3, 2000.0)), 1.0)


def test_an_opening_leak_goes_with_boost() -> None:
    np.testing.assert_allclose(boost_signature(np.array([-1e4, 0.0, 5e4, 1e5])), [0, 0, 0.5, 1])
    np.testing.assert_array_equal(boost_signature(np.array([-1e4, 0.0])), 0.0)


def test_a_hole_passes_what_an_orifice_passes() -> None:
    """Heywood (1988) appendix C: subsonic and choked flow through an orifice, over engine flow."""
    got = orifice_signature(CONDITIONS)
    p0, t0 = CONDITIONS.p_manifold_pa, CONDITIONS.t_charge_k
    ratio = (p0 - CONDITIONS.boost_pa) / p0
    critical = (2.0 / 2.4) ** (1.4 / 0.4)
    subsonic = ratio ** (1 / 1.4) * np.sqrt(2.8 / 0.4 * (1.0 - ratio ** (0.4 / 1.4)))
    choked = np.sqrt(1.4) * (2.0 / 2.4) ** (2.4 / 0.8)
    flow = p0 / np.sqrt(287.0 * t0) * np.where(ratio > critical, subsonic, choked)
    share = flow / CONDITIONS.mdot_kgps
    np.testing.assert_allclose(got, share / share.max(), rtol=1e-4)
    assert got.max() == 1.0


def test_no_boost_no_leak() -> None:
    still = replace(CONDITIONS, boost_pa=np.zeros(BINS))
    np.testing.assert_array_equal(orifice_signature(still), 0.0)
    assert not possible(Cause.LEAK_AFTER_COMPRESSOR, still)
    assert possible(Cause.LEAK_AFTER_COMPRESSOR, CONDITIONS)


def test_signs_of_the_leaks() -> None:
    """Air that leaves behind the sensor reads high; air drawn in behind it reads low."""
    (behind,) = rows(Cause.LEAK_AFTER_COMPRESSOR)
    assert np.all(behind["mass_air_flow"] > 0.0)
    np.testing.assert_array_equal(behind["mass_air_flow"], behind["compressor_map"])
    (ahead,) = rows(Cause.LEAK_BEFORE_COMPRESSOR)
    assert np.all(ahead["mass_air_flow"] < 0.0)
    np.testing.assert_allclose(
        depression_signature(CONDITIONS.mdot_kgps), CONDITIONS.mdot_kgps / 0.15
    )
    np.testing.assert_allclose(ahead["mass_air_flow"], -CONDITIONS.mdot_kgps / 0.15)


def test_a_pressure_fault_is_a_gain_and_an_offset() -> None:
    gain, offset, slope, level = rows(Cause.MANIFOLD_PRESSURE)
    np.testing.assert_array_equal(gain["speed_density"], 1.0)
    np.testing.assert_array_equal(gain["compressor_map"], np.linspace(-3.0, -1.0, 6))
    # A large error leaves the map's slope and level in doubt, and nothing else.
    np.testing.assert_array_equal(slope["compressor_map"], gain["compressor_map"])
    np.testing.assert_allclose(level["compressor_map"], -2.0)
    for doubt in (slope, level):
        assert {name for name, row in doubt.items() if np.any(row)} == {"compressor_map"}
    p = WITH_ALL.p_manifold_pa
    share = p.mean() / p
    np.testing.assert_allclose(offset["speed_density"], share - share.mean())
    assert abs(offset["speed_density"].mean()) < 1e-12
    np.testing.assert_allclose(
        offset["compressor_map"], np.linspace(-3.0, -1.0, 6) * (share - share.mean())
    )
    plain = replace(WITH_ALL, compressor_to_pressure=None)
    assert len(columns_of(Cause.MANIFOLD_PRESSURE, plain, 1.0)) == 2


def test_hotter_charge_is_less_air() -> None:
    (row,) = rows(Cause.CHARGE_TEMPERATURE)
    t = WITH_ALL.t_charge_k
    np.testing.assert_allclose(row["speed_density"], -t.mean() / t)


@pytest.mark.parametrize(
    ("cause", "sign"), [(Cause.VOLUMETRIC_EFFICIENCY, -1.0), (Cause.RECIRCULATION, 1.0)]
)
def test_breathing_and_recirculation_move_speed_density(cause: Cause, sign: float) -> None:
    """Speed density takes breathing as unchanged: better breathing reads as too little, and gas
    that is no air as too much."""
    flat, tilt = rows(cause)
    np.testing.assert_array_equal(flat["speed_density"], sign)
    ln_n = np.log(WITH_ALL.speed_rpm)
    np.testing.assert_allclose(
        tilt["speed_density"], sign * (ln_n - ln_n.mean()) / np.ptp(ln_n), atol=1e-12
    )
    sizes = [c.size for c in columns_of(cause, WITH_ALL, 0.07)]
    assert sizes[0] == 0.07
    assert sizes[1] == {
        Cause.VOLUMETRIC_EFFICIENCY: priors.EFFICIENCY_TILT_SIZE,
        Cause.RECIRCULATION: priors.RECIRCULATION_TILT_SIZE,
    }[cause]  # fmt: skip


def chance(found: tuple[Hypothesis, ...], sensor: Cause, fault: Cause) -> float:
    return sum(h.probability for h in found if h.sensor is sensor and h.fault is fault)


def test_prior_is_a_probability_and_its_table_is_whole() -> None:
    assert sum(p.probability for p in SENSOR_PRIORS) == pytest.approx(1.0, abs=0.01)
    assert sum(p.probability for p in FAULT_PRIORS) < 0.25
    assert {p.cause for p in (*SENSOR_PRIORS, *FAULT_PRIORS)} == set(Cause)
    assert all(p.reason for p in (*SENSOR_PRIORS, *FAULT_PRIORS))
    found = hypotheses(CONDITIONS)
    assert sum(h.probability for h in found) == pytest.approx(1.0)


def test_sensor_and_fault_are_independent_beforehand() -> None:
    found = hypotheses(CONDITIONS)
    total = sum(p.probability for p in SENSOR_PRIORS)
    for sensor in SENSOR_PRIORS:
        for fault in FAULT_PRIORS:
            assert chance(found, sensor.cause, fault.cause) == pytest.approx(
                sensor.probability / total * fault.probability
            )
    sound = 1.0 - sum(p.probability for p in FAULT_PRIORS)
    assert chance(found, Cause.NONE, Cause.NONE) == pytest.approx(
        SENSOR_PRIORS[0].probability / total * sound
    )


def test_odds_against_none_are_what_a_factor_multiplies() -> None:
    plain, doubled = hypotheses(CONDITIONS), hypotheses(CONDITIONS, 2.0)

    def odds(found: tuple[Hypothesis, ...], sensor: Cause, fault: Cause) -> float:
        return chance(found, sensor, fault) / chance(found, Cause.NONE, Cause.NONE)

    for sensor, fault, power in (
        (Cause.SENSOR_SCALE, Cause.NONE, 2.0),
        (Cause.NONE, Cause.FUEL_SCALE, 2.0),
        (Cause.PULSATION, Cause.RECIRCULATION, 4.0),
    ):
        assert odds(doubled, sensor, fault) == pytest.approx(power * odds(plain, sensor, fault))
    assert sum(h.probability for h in doubled) == pytest.approx(1.0)


def test_a_fault_needs_its_route() -> None:
    alone = replace(CONDITIONS, routes=ROUTES[:2], lambda_routes=())
    faults = {h.fault for h in hypotheses(alone)}
    assert Cause.FUEL_SCALE not in faults
    assert Cause.LAMBDA_SCALE not in faults
    assert {Cause.MANIFOLD_PRESSURE, Cause.VOLUMETRIC_EFFICIENCY, Cause.NONE} <= faults
    assert sum(h.probability for h in hypotheses(alone)) == pytest.approx(1.0)


def test_a_scale_is_usual_or_large() -> None:
    found = [
        h for h in hypotheses(CONDITIONS)
        if h.sensor is Cause.SENSOR_SCALE and h.fault is Cause.NONE
    ]  # fmt: skip
    assert [h.columns[0].size for h in found] == [
        priors.USUAL_SCALE_SIZE, priors.LARGE_SCALE_SIZE,
    ]  # fmt: skip
    share = found[1].probability / (found[0].probability + found[1].probability)
    assert share == pytest.approx(priors.LARGE_SCALE_SHARE)
    level = [
        h for h in hypotheses(CONDITIONS, sizes=LEVEL_SIZES)
        if h.sensor is Cause.SENSOR_SCALE and h.fault is Cause.NONE
    ]  # fmt: skip
    assert {h.columns[0].size for h in level} == {priors.LEVEL_SIZE}


@pytest.mark.parametrize("cause", [Cause.SENSOR_SHAPE, Cause.PULSATION])
def test_a_shape_may_come_with_a_scale(cause: Cause) -> None:
    (found,) = [h for h in hypotheses(CONDITIONS) if h.sensor is cause and h.fault is Cause.NONE]
    own, companion = found.columns
    np.testing.assert_array_equal(companion.effect[:BINS], 1.0)
    assert companion.size == priors.COMPANION_SCALE_SIZE
    assert companion.at_sensor
    assert own.size == next(p.size for p in SENSOR_PRIORS if p.cause is cause)


def test_leaks_come_with_or_without_a_scale_and_a_hole_or_a_joint() -> None:
    """A fixed hole; a share that grows with boost; a hole whose area grows with boost."""
    found = [
        h for h in hypotheses(CONDITIONS)
        if h.sensor is Cause.LEAK_AFTER_COMPRESSOR and h.fault is Cause.NONE
    ]  # fmt: skip
    shares = np.array([h.probability for h in found])
    np.testing.assert_allclose(shares / shares.sum(), [0.35, 0.35, 0.125, 0.125, 0.025, 0.025])
    assert [len(h.columns) for h in found] == [1, 2, 1, 2, 1, 2]
    hole, boost = orifice_signature(CONDITIONS), boost_signature(CONDITIONS.boost_pa)
    widening = hole * boost / np.max(hole * boost)
    for h, signature in zip(found, 2 * [hole] + 2 * [boost] + 2 * [widening], strict=True):
        np.testing.assert_allclose(h.columns[0].effect[:BINS], signature)
    ahead = [
        h for h in hypotheses(CONDITIONS)
        if h.sensor is Cause.LEAK_BEFORE_COMPRESSOR and h.fault is Cause.NONE
    ]  # fmt: skip
    assert [len(h.columns) for h in ahead] == [1, 2]
    assert ahead[0].probability == ahead[1].probability


def test_what_leaks_has_passed_the_compressor_however_it_leaks() -> None:
    """The map's flow counts the leak behind the compressor as the sensor does."""
    found = [
        h for h in hypotheses(WITH_ALL)
        if h.sensor is Cause.LEAK_AFTER_COMPRESSOR and h.fault is Cause.NONE
    ]  # fmt: skip
    assert len(found) == 6
    for h in found:
        by_route = dict(zip(ALL_ROUTES, h.columns[0].effect.reshape(-1, BINS), strict=True))
        np.testing.assert_array_equal(by_route["compressor_map"], by_route["mass_air_flow"])


def test_columns_of_the_fault_come_last() -> None:
    for h in hypotheses(CONDITIONS):
        faults = columns_of(h.fault, CONDITIONS, 1.0)
        assert len(h.columns) == h.fault_column + len(faults)
        for own, wanted in zip(h.columns[h.fault_column :], faults, strict=True):
            np.testing.assert_array_equal(own.effect, wanted.effect)
        assert h.causes == (
            frozenset({h.sensor, h.fault}) - {Cause.NONE} or frozenset({Cause.NONE})
        )
