"""Reconciliation against the steam-plant example of VDI 2048 and other closed forms.

Sources: VDI 2048-1 example as it stands in the regression test of a public reconciliation
library and in the OpenModelica user guide (readings, half-widths, correlations, reconciled
values); its J and z follow from the same numbers. Two meters: closed form.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from airsense.evidence.reconcile import Reconciled, reconcile
from tests.published.published import Published

READINGS = np.array(
    [46.241, 45.668, 44.575, 44.319, 0.525, 69.978, 10.364, 3.744, 4.391, 18.498, 2.092]
)
HALF_WIDTHS = np.array([0.8, 0.79, 0.535, 0.532, 0.105, 0.854, 0.168, 0.058, 0.058, 0.205, 0.272])
CONDITIONS = np.array(
    [
        [1, 1, -1, -1, 0.4, 0, 0, 0, 0, 0, 0],
        [0, 0, 1, 1, -1, -1, -1, -1, -1, 0, 0],
        [0, 0, 0, 0, 0, 0, 1, 1, 1, -1, 0],
    ],
    dtype=float,
)
EXPECTED = np.array(
    [
        44.964489, 44.417972, 44.925904, 44.667096, 0.526348, 70.553061,
        10.375783, 3.745404, 4.392404, 18.513592, 2.092,
    ]
)  # fmt: skip
EXPECTED_HALF_WIDTHS = np.array(
    [
        0.575627, 0.572818, 0.404463, 0.402919, 0.104623, 0.559873,
        0.133003, 0.056695, 0.056695, 0.137103, 0.272,
    ]
)  # fmt: skip
GLOBAL_TEST = Published("VDI 2048-1 steam plant, u = half-width/1.96", printed="20.3096")
FEEDWATER_Z = Published("VDI 2048-1 steam plant, measurement test", printed="-4.503")
GLOBAL_TEST_MENDED = Published("VDI 2048-1 steam plant, feedwater +-2.5", printed="2.5370")
LIMIT = Published("chi-square 95 %, 3 degrees of freedom (OpenModelica guide)", printed="7.81473")


def plant(half_widths: np.ndarray) -> Reconciled:
    u = half_widths / 1.96
    correlation = np.eye(11)
    correlation[0, 1] = correlation[1, 0] = 0.2
    correlation[2, 3] = correlation[3, 2] = 0.4
    return reconcile(READINGS, correlation * np.outer(u, u), CONDITIONS)


def test_all_eleven_flows_of_the_steam_plant() -> None:
    got = plant(HALF_WIDTHS)
    np.testing.assert_allclose(got.value, EXPECTED, atol=6e-7, rtol=0)
    np.testing.assert_allclose(
        1.96 * np.sqrt(np.diag(got.covariance)), EXPECTED_HALF_WIDTHS, atol=6e-7, rtol=0
    )


def test_reconciled_flows_meet_the_conditions_and_lose_their_spread_across_them() -> None:
    got = plant(HALF_WIDTHS)
    np.testing.assert_allclose(CONDITIONS @ got.value, 0.0, atol=1e-12)
    np.testing.assert_allclose(CONDITIONS @ got.covariance @ CONDITIONS.T, 0.0, atol=1e-14)


def test_the_steam_plant_fails_its_global_test() -> None:
    got = plant(HALF_WIDTHS)
    GLOBAL_TEST.check(got.chi_square)
    assert got.dof == 3
    LIMIT.check(stats.chi2.ppf(0.95, got.dof))
    assert got.chi_square > LIMIT.value


def test_both_feedwater_flows_are_named_by_the_measurement_test() -> None:
    got = plant(HALF_WIDTHS)
    FEEDWATER_Z.check(-got.z[0])
    FEEDWATER_Z.check(-got.z[1])
    assert set(np.argsort(np.abs(got.z[:10]))[-4:]) == {0, 1, 2, 3}
    assert abs(got.z[0]) > np.max(np.abs(got.z[6:10]))
    assert np.isnan(got.z[10]), "no condition touches the last flow"


def test_sign_of_z_is_that_of_the_reading_over_its_reconciled_value() -> None:
    """VDI 2048 prints the improvement, value less reading; here a high reading has z above 0."""
    got = plant(HALF_WIDTHS)
    assert READINGS[0] > got.value[0]
    assert got.z[0] > 0.0


def test_wider_feedwater_readings_are_accepted() -> None:
    mended = HALF_WIDTHS.copy()
    mended[:2] = 2.5
    got = plant(mended)
    GLOBAL_TEST_MENDED.check(got.chi_square)
    assert got.chi_square < LIMIT.value
    np.testing.assert_allclose(
        got.value[:6], [44.69596, 44.12296, 44.64263, 44.38609, 0.52450, 70.00496], atol=6e-6
    )


@pytest.mark.parametrize(
    ("u", "value", "u_value", "chi_square"),
    [((5.0, 5.0), 105.0, 3.5355, 2.0), ((2.0, 4.0), 102.0, 1.78885, 5.0)],
)
def test_two_meters_of_one_flow(
    u: tuple[float, float], value: float, u_value: float, chi_square: float
) -> None:
    """Weighted mean; the equal case stands in a public material-flow help page."""
    got = reconcile(np.array([100.0, 110.0]), np.diag(np.square(u)), np.array([[1.0, -1.0]]))
    np.testing.assert_allclose(got.value, value, rtol=1e-12)
    np.testing.assert_allclose(np.sqrt(np.diag(got.covariance)), u_value, atol=6e-5)
    assert got.chi_square == pytest.approx(chi_square, rel=1e-12)
    # One condition: both z have the size of the root of chi-square, and opposite signs.
    np.testing.assert_allclose(np.abs(got.z), np.sqrt(chi_square), rtol=1e-12)
    assert got.z[0] == -got.z[1]
