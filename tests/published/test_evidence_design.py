"""Least-squares designs against the calibration line of the GUM, example H.3."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.evidence.change import design_from, pair_design
from airsense.evidence.scatter import residual_degrees, residuals
from tests.published.published import Published

# JCGM 100:2008, table H.6: thermometer readings and corrections, both in degC; t0 = 20 degC.
READING = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = np.array(
    [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
)
MATRIX = np.column_stack([np.ones(11), READING - 20.0])
H3 = "JCGM 100:2008 H.3.3"
CONTRASTS = [
    (np.array([1.0, 0.0]), Published(H3, printed="-0.1712"), Published(H3, printed="0.0029")),
    (np.array([0.0, 1.0]), Published(H3, printed="0.00218"), Published(H3, printed="0.00067")),
    (
        np.array([1.0, 10.0]),
        Published("JCGM 100:2008 H.3.4, b(30 degC)", printed="-0.1494"),
        Published("JCGM 100:2008 H.3.4, u(b(30 degC))", printed="0.0041"),
    ),
]


def scatter() -> float:
    left = residuals(CORRECTION[:, None], MATRIX)[:, 0]
    return float(np.sqrt(np.sum(left**2) / residual_degrees(MATRIX)))


def test_scatter_about_the_line() -> None:
    assert residual_degrees(MATRIX) == 9
    Published(H3, printed="0.0035").check(scatter())


@pytest.mark.parametrize(("contrast", "value", "u"), CONTRASTS, ids=["y1", "y2", "b(30)"])
def test_line_of_the_gum(contrast: np.ndarray, value: Published, u: Published) -> None:
    design = design_from(MATRIX, contrast)
    value.check(design.weights @ CORRECTION)
    u.check(scatter() * np.sqrt(design.run_weight))


def test_correlation_of_intercept_and_slope() -> None:
    rows = [design_from(MATRIX, c).weights for c, _, _ in CONTRASTS[:2]]
    correlation = rows[0] @ rows[1] / np.sqrt((rows[0] @ rows[0]) * (rows[1] @ rows[1]))
    Published(H3, printed="-0.930").check(correlation)


def test_a_pair_weighs_the_mean_after_against_the_mean_before() -> None:
    design = pair_design([False, True, True, False, False])
    np.testing.assert_allclose(design.weights, [-1 / 3, 1 / 2, 1 / 2, -1 / 3, -1 / 3], atol=1e-15)
    assert design.run_weight == pytest.approx(1 / 3 + 1 / 2)
    assert residual_degrees(design.matrix) == 3


def test_residuals_are_what_each_configuration_leaves() -> None:
    design = pair_design([False, False, True, True])
    values = np.array([[1.0, 4.0], [3.0, 4.0], [10.0, 0.0], [20.0, 2.0]])
    np.testing.assert_allclose(
        residuals(values, design.matrix), [[-1, 0], [1, 0], [-5, -1], [5, 1]], atol=1e-12
    )
