"""Tube flow against published profiles, friction factors, standards, and the fluids library."""

import fluids
import numpy as np
import pytest

from airsense.physics.duct import (
    Profile,
    area_reading_factor,
    friction_factor_smooth,
    mean_to_centre,
    mean_to_centre_power_law,
    orifice_flow_relative,
    power_law_exponent,
    reading_factor,
    reynolds_tube,
    straight_length_iso_5167,
)
from tests.published.published import Published

MU_AIR_20C = 1.813e-5


@pytest.mark.parametrize(
    ("exponent", "printed"),
    [(6.0, "0.7912"), (6.6, "0.8073"), (7.0, "0.8167"), (8.8, "0.8497"), (10.0, "0.8658")],
)
def test_mean_over_centre_velocity_of_a_power_law_profile(exponent, printed):
    source = Published(f"Schlichting, Boundary-Layer Theory, ch. 20, n {exponent}", printed=printed)
    source.check(float(mean_to_centre_power_law(exponent)))


@pytest.mark.parametrize(
    ("reynolds", "printed"),
    [(4.0e3, "6.0"), (2.3e4, "6.6"), (1.1e5, "7.0"), (1.1e6, "8.8"), (2.0e6, "10.0")],
)
def test_exponent_over_reynolds_number(reynolds, printed):
    # Schlichting table 20.1, from memory
    Published("Schlichting, table 20.1 (from memory)", printed=printed).check(
        float(power_law_exponent(reynolds))
    )


@pytest.mark.parametrize("reynolds", [4.0e3, 2.3e4, 1.1e5, 5.0e5, 3.0e6])
def test_friction_factor_agrees_with_the_fluids_library(reynolds):
    # fluids' default is Clamond's solution of Colebrook, whose smooth limit is Prandtl's law
    theirs = fluids.friction_factor(Re=reynolds, eD=0.0)
    assert float(friction_factor_smooth(reynolds)) == pytest.approx(theirs, rel=4e-4)


@pytest.mark.parametrize(
    ("profile", "reynolds", "printed"),
    [
        (Profile.POWER_LAW, 2.3e4, "0.807"),
        (Profile.POWER_LAW, 1.1e5, "0.817"),
        (Profile.LOG_LAW, 2.3e4, "0.827"),
        (Profile.LOG_LAW, 1.1e5, "0.850"),
        (Profile.LOG_LAW, 5.0e5, "0.868"),
        (Profile.REICHARDT, 2.3e4, "0.810"),
        (Profile.REICHARDT, 1.1e5, "0.841"),
        (Profile.REICHARDT, 5.0e5, "0.860"),
    ],
)
def test_three_profile_models(profile, reynolds, printed):
    # computed with the friction factor of fluids 1.3.1 and each model's formula
    source = Published(f"{profile.value} with fluids' friction factor", printed=printed)
    source.check(float(mean_to_centre(reynolds, profile)))


def test_log_law_with_the_friction_factor_of_fluids():
    re = np.array([1.0e4, 8.0e4, 4.0e5])
    theirs = [1.0 / (1.0 + 1.326 * fluids.friction_factor(Re=x, eD=0.0) ** 0.5) for x in re]
    np.testing.assert_allclose(mean_to_centre(re, Profile.LOG_LAW), theirs, rtol=3e-5)


@pytest.mark.parametrize(
    ("flow_gps", "printed"),
    [(5.0, "5.9e3"), (20.0, "2.34e4"), (50.0, "5.85e4"), (100.0, "1.17e5"), (200.0, "2.34e5")],
)
def test_reynolds_number_of_a_60_mm_tube(flow_gps, printed):
    got = float(reynolds_tube(flow_gps * 1e-3, 0.060, MU_AIR_20C))
    Published("4 m / (pi D mu), 60 mm, 20 C, by hand", printed=printed).check(got)
    velocity = flow_gps * 1e-3 / (1.2 * np.pi / 4.0 * 0.060**2)
    theirs = fluids.Reynolds(V=velocity, D=0.060, rho=1.2, mu=MU_AIR_20C)
    assert got == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(
    ("beta", "printed"),
    [(0.2, "6"), (0.4, "16"), (0.5, "22"), (0.6, "42"), (0.67, "44"), (0.75, "44")],
)
def test_straight_length_after_a_single_bend(beta, printed):
    # ISO 5167-2 table 3 column A (from memory); whole diameters, so compared exactly
    assert float(straight_length_iso_5167(beta)) == float(printed)


def test_area_ratio_of_the_textbook_kind():
    # 82 mm to 79.2 mm: (82/79.2)^2 = 1.07196; plain geometry
    Published("geometry, by hand", printed="1.0720").check(
        float(area_reading_factor(0.082, 0.0792))
    )


def test_log_tchebycheff_positions_of_iso_3966_read_a_power_law_low():
    # ISO 3966 positions (from memory): mean low by 0.33 % and 0.22 % on n = 7
    mean = float(mean_to_centre_power_law(7.0))
    for positions, printed in (
        ((0.3754, 0.7252, 0.9358), "-0.33"),
        ((0.3314, 0.6124, 0.8000, 0.9524), "-0.22"),
    ):
        measured = np.mean((1.0 - np.array(positions)) ** (1.0 / 7.0))
        Published("ISO 3966 positions on n = 7 (from memory)", printed=printed).check(
            100.0 * (measured / mean - 1.0)
        )


def test_profile_moves_the_reading_factor_by_little_beside_the_area():
    by_area = float(area_reading_factor(0.082, 0.0792))
    for profile in Profile:
        factor = reading_factor(
            np.array([0.02, 0.1, 0.3]),
            bore_before_m=0.082,
            bore_after_m=0.0792,
            mu_pas=MU_AIR_20C,
            profile=profile,
        )
        # Re of the indicated flow in the old tube is sqrt(by_area) times the new one: 3.5 % in
        # Re at 2 to 4 % of q a decade is below 0.15 %
        assert np.all(np.abs(factor / by_area - 1.0) < 1.5e-3)
        assert np.all(factor != by_area)


def test_a_hole_passes_its_choked_flow_beyond_the_critical_ratio():
    # Heywood (1988), appendix C: choked at r = 0.528 for k = 1.4, where the flow function
    # sqrt(2k/(k-1) (r^(2/k) - r^((k+1)/k))) is 0.6847
    up = 2.0e5
    critical = Published("Heywood 1988, appendix C, k = 1.4", printed="0.528")
    flows = orifice_flow_relative(up, np.linspace(0.3, 0.9, 6001) * up)
    first_below = np.linspace(0.3, 0.9, 6001)[np.argmax(flows < flows[0] * (1.0 - 1e-7))]
    critical.check(first_below)
    Published("Heywood 1988, appendix C, k = 1.4", printed="0.6847").check(
        float(flows[0]) / up * np.sqrt(2.0 * 1.4 / 0.4)
    )


def test_a_hole_passes_nothing_backwards():
    assert float(orifice_flow_relative(1.0e5, 1.2e5)) == 0.0
