"""Charge temperature against isentropic tables, CoolProp and its own error claims."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from airsense.errors import InputError
from airsense.physics.charge import (
    COMPRESSOR_EFFICIENCY,
    COOLER_EFFECTIVENESS,
    Range,
    after_cooler_temperature_k,
    compressor_outlet_temperature_k,
    estimate_charge_temperature_k,
)
from tests.published.published import Published

ZERO_C = 273.15


@pytest.mark.parametrize(
    ("ratio", "efficiency", "printed_c"),
    [
        (1.5, 0.70, "77.3"),
        (2.0, 0.70, "118.3"),
        (2.5, 0.70, "152.5"),
        (1.5, 0.78, "71.9"),
        (2.0, 0.78, "108.7"),
        (2.5, 0.78, "139.4"),
    ],
)
def test_compressor_outlet_from_25_c(ratio, efficiency, printed_c):
    Published("isentropic relation by hand, kappa 1.4", printed_c).check(
        compressor_outlet_temperature_k(25.0 + ZERO_C, ratio, efficiency) - ZERO_C
    )


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0, 4.0])
def test_compressor_outlet_against_a_real_gas(ratio):
    """Against CoolProp's air: isentropic to the pressure, then the enthalpy over efficiency."""
    t_in, p_in, eta = 298.15, 1e5, 0.7
    h_in, s_in = (PropsSI(q, "P", p_in, "T", t_in, "Air") for q in "HS")
    ideal = PropsSI("H", "P", ratio * p_in, "S", s_in, "Air") - h_in
    t_out = PropsSI("T", "P", ratio * p_in, "H", h_in + ideal / eta, "Air")
    rise = float(compressor_outlet_temperature_k(t_in, ratio, eta)) - t_in
    assert rise == pytest.approx(t_out - t_in, rel=0.015)


def test_ideal_compression_is_isentropic():
    """T2/T1 = (p2/p1)^((k-1)/k): Moran and Shapiro, isentropic processes."""
    assert compressor_outlet_temperature_k(300.0, 2.0, 1.0) == pytest.approx(300.0 * 2.0 ** (2 / 7))


def test_cooler():
    """Heat moved over the most that could be: Kays and London, effectiveness."""
    assert after_cooler_temperature_k(400.0, 300.0, 0.75) == pytest.approx(325.0, rel=1e-12)
    assert after_cooler_temperature_k(400.0, 300.0, 0.0) == 400.0
    assert after_cooler_temperature_k(400.0, 300.0, 1.0) == 300.0


def test_ranges_hold_published_figures():
    # Peak efficiencies of the compressors of two published mean-value diesel models.
    for peak in (0.736, 0.792):
        assert COMPRESSOR_EFFICIENCY.low < peak < COMPRESSOR_EFFICIENCY.high
    # Charge coolers 0.7 to 0.9: handbook, from memory.
    assert COOLER_EFFECTIVENESS.low <= 0.7
    assert COOLER_EFFECTIVENESS.high >= 0.9
    assert COMPRESSOR_EFFICIENCY.source
    assert COOLER_EFFECTIVENESS.source


def test_range_is_rectangular():
    # JCGM 100:2008, 4.3.7: standard uncertainty is half the width over the root of three.
    box = Range(low=1.0, high=3.0, source="any")
    assert box.value == 2.0
    assert box.u == pytest.approx(1.0 / 3.0**0.5, rel=1e-12)


def test_estimate_at_the_middle_of_the_ranges():
    """Isentropic efficiency: Moran and Shapiro; effectiveness: Kays and London."""
    got = estimate_charge_temperature_k(300.0, 295.0, 240e3, 100e3)
    hot = float(compressor_outlet_temperature_k(300.0, 2.4, 0.70))
    assert got.t_charge_k == pytest.approx(hot - 0.75 * (hot - 295.0), rel=1e-12)


