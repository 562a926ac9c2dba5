"""The closed-form evidence against brute force: scipy's normal density, conditioning, sampling.

The covariance is put together here element by element, from the model as it is written in the
module's equation, so that the two share no code.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats

from airsense.evidence import priors
from airsense.evidence.hypotheses import Column, Hypothesis, hypotheses
from airsense.evidence.inference import Change, Fit, Posterior, infer
from airsense.evidence.next_measurement import Candidate, mutual_information
from airsense.evidence.priors import Cause
from airsense.evidence.student import welch_satterthwaite
from tests.evidence_inputs import change_of, conditions_for, effect

FloatArray = NDArray[np.float64]

RIDGE = 1e-10
VALUE = np.array(
    [
        [0.052, 0.050, 0.047, 0.044, 0.043, 0.040],
        [0.012, 0.011, 0.013, 0.016, 0.015, 0.017],
        [0.009, 0.012, 0.010, 0.012, 0.014, 0.011],
    ]
)


def closeness(change: Change) -> FloatArray:
    ln_n = np.log(change.speed_rpm)
    n = ln_n.size
    return np.array(
        [[np.exp(-0.5 * ((ln_n[b] - ln_n[c]) / 0.15) ** 2) for c in range(n)] for b in range(n)]
    )


def true_prior(change: Change) -> FloatArray:
    return 0.10**2 + 0.04**2 * closeness(change)


def budget_covariance(change: Change) -> FloatArray:
    """Return the covariance of the data but for the true change, element by element."""
    routes, bins = change.value.shape
    near = 0.7 + 0.3 * closeness(change)
    total = np.zeros((routes * bins, routes * bins))
    for r in range(routes):
        for s in range(routes):
            for b in range(bins):
                for c in range(bins):
                    for e in change.effects:
                        size = e.between**2 + change.run_weight * e.run**2
                        total[r * bins + b, s * bins + c] += (
                            e.sensitivity[r] * e.sensitivity[s] * size * near[b, c]
                        )
                    if b == c:
                        total[r * bins + b, s * bins + c] += change.common_noise[b]
                        total[r * bins + b, s * bins + c] += (
                            change.noise[r, b] + RIDGE if r == s else 0.0
                        )
    return total


def joint(change: Change, hypothesis: Hypothesis) -> tuple[FloatArray, FloatArray]:
    """Return the prior covariance of (true change by bin, sizes), and what maps it to the data."""
    routes, bins = change.value.shape
    sizes = [c.size for c in hypothesis.columns]
    prior = np.zeros((bins + len(sizes),) * 2)
    prior[:bins, :bins] = true_prior(change)
    prior[bins:, bins:] = np.diag(np.square(sizes))
    to_data = np.zeros((routes * bins, bins + len(sizes)))
    for r in range(routes):
        for b in range(bins):
            to_data[r * bins + b, b] = 1.0
    for k, column in enumerate(hypothesis.columns):
        to_data[:, bins + k] = column.effect
    return prior, to_data


CHANGE = change_of(VALUE)
CANDIDATES = hypotheses(conditions_for(CHANGE))
NAMES = [f"{h.sensor.value}+{h.fault.value}-{k}" for k, h in enumerate(CANDIDATES)]


@pytest.fixture
def posterior() -> Posterior:
    return infer(CHANGE, CANDIDATES)


@pytest.mark.parametrize("k", range(len(CANDIDATES)), ids=NAMES)
def test_marginal_likelihood_is_the_normal_density_of_the_data(
    k: int, posterior: Posterior
) -> None:
    fit, hypothesis = posterior.fits[k], CANDIDATES[k]
    prior, to_data = joint(CHANGE, hypothesis)
    total = budget_covariance(CHANGE) + to_data @ prior @ to_data.T
    wanted = stats.multivariate_normal.logpdf(VALUE.ravel(), cov=total)
    got = fit.log_evidence - 0.5 * fit.misfit - 0.5 * VALUE.size * np.log(2.0 * np.pi)
    assert got - sign_part(fit) == pytest.approx(wanted, abs=1e-6)


def sign_part(fit: Fit) -> float:
    """Return the log of 2 (s P(t > 0) + (1 - s) P(t < 0)) with s = 0.85, by scipy."""
    part = 0.0
    for t, u, column in zip(fit.sizes, fit.u_sizes, fit.hypothesis.columns, strict=True):
        if column.one_sided:
            above = stats.norm.sf(0.0, t, u)
            part += np.log(2.0 * (0.85 * above + 0.15 * (1.0 - above)))
    return float(part)


def test_one_sided_prior_is_a_pair_of_half_normals(posterior: Posterior) -> None:
    """Integrate the likelihood over the half-normals instead of correcting the normal's."""
    k = next(
        k for k, h in enumerate(CANDIDATES)
        if h.sensor is Cause.LEAK_AFTER_COMPRESSOR
        and h.fault is Cause.NONE
        and len(h.columns) == 1
    )  # fmt: skip
    column = CANDIDATES[k].columns[0]
    assert priors.NEW_LEAK_SHARE == 0.85
    prior, to_data = joint(CHANGE, CANDIDATES[k])
    bins = VALUE.shape[1]
    rest = budget_covariance(CHANGE) + (
        to_data[:, :bins] @ prior[:bins, :bins] @ to_data[:, :bins].T
    )
    normal = stats.multivariate_normal(cov=rest)

    def density(t: float) -> float:
        share = 0.85 if t > 0.0 else 0.15
        like = normal.logpdf(VALUE.ravel() - t * column.effect)
        return float(2.0 * share * stats.norm.pdf(t, 0.0, column.size) * np.exp(like - 60.0))

    total = sum(integrate.quad(density, a, b, epsrel=1e-9)[0] for a, b in ((-0.2, 0.0), (0.0, 0.2)))
    fit = posterior.fits[k]
    got = fit.log_evidence - 0.5 * fit.misfit - 0.5 * VALUE.size * np.log(2.0 * np.pi)
    assert got == pytest.approx(np.log(total) + 60.0, abs=1e-5)


