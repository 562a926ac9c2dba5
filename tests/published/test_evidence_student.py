"""Student mixtures, effective degrees of freedom and normal quantiles, against GUM and scipy."""

from __future__ import annotations

import GTC
import numpy as np
import pytest
from scipy import optimize, stats

from airsense.evidence.student import COVERAGE, Mixture, single, welch_satterthwaite
from tests.published.published import Published

# JCGM 100:2008, example H.1: end-gauge calibration; components in nm with their degrees of
# freedom. The random part of d and its two systematic parts count separately.
H1_U = np.array([25.0, 5.8, 3.9, 6.7, 2.887, 16.599])
H1_DOF = np.array([18.0, 24.0, 5.0, 8.0, 50.0, 2.0])
H1_NU_EFF = Published("JCGM 100:2008 H.1.6, printed 16.7 (GTC 16.75)", printed="16.75")
H1_U_COMBINED = Published("JCGM 100:2008 H.1.5, printed 32 nm (GTC 31.7)", printed="31.7")
H1_K99 = Published("JCGM 100:2008 H.1.6, t_99(16)", printed="2.92")
H1_U99 = Published("JCGM 100:2008 H.1.6, 2.92 x 32 nm, from memory", printed="93")


def test_effective_degrees_of_freedom_of_the_gum_end_gauge() -> None:
    H1_NU_EFF.check(welch_satterthwaite(H1_U**2, H1_DOF))
    H1_U_COMBINED.check(np.sqrt(np.sum(H1_U**2)))


def test_effective_degrees_of_freedom_agree_with_gtc() -> None:
    parts = [GTC.ureal(0.0, u, df) for u, df in zip(H1_U, H1_DOF, strict=True)]
    total = sum(parts[1:], parts[0])
    assert welch_satterthwaite(H1_U**2, H1_DOF) == pytest.approx(total.df, rel=1e-12)


def test_infinite_degrees_of_freedom_count_in_the_variance_only() -> None:
    """JCGM 100 G.4.2: a type B component taken as exactly known has infinite degrees."""
    variance, dof = np.array([4.0, 9.0]), np.array([6.0, np.inf])
    assert welch_satterthwaite(variance, dof) == pytest.approx(13.0**2 / (4.0**2 / 6.0))
    assert welch_satterthwaite(np.array([9.0]), np.array([np.inf])) == np.inf
    assert welch_satterthwaite(np.zeros(2), np.array([3.0, 4.0])) == np.inf


def test_expanded_uncertainty_of_the_gum_end_gauge() -> None:
    """The guide truncates 16.7 to 16 and takes u = 32 nm."""
    H1_K99.check(float(single(0.0, 1.0, 16.0).quantile(0.995)))
    H1_U99.check(float(single(0.0, 32.0, 16.0).quantile(0.995)))


@pytest.mark.parametrize(
    ("dof", "printed"),
    [(1.0, "12.71"), (2.0, "4.303"), (5.0, "2.571"), (10.0, "2.228"), (50.0, "2.009")],
)
def test_t_interval_has_the_factor_of_the_gum_table(dof: float, printed: str) -> None:
    """JCGM 100:2008, table G.2, column 95 % (GUM prints two decimals; third from t tables)."""
    interval = single(0.0, 1e-6, dof).interval()
    Published("JCGM 100:2008 table G.2 / Student tables", printed=printed).check(
        interval.high * 1e6
    )
    assert interval.low == pytest.approx(-interval.high, rel=1e-4)
    assert COVERAGE == 0.95


def test_interval_is_that_of_the_ratio_not_of_its_logarithm() -> None:
    got = single(0.1, 0.02, np.inf).interval()
    z = stats.norm.ppf(0.975)
    assert got.value == pytest.approx(np.expm1(0.1), abs=1e-9)
    assert got.low == pytest.approx(np.expm1(0.1 - 0.02 * z), abs=1e-9)
    assert got.high == pytest.approx(np.expm1(0.1 + 0.02 * z), abs=1e-9)


def test_interval_takes_another_coverage() -> None:
    got = single(0.0, 0.01, 7.0).interval(0.5)
    assert np.log1p(got.high) == pytest.approx(0.01 * stats.t.ppf(0.75, 7.0), rel=1e-6)
    assert np.log1p(got.low) == pytest.approx(-0.01 * stats.t.ppf(0.75, 7.0), rel=1e-6)


MIXED = Mixture(
    weight=np.array([0.6, 0.3, 0.1]),
    mean=np.array([0.0, 0.05, -0.08]),
    scale=np.array([0.01, 0.02, 0.05]),
    dof=9.3,
)