def test_uncertainty_of_the_estimate_against_monte_carlo():
    # JCGM 101:2008: the same ranges drawn at random.
    rng = np.random.default_rng(7)
    n = 200_000
    eta = rng.uniform(COMPRESSOR_EFFICIENCY.low, COMPRESSOR_EFFICIENCY.high, n)
    eps = rng.uniform(COOLER_EFFECTIVENESS.low, COOLER_EFFECTIVENESS.high, n)
    hot = compressor_outlet_temperature_k(300.0, 2.4, eta)
    drawn = after_cooler_temperature_k(hot, 295.0, eps) + rng.normal(0.0, 5.0, n)
    got = estimate_charge_temperature_k(300.0, 295.0, 240e3, 100e3)
    assert got.u_k == pytest.approx(np.std(drawn), rel=0.02)
    assert got.t_charge_k == pytest.approx(np.mean(drawn), abs=0.5)


def test_each_range_alone_moves_the_estimate_to_first_order():
    """u = |df/dx| u(x): JCGM 100:2008, 5.1.2."""

    def u_without_surroundings(**ranges):
        got = estimate_charge_temperature_k(300.0, 295.0, 240e3, 100e3, **ranges)
        return float(np.sqrt(got.u_k**2 - 5.0**2))

    def charge(eta, eps):
        hot = compressor_outlet_temperature_k(300.0, 2.4, eta)
        return float(after_cooler_temperature_k(hot, 295.0, eps))

    eta, eps = (Range(low=v, high=v, source="any") for v in (0.70, 0.75))
    step = 1e-4
    by_eta = (charge(0.70 + step, 0.75) - charge(0.70 - step, 0.75)) / (2.0 * step)
    by_eps = (charge(0.70, 0.75 + step) - charge(0.70, 0.75 - step)) / (2.0 * step)
    assert u_without_surroundings(effectiveness=eps) == pytest.approx(
        abs(by_eta) * COMPRESSOR_EFFICIENCY.u, rel=1e-5
    )
    assert u_without_surroundings(efficiency=eta) == pytest.approx(
        abs(by_eps) * COOLER_EFFECTIVENESS.u, rel=1e-5
    )


def test_narrow_ranges_leave_the_surroundings():
    exact = Range(low=0.7, high=0.7, source="any")
    got = estimate_charge_temperature_k(
        300.0, 300.0, 240e3, 100e3, efficiency=exact, effectiveness=exact
    )
    assert got.u_k == pytest.approx(5.0, rel=1e-12)


def test_no_boost_means_no_compression():
    got = estimate_charge_temperature_k(300.0, 300.0, [60e3, 100e3], 100e3)
    assert got.t_charge_k == pytest.approx([300.0, 300.0], rel=1e-12)
    assert got.u_k == pytest.approx([5.0, 5.0], rel=1e-12)


def test_missing_pressure_stays_missing():
    got = estimate_charge_temperature_k(300.0, 300.0, [np.nan, 2e5], 1e5)
    assert np.isnan(got.t_charge_k).tolist() == [True, False]
    assert np.isnan(got.u_k).tolist() == [True, False]


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("t_in_k", lambda: compressor_outlet_temperature_k(0.0, 2.0, 0.7)),
        ("pressure_ratio", lambda: compressor_outlet_temperature_k(300.0, 0.0, 0.7)),
        ("efficiency", lambda: compressor_outlet_temperature_k(300.0, 2.0, 0.0)),
        ("efficiency", lambda: compressor_outlet_temperature_k(300.0, 2.0, 1.01)),
        ("t_compressor_out_k", lambda: after_cooler_temperature_k(0.0, 300.0, 0.7)),
        ("t_coolant_air_k", lambda: after_cooler_temperature_k(400.0, 0.0, 0.7)),
        ("effectiveness", lambda: after_cooler_temperature_k(400.0, 300.0, 1.01)),
        ("effectiveness", lambda: after_cooler_temperature_k(400.0, 300.0, -0.01)),
        ("t_ambient_k", lambda: estimate_charge_temperature_k(300.0, 0.0, 2e5, 1e5)),
        ("t_in_k", lambda: estimate_charge_temperature_k(0.0, 300.0, 2e5, 1e5)),
        ("p_manifold_pa", lambda: estimate_charge_temperature_k(300.0, 300.0, 0.0, 1e5)),
        ("p_ambient_pa", lambda: estimate_charge_temperature_k(300.0, 300.0, 2e5, 0.0)),
    ],
)
def test_impossible_arguments_are_refused_by_name(name, call):
    with pytest.raises(InputError, match=f"^{name} is not a possible value"):
        call()