@pytest.mark.parametrize("k", range(0, len(CANDIDATES), 3))
def test_sizes_and_true_change_are_the_conditioned_joint_normal(
    k: int, posterior: Posterior
) -> None:
    fit, hypothesis = posterior.fits[k], CANDIDATES[k]
    prior, to_data = joint(CHANGE, hypothesis)
    total = budget_covariance(CHANGE) + to_data @ prior @ to_data.T
    gain = prior @ to_data.T @ np.linalg.inv(total)
    mean = gain @ VALUE.ravel()
    cov = prior - gain @ to_data @ prior
    bins = VALUE.shape[1]
    np.testing.assert_allclose(fit.true_by_bin, mean[:bins], atol=1e-9)
    np.testing.assert_allclose(fit.u_true_by_bin, np.sqrt(np.diag(cov)[:bins]), atol=1e-9)
    average = np.r_[np.full(bins, 1.0 / bins), np.zeros(len(hypothesis.columns))]
    assert fit.true == pytest.approx(average @ mean, abs=1e-9)
    assert fit.u_true == pytest.approx(np.sqrt(average @ cov @ average), abs=1e-9)
    np.testing.assert_allclose(fit.sizes, mean[bins:], atol=1e-9)
    np.testing.assert_allclose(fit.u_sizes, np.sqrt(np.diag(cov)[bins:]), atol=1e-9)
    reading = np.array([c.effect[:bins] * c.at_sensor for c in hypothesis.columns]).T.reshape(
        bins, -1
    )
    skew_cov = reading @ cov[bins:, bins:] @ reading.T
    np.testing.assert_allclose(fit.skew_by_bin, reading @ mean[bins:], atol=1e-9)
    np.testing.assert_allclose(
        fit.u_skew_by_bin, np.sqrt(np.maximum(np.diag(skew_cov), 0.0)), atol=1e-9
    )
    assert fit.skew == pytest.approx(np.mean(reading @ mean[bins:]), abs=1e-9)
    assert fit.u_skew == pytest.approx(np.sqrt(max(np.mean(skew_cov), 0.0)), abs=1e-9)


