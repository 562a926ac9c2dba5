"""What must hold for any tube."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.physics.duct import (
    Profile,
    area_reading_factor,
    equivalent_bore_m,
    friction_factor_smooth,
    local_to_mean,
    mean_to_centre,
    reading_factor,
    reynolds_tube,
    straight_length_iso_5167,
)

bores = st.floats(0.03, 0.2)
flows = st.floats(0.02, 0.5)
profiles = st.sampled_from(list(Profile))


@given(bores, st.floats(-0.3, 0.5))
def test_equivalent_bore_undoes_the_area_ratio(bore, skew):
    after = equivalent_bore_m(bore, skew)
    assert float(area_reading_factor(bore, after)) == pytest.approx(1.0 + skew, rel=1e-12)


@given(flows, bores, st.floats(0.9, 1.1), profiles)
def test_there_and_back_again_is_no_change(flow, bore, ratio, profile):
    there = reading_factor(
        flow, bore_before_m=bore, bore_after_m=bore * ratio, mu_pas=1.8e-5, profile=profile
    )
    # what the narrower tube indicates, read through the table of that tube, is the flow again
    back = reading_factor(
        flow * there, bore_before_m=bore * ratio, bore_after_m=bore, mu_pas=1.8e-5, profile=profile
    )
    if np.isfinite(there) and np.isfinite(back):
        assert float(there * back) == pytest.approx(1.0, abs=1e-5)


@given(flows, bores, profiles)
def test_the_same_bore_reads_true(flow, bore, profile):
    factor = reading_factor(
        flow, bore_before_m=bore, bore_after_m=bore, mu_pas=1.8e-5, profile=profile
    )
    assert float(factor) == pytest.approx(1.0, abs=1e-12)


@given(profiles, st.floats(4.1e3, 2.9e6))
def test_profiles_grow_fuller_with_reynolds_number(profile, reynolds):
    """Schlichting, velocity distributions in smooth pipes."""
    low, high = mean_to_centre(np.array([reynolds, 1.1 * reynolds]), profile)
    assert 0.7 < low <= high < 0.95


@given(st.floats(0.0, 3.9e3))
def test_no_profile_where_the_flow_is_not_surely_turbulent(reynolds):
    """Schlichting: the laws are of fully turbulent flow, above some 4000."""
    for profile in Profile:
        assert np.isnan(mean_to_centre(reynolds, profile))
    assert np.isnan(friction_factor_smooth(reynolds))


def test_friction_factor_solves_prandtls_law():
    """1/sqrt(f) = 2 log10(Re sqrt(f)) - 0.8: Schlichting, Prandtl's universal law."""
    re = np.geomspace(4e3, 3.2e6, 50)
    root = np.sqrt(friction_factor_smooth(re))
    np.testing.assert_allclose(1.0 / root, 2.0 * np.log10(re * root) - 0.8, rtol=1e-12)


def test_straight_length_outside_the_table_is_not_invented():
    assert np.all(np.isnan(straight_length_iso_5167(np.array([0.1, 0.8, np.nan]))))


def test_lengths_only_matter_as_ratios():
    """Re = 4 m / (pi D mu): Schlichting, pipe flow."""
    assert float(reynolds_tube(0.1, 0.06, 1.8e-5)) == pytest.approx(
        float(reynolds_tube(0.2, 0.12, 1.8e-5)), rel=1e-14
    )


@pytest.mark.parametrize("bore", [0.0, -0.06])
def test_an_impossible_bore_is_refused_in_five_parts(bore):
    with pytest.raises(InputError) as caught:
        area_reading_factor(0.06, bore)
    assert "bore_after_m" in caught.value.what
    assert all((caught.value.where, caught.value.got, caught.value.allowed, caught.value.fix))


def test_a_skew_of_minus_one_has_no_bore():
    with pytest.raises(InputError):
        equivalent_bore_m(0.06, -1.0)


@given(profiles, st.floats(5e3, 2e6), st.floats(0.15, 0.9))
def test_the_air_is_faster_further_from_the_wall(profile, reynolds, y):
    """Schlichting, velocity distributions in smooth pipes."""
    near, far = local_to_mean(reynolds, np.array([y, min(1.0, 1.1 * y)]), profile)
    assert near < far
    assert float(local_to_mean(reynolds, 1.0, profile)) == pytest.approx(
        1.0 / float(mean_to_centre(reynolds, profile)), rel=1e-12
    )


@pytest.mark.parametrize("profile", list(Profile))
def test_the_local_profile_averages_to_one(profile):
    """The mean velocity is that over the area: ISO 3966."""
    y = np.linspace(0.01, 1.0, 20_000)
    local = local_to_mean(1.0e5, y, profile)
    area = 2.0 * (1.0 - y)
    inner = float(np.trapezoid(local * area, y))
    # the ring next to the wall, 2 % of the area, carries between nothing and its share
    assert 1.0 - 0.02 < inner < 1.0


@given(bores, st.floats(0.1, 0.45))
def test_a_film_short_of_the_axis_gets_nearer_to_it_in_a_narrower_tube(bore, share):
    tubes = {"bore_before_m": bore, "bore_after_m": 0.97 * bore, "mu_pas": 1.8e-5}
    fixed = float(reading_factor(0.1, depth_m=share * 0.97 * bore, **tubes))
    on_axis = float(reading_factor(0.1, **tubes))
    assert on_axis < fixed < 1.1 * on_axis
