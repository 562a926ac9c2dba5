"""What must hold for any fuel that burns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.physics.exhaust import lambda_from_carbon_dioxide_dry, lambda_from_oxygen_dry
from airsense.physics.fuel import estimated_lhv_jpkg, stoichiometric_afr
from tests.published.test_exhaust_published import dry_gas

hydrogen = st.floats(0.5, 4.0)
oxygen = st.floats(0.0, 1.0)
lean = st.floats(1.0, 8.0)


@given(lean, hydrogen, oxygen)
def test_lean_round_trips(lam, h_c, o_c):
    """Products of lean combustion, dried: Heywood, section 4.9."""
    o2, co2 = dry_gas(lam, h_c, o_c)
    assert lambda_from_oxygen_dry(o2, h_c, o_c) == pytest.approx(lam, rel=1e-9)
    assert lambda_from_carbon_dioxide_dry(co2, h_c, o_c) == pytest.approx(lam, rel=1e-9)


@given(st.floats(0.0, 0.19), st.floats(1e-4, 0.01), hydrogen, oxygen)
def test_more_oxygen_is_leaner(o2, more, h_c, o_c):
    """Oxygen left over is excess air: Brettschneider."""
    assert lambda_from_oxygen_dry(o2 + more, h_c, o_c) > lambda_from_oxygen_dry(o2, h_c, o_c)


@given(hydrogen, oxygen, st.floats(1e-3, 0.5))
def test_oxygen_in_the_fuel_takes_air_and_heat_away(h_c, o_c, more):
    """1 + y/4 - z/2 of oxygen: Heywood, section 3.4; heat: Channiwala and Parikh."""
    assert stoichiometric_afr(h_c, o_c + more) < stoichiometric_afr(h_c, o_c)
    assert estimated_lhv_jpkg(h_c, o_c + more) < estimated_lhv_jpkg(h_c, o_c)


@given(hydrogen, st.floats(1e-3, 1.0))
def test_hydrogen_in_the_fuel_takes_more_air(h_c, more):
    """1 + y/4 of oxygen: Heywood, section 3.4; heat: Channiwala and Parikh."""
    assert stoichiometric_afr(h_c + more, 0.0) > stoichiometric_afr(h_c, 0.0)
    assert estimated_lhv_jpkg(h_c + more, 0.0) > estimated_lhv_jpkg(h_c, 0.0)


@given(st.floats(1e4, 1e7))
def test_hydrogen_is_the_limit_of_ever_more_hydrogen(h_c):
    """2 H2 + O2: Heywood, section 3.4."""
    limit = stoichiometric_afr(np.inf, 0.0)
    assert stoichiometric_afr(h_c, 0.0) == pytest.approx(float(limit), rel=20.0 / h_c)