def test_weights_are_prior_times_student_likelihood(posterior: Posterior) -> None:
    """Student kernel (1 + excess/nu)^(-(nu + 1)/2): it falls to the normal's for large nu."""
    fits, nu = posterior.fits, posterior.dof
    misfit = np.array([f.misfit for f in fits])
    log_like = np.array([f.log_evidence for f in fits]) - 0.5 * (nu + 1.0) * np.log(
        1.0 + (misfit - misfit.min()) / nu
    )
    np.testing.assert_allclose(posterior.log_likelihood, log_like, rtol=1e-12)
    raw = np.exp(log_like - log_like.max()) * [h.probability for h in CANDIDATES]
    np.testing.assert_allclose(posterior.weights, raw / raw.sum(), rtol=1e-9, atol=1e-300)


def test_degrees_of_freedom_and_budget_are_those_of_the_scale(posterior: Posterior) -> None:
    variance = np.array([p.u**2 for p in posterior.budget])
    dof = np.array([p.dof for p in posterior.budget])
    assert posterior.dof == pytest.approx(welch_satterthwaite(variance, dof))
    assert np.all(np.diff([p.u for p in posterior.budget]) <= 0.0)
    assert next(p.dof for p in posterior.budget if p.label == "sample noise") == 6.0
    assert {p.label: p.shared for p in posterior.budget} == {
        "fuel": True,
        "manifold_pressure": True,
        "mass_air_flow": False,
        "engine_speed": True,
        "sample noise": False,
        "engine": True,
    }


def test_what_moves_all_routes_alike_hardly_reaches_the_skew(posterior: Posterior) -> None:
    by_label = {p.label: p.u for p in posterior.budget}
    assert by_label["engine"] < 0.05 * by_label["mass_air_flow"]


def test_budget_parts_are_those_of_the_linear_estimator(posterior: Posterior) -> None:
    """Skew = w'd: each effect gives w'K_e w, and the engine's own variation gives next to none."""
    scale = next(h for h in CANDIDATES if h.sensor is Cause.SENSOR_SCALE and h.fault is Cause.NONE)
    prior, to_data = joint(CHANGE, scale)
    total = budget_covariance(CHANGE) + to_data @ prior @ to_data.T
    weights = (prior @ to_data.T @ np.linalg.inv(total))[-1]
    near = 0.7 + 0.3 * closeness(CHANGE)
    by_label = {p.label: p.u for p in posterior.budget}
    for e in CHANGE.effects:
        size = e.between**2 + CHANGE.run_weight * e.run**2
        kernel = size * np.kron(np.outer(e.sensitivity, e.sensitivity), near)
        wanted = np.sqrt(weights @ kernel @ weights)
        assert by_label.get(e.label, 0.0) == pytest.approx(wanted, abs=2e-8)
    quiet = budget_covariance(change_of(VALUE, effects=()))
    assert by_label["sample noise"] == pytest.approx(np.sqrt(weights @ quiet @ weights), rel=1e-6)


def free_scale(n_routes: int, size: float) -> Hypothesis:
    column = np.r_[1.0, np.zeros(n_routes - 1)]
    return Hypothesis(
        sensor=Cause.SENSOR_SCALE,
        fault=Cause.NONE,
        probability=1.0,
        columns=(Column(effect=column, size=size, at_sensor=True),),
    )