def mixture_cdf(x: float) -> float:
    return float(MIXED.weight @ stats.t.cdf(x, MIXED.dof, MIXED.mean, MIXED.scale))


@pytest.mark.parametrize("x", [-0.3, -0.05, 0.0, 0.013, 0.2])
def test_mixture_cdf_is_scipys(x: float) -> None:
    assert float(MIXED.cdf(x)) == pytest.approx(mixture_cdf(x), abs=1e-14)
    assert MIXED.below(x) == float(MIXED.cdf(x))


@pytest.mark.parametrize("p", [0.025, 0.3, 0.5, 0.975])
def test_mixture_quantile_inverts_scipys_cdf(p: float) -> None:
    wanted = optimize.brentq(lambda x: mixture_cdf(x) - p, -1.0, 1.0, xtol=1e-14)
    assert float(MIXED.quantile(p)) == pytest.approx(wanted, abs=1e-10)


def test_several_quantities_at_once_are_each_on_their_own() -> None:
    rows = Mixture(
        weight=MIXED.weight,
        mean=np.array([MIXED.mean, MIXED.mean + 0.4]),
        scale=np.array([MIXED.scale, 2.0 * MIXED.scale]),
        dof=MIXED.dof,
    )
    got = rows.quantile(0.9)
    assert got.shape == (2,)
    assert got[0] == pytest.approx(float(MIXED.quantile(0.9)), abs=1e-12)
    alone = Mixture(
        weight=MIXED.weight, mean=MIXED.mean + 0.4, scale=2.0 * MIXED.scale, dof=MIXED.dof
    )
    assert got[1] == pytest.approx(float(alone.quantile(0.9)), abs=1e-10)
    intervals = rows.intervals()
    assert intervals[0].value == pytest.approx(MIXED.interval().value, abs=1e-10)
    assert intervals[1].high == pytest.approx(alone.interval().high, abs=1e-9)


def test_a_component_of_no_weight_moves_nothing() -> None:
    far = Mixture(
        weight=np.array([1.0 - 1e-6, 1e-6]),
        mean=np.array([0.0, 5.0]),
        scale=np.array([0.01, 0.01]),
        dof=8.0,
    )
    assert far.leading().weight.size == 1
    assert far.leading().weight[0] == 1.0
    assert float(far.quantile(0.5)) == pytest.approx(0.0, abs=1e-9)
    kept = Mixture(weight=np.array([1.0 - 2e-4, 2e-4]), mean=far.mean, scale=far.scale, dof=far.dof)
    assert kept.leading().weight.size == 2


def test_what_is_left_out_of_a_quantile_is_light_together() -> None:
    """Three components of 0.4e-4 each: two may go, the third would make it more than 1e-4."""
    light = np.full(3, 4e-5)
    mixture = Mixture(
        weight=np.concatenate([[1.0 - light.sum()], light]),
        mean=np.array([0.0, 1.0, 2.0, 3.0]),
        scale=np.full(4, 0.01),
        dof=8.0,
    )
    assert mixture.leading().weight.size == 2
    exact = optimize.brentq(lambda x: float(mixture.cdf(x)) - 0.975, -1.0, 0.5, xtol=1e-14)
    assert float(mixture.quantile(0.975)) == pytest.approx(exact, abs=0.003 * 0.01)


def test_several_quantiles_at_once_are_each_on_their_own() -> None:
    got = MIXED.quantiles([0.025, 0.5, 0.975])
    assert got.shape == (3,)
    for p, value in zip([0.025, 0.5, 0.975], got, strict=True):
        assert mixture_cdf(float(value)) == pytest.approx(p, abs=1e-7)


def test_a_quantile_that_nothing_bounds_is_found_too() -> None:
    wide = Mixture(
        weight=np.array([0.5, 0.5]), mean=np.array([0.0, 1e9]), scale=np.array([1.0, 1e13]), dof=3.0
    )
    low, high = wide.quantiles([0.05, 0.95])
    assert float(wide.cdf(low)) == pytest.approx(0.05, rel=1e-6)
    assert float(wide.cdf(high)) == pytest.approx(0.95, rel=1e-6)


def test_a_point_stays_a_point() -> None:
    got = single(0.02, 0.0, 5.0).interval()
    np.testing.assert_allclose([got.low, got.value, got.high], np.expm1(0.02), atol=1e-8)
    assert single(0.0, -1.0, 5.0).scale[0] == 0.0
