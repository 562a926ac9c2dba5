"""What must hold for any moist air and any altitude."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.physics.air import (
    condenses,
    density_moist_air_kgpm3,
    gas_constant_moist_air_jpkgk,
    humidity_ratio,
    saturation_pressure_water_pa,
    vapour_mole_fraction,
    viscosity_air_pas,
)
from airsense.physics.atmosphere import (
    standard_pressure_pa,
    standard_temperature_k,
)
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.physics.real_gas import compressibility_charge_air

pressures = st.floats(60e3, 120e3)
temperatures = st.floats(255.0, 330.0)
fractions = st.floats(0.0, 1.0)
humid = st.floats(0.0, 0.05)
up = st.floats(1.001, 1.2)


@given(pressures, temperatures, humid, up)
def test_density_rises_with_pressure_and_falls_with_heat_and_vapour(p, t, x, factor):
    """Signs of the terms of CIPM-2007."""
    rho = density_moist_air_kgpm3(p, t, x)
    assert density_moist_air_kgpm3(p * factor, t, x) > rho
    assert density_moist_air_kgpm3(p, t * factor, x) < rho
    assert density_moist_air_kgpm3(p, t, x + 0.01) < rho


@given(pressures, temperatures, humid)
def test_density_is_nearly_that_of_an_ideal_gas(p, t, x):
    """The compressibility of CIPM-2007 is within 0.3 % of one here."""
    ideal = p / (gas_constant_moist_air_jpkgk(x) * t)
    assert density_moist_air_kgpm3(p, t, x) / ideal == pytest.approx(1.0, abs=3e-3)


@given(temperatures, up)
def test_saturation_rises_with_heat(t, factor):
    """Formula A1.1 of CIPM-2007."""
    assert saturation_pressure_water_pa(t * factor) > saturation_pressure_water_pa(t)


@given(pressures, temperatures, fractions)
def test_vapour_is_proportional_to_humidity(p, t, rh):
    """x = h f p_sv / p: CIPM-2007, appendix A1."""
    saturated = vapour_mole_fraction(p, t, 1.0)
    assert vapour_mole_fraction(p, t, rh) == pytest.approx(rh * saturated, rel=1e-12)


@given(st.floats(0.0, 0.9))
def test_humidity_ratio_inverts(x):
    """w = (M_v/M_a) x / (1 - x), with the molar masses of CIPM-2007."""
    w = float(humidity_ratio(x))
    assert w / (18.01528 / 28.96546 + w) == pytest.approx(x, rel=1e-6, abs=1e-12)


@given(st.floats(0.0, 1.0))
def test_gas_constant_lies_between_air_and_steam(x):
    """Steam 461.5 J/(kg K): IAPWS-95."""
    r = float(gas_constant_moist_air_jpkgk(x))
    assert R_DRY_AIR_JPKGK - 1e-9 <= r <= 461.6


@given(st.floats(0.001, 0.05), st.floats(1.2e5, 5e5), st.floats(275.0, 400.0), st.floats(1.5, 3.0))
def test_more_boost_and_more_cooling_never_dry_the_charge(x, p, t, factor):
    if condenses(x, p, t):
        assert condenses(x, p * factor, t)
        assert condenses(x, p, t - 1.0)
        assert condenses(min(x * factor, 1.0), p, t)


@given(st.floats(200.0, 600.0), up)
def test_viscosity_rises_with_heat(t, factor):
    """Sutherland's formula with the constants of 40 CFR 1065.640."""
    assert viscosity_air_pas(t * factor) > viscosity_air_pas(t)


@given(st.floats(-4000.0, 10000.0), st.floats(1.0, 900.0))
def test_higher_is_thinner_and_colder(z, more):
    """U.S. Standard Atmosphere, up to the tropopause."""
    for profile in (standard_pressure_pa, standard_temperature_k):
        assert profile(z + more) < profile(z)


@given(st.floats(-4000.0, 10000.0))
def test_the_standard_air_column_carries_itself(z):
    """dp/dz = -rho g, g by height: U.S. Standard Atmosphere, part 1."""
    # dp/dz = -rho g, g at that height
    g = 9.80665 * (6356766.0 / (6356766.0 + z)) ** 2
    gradient = (standard_pressure_pa(z + 1.0) - standard_pressure_pa(z - 1.0)) / 2.0
    rho = standard_pressure_pa(z) * 28.9644e-3 / (8.31432 * standard_temperature_k(z))
    assert gradient == pytest.approx(-rho * g, rel=1e-5)


@given(st.floats(1e3, 1e6), st.floats(220.0, 500.0))
def test_compressibility_is_continuous_and_near_one(p, t):
    z = float(compressibility_charge_air(p, t))
    assert 0.98 < z < 1.01
    near = compressibility_charge_air([min(p * 1.0001, 1e6), p], [t, min(t * 1.0001, 500.0)])
    assert np.max(np.abs(near - z)) < 3e-5


def test_arrays_and_numbers_agree():
    p, t = np.array([9e4, 1e5]), np.array([290.0, 300.0])
    both = density_moist_air_kgpm3(p, t, 0.01)
    assert both.tolist() == [
        float(density_moist_air_kgpm3(a, b, 0.01)) for a, b in zip(p, t, strict=True)
    ]
    assert p.tolist() == [9e4, 1e5]
