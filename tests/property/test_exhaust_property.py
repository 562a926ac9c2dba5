"""What must hold for any fuel that burns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from airsense.physics.exhaust import (
    dry_exhaust,
    lambda_brettschneider,
    lambda_from_carbon_dioxide_dry,
    lambda_from_oxygen_dry,
    lambda_from_oxygen_wet,
)
from airsense.physics.fuel import carbon_mass_fraction, estimated_lhv_jpkg, stoichiometric_afr

hydrogen = st.floats(0.5, 4.0)
oxygen = st.floats(0.0, 1.0)
lean = st.floats(1.0, 8.0)
rich = st.floats(0.6, 0.999)
damp = st.floats(0.0, 0.06)


@given(lean, hydrogen, oxygen, damp)
def test_lean_round_trips(lam, h_c, o_c, x):
    gas = dry_exhaust(lam, h_c, o_c, x_vapour_intake=x)
    wet = gas.oxygen / (1.0 + gas.water_per_dry)
    assert lambda_from_oxygen_dry(gas.oxygen, h_c, o_c) == pytest.approx(lam, rel=1e-9)
    assert lambda_from_oxygen_wet(wet, h_c, o_c, x_vapour_intake=x) == pytest.approx(lam, rel=1e-9)
    assert lambda_from_carbon_dioxide_dry(gas.carbon_dioxide, h_c, o_c) == pytest.approx(
        lam, rel=1e-9
    )
    assert lambda_brettschneider(gas.oxygen, gas.carbon_dioxide, h_c=h_c, o_c=o_c) == pytest.approx(
        lam, rel=1e-9
    )


@given(rich, hydrogen, oxygen)
def test_rich_round_trip(lam, h_c, o_c):
    gas = dry_exhaust(lam, h_c, o_c)
    assume(np.isfinite(gas.carbon_monoxide) and gas.carbon_dioxide > 1e-3)
    got = lambda_brettschneider(
        gas.oxygen, gas.carbon_dioxide, gas.carbon_monoxide, h_c=h_c, o_c=o_c
    )
    assert got == pytest.approx(lam, rel=1e-9)


@given(st.floats(0.6, 6.0), hydrogen, oxygen)
def test_fractions_are_fractions(lam, h_c, o_c):
    gas = dry_exhaust(lam, h_c, o_c)
    assume(np.isfinite(gas.carbon_monoxide))
    parts = [gas.oxygen, gas.carbon_dioxide, gas.carbon_monoxide, gas.hydrogen, gas.nitrogen]
    assert min(float(part) for part in parts) >= -1e-15
    assert float(sum(parts)) == pytest.approx(1.0, rel=1e-12)
    assert gas.water_per_dry >= -1e-12


@given(st.floats(0.0, 0.19), st.floats(1e-4, 0.01), hydrogen, oxygen)
def test_more_oxygen_is_leaner(o2, more, h_c, o_c):
    for function in (lambda_from_oxygen_dry, lambda_from_oxygen_wet):
        assert function(o2 + more, h_c, o_c) > function(o2, h_c, o_c)


@given(st.floats(0.0, 0.15), st.floats(1e-3, 0.06), hydrogen, oxygen)
def test_humidity_taken_into_account_reads_leaner(o2, x, h_c, o_c):
    assume(o2 > 1e-3)
    damp_air = lambda_from_oxygen_wet(o2, h_c, o_c, x_vapour_intake=x)
    assert damp_air > lambda_from_oxygen_wet(o2, h_c, o_c)


@given(hydrogen, oxygen, st.floats(1e-3, 0.5))
def test_oxygen_in_the_fuel_takes_air_and_heat_away(h_c, o_c, more):
    assert stoichiometric_afr(h_c, o_c + more) < stoichiometric_afr(h_c, o_c)
    assert estimated_lhv_jpkg(h_c, o_c + more) < estimated_lhv_jpkg(h_c, o_c)
    assert carbon_mass_fraction(h_c, o_c + more) < carbon_mass_fraction(h_c, o_c)


@given(hydrogen, st.floats(1e-3, 1.0))
def test_hydrogen_in_the_fuel_takes_more_air(h_c, more):
    assert stoichiometric_afr(h_c + more, 0.0) > stoichiometric_afr(h_c, 0.0)
    assert estimated_lhv_jpkg(h_c + more, 0.0) > estimated_lhv_jpkg(h_c, 0.0)


@given(st.floats(1e4, 1e7))
def test_hydrogen_is_the_limit_of_ever_more_hydrogen(h_c):
    limit = stoichiometric_afr(np.inf, 0.0)
    assert stoichiometric_afr(h_c, 0.0) == pytest.approx(float(limit), rel=20.0 / h_c)