def test_monte_carlo_of_the_double_ratio_agrees_with_the_closed_form() -> None:
    """JCGM 101: draw what is shared and what is not, form the double ratio, compare.

    Three runs before, two after. What is shared by all runs is drawn large, and must vanish.
    """
    rng = np.random.default_rng(11)
    draws, n_before, n_after = 200_000, 3, 2
    true, skew = 0.02, 0.05

    def mean_of_runs(runs: int, u: float) -> FloatArray:
        return rng.normal(0.0, u, (draws, runs)).mean(axis=1)

    pressure_drift = rng.normal(0.0, 0.004, draws)
    shared_ve, shared_pressure = rng.normal(0.92, 0.05, draws), rng.normal(1.0, 0.015, draws)
    flows = {}
    for name, runs, after in (("before", n_before, 0.0), ("after", n_after, 1.0)):
        air = np.exp(true * after + mean_of_runs(runs, 0.005))
        indicated = air * (1.0 + skew * after) * np.exp(mean_of_runs(runs, 0.003))
        pressure = shared_pressure * np.exp(mean_of_runs(runs, 0.003) + pressure_drift * after)
        flows[name] = indicated, shared_ve * air * pressure
    ratio = (flows["after"][0] / flows["before"][0]) / (flows["after"][1] / flows["before"][1])
    sampled = np.quantile(ratio - 1.0, (0.025, 0.5, 0.975))

    change = change_of(
        np.array([[true + np.log1p(skew)], [true]]),
        routes=("mass_air_flow", "speed_density"),
        effects=(
            effect("mass_air_flow", (1, 0), run=0.003, dof=np.inf),
            effect("manifold_pressure", (0, 1), run=0.003, between=0.004, dof=np.inf),
            effect("volumetric_efficiency", (0, 1), absolute=0.05, dof=np.inf),
            effect("engine", (1, 1), run=0.005, dof=np.inf),
        ),
        noise=0.0,
        common=0.0,
        run_weight=1.0 / n_before + 1.0 / n_after,
    )
    got = infer(change, (free_scale(2, 10.0),), true_size=10.0).mixture("skew").interval()
    # 200,000 draws leave about 5e-5 on the bounds of an interval of 0.013 half-width.
    np.testing.assert_allclose([got.low, got.value, got.high], sampled, atol=2e-4)


def test_a_wide_prior_leaves_the_plain_double_ratio_and_its_quadrature() -> None:
    change = change_of(
        np.array([[0.07], [0.02]]),
        routes=("mass_air_flow", "speed_density"),
        effects=(
            effect("a", (1, 0), run=0.003), effect("b", (0, 1), run=0.004, between=0.002),
            effect("engine", (1, 1), run=0.05, between=0.05),
        ),
        noise=4e-6,
        common=1.0,
    )  # fmt: skip
    (fit,) = infer(change, (free_scale(2, 100.0),), true_size=100.0).fits
    variance = 2 / 3 * 0.003**2 + 2 / 3 * 0.004**2 + 0.002**2 + 2 * (4e-6 + RIDGE)
    assert fit.skew == pytest.approx(0.05, abs=1e-6)
    assert fit.u_skew == pytest.approx(np.sqrt(variance), rel=1e-5)


def test_mutual_information_is_the_drop_of_entropy_by_quadrature(posterior: Posterior) -> None:
    candidate = Candidate(
        measurement="bore", reason="", shows=lambda fit: (fit.skew, fit.u_skew), u=0.02
    )
    means = np.array([f.skew for f in posterior.fits])
    spreads = np.hypot([f.u_skew for f in posterior.fits], 0.02)
    weights = posterior.weights

    def mixed(x: float) -> float:
        density = float(weights @ stats.norm.pdf(x, means, spreads))
        return -density * np.log(density)

    entropy = integrate.quad(mixed, -0.5, 0.7, points=[0.0, 0.04], limit=400)[0]
    each = float(weights @ [stats.norm.entropy(0.0, s) for s in spreads])
    got = mutual_information(posterior, candidate)
    assert got > 0.01
    assert got == pytest.approx(entropy - each, rel=2e-3)


def test_mutual_information_of_two_distant_causes_is_their_entropy(posterior: Posterior) -> None:
    """With 0.3 against 0.7 and no overlap, a measurement settles H = 0.6109 nat."""
    fits = posterior.fits[:2]
    two = Posterior(
        fits=fits,
        log_likelihood=np.zeros(2),
        weights=np.array([0.3, 0.7]),
        mean_of=(0, 1),
        spread_of=(0, 1),
        dof=10.0,
        budget=(),
    )
    far = Candidate(
        measurement="m", reason="", shows=lambda f: (1.0 if f is fits[0] else 0.0, 0.0), u=0.02
    )
    wanted = -(0.3 * np.log(0.3) + 0.7 * np.log(0.7))
    assert mutual_information(two, far) == pytest.approx(wanted, rel=1e-3)
    blind = Candidate(measurement="m", reason="", shows=lambda _: (0.0, 0.0), u=0.02)
    assert mutual_information(two, blind) == pytest.approx(0.0, abs=1e-4)
