"""From weighed hypotheses to causes, tests of the routes, and the next measurement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from airsense.evidence.causes import doubt_about, rank_causes
from airsense.evidence.hypotheses import hypotheses
from airsense.evidence.inference import Change, Posterior, infer, interval_indices
from airsense.evidence.next_measurement import candidates_for, mutual_information, propose
from airsense.evidence.priors import Cause
from airsense.evidence.reconcile import RouteTests, check_routes, critical_z, reconcile
from airsense.evidence.sensitivity import prior_sensitivity
from airsense.evidence.verdict import Verdict, decide
from tests.evidence_inputs import ROUTES, change_of, conditions_for, effect, usual_effects


def posterior_of(change: Change) -> Posterior:
    return infer(change, hypotheses(conditions_for(change)))


CLEAN = change_of((0.02, 0.02, 0.02))
SKEWED = change_of((0.08, 0.02, 0.021))
PRESSURE_FAULT = change_of((0.0, -0.20, 0.001))
ONE_ROUTE = change_of(
    (0.06, 0.0),
    routes=ROUTES[:2],
    effects=[replace(e, sensitivity=e.sensitivity[:2]) for e in usual_effects()],
)


def test_the_mean_of_none_is_that_of_a_free_scale() -> None:
    """So that no spike at zero narrows the interval of an ambiguous case."""
    candidates = hypotheses(conditions_for(CLEAN))
    means, spreads = interval_indices(candidates)
    first_scale = {}
    for k, h in enumerate(candidates):
        if h.sensor is Cause.SENSOR_SCALE:
            first_scale.setdefault(h.fault, k)
    for k, h in enumerate(candidates):
        has_scale = any(c.at_sensor for c in h.columns)
        assert means[k] == (first_scale[h.fault] if h.sensor is Cause.NONE else k)
        assert spreads[k] == (k if has_scale else first_scale[h.fault])


def test_mixture_takes_means_and_spreads_by_those_indices() -> None:
    found = posterior_of(SKEWED)
    for quantity in ("skew", "true"):
        mixture = found.mixture(quantity)
        np.testing.assert_array_equal(
            mixture.mean, [getattr(found.fits[k], quantity) for k in found.mean_of]
        )
        np.testing.assert_array_equal(
            mixture.scale, [getattr(found.fits[k], f"u_{quantity}") for k in found.spread_of]
        )
        np.testing.assert_array_equal(mixture.weight, found.weights)
        assert mixture.dof == found.dof
    by_bin = found.mixture("true_by_bin")
    assert by_bin.mean.shape == (6, len(found.fits))
    np.testing.assert_allclose(by_bin.mean.mean(axis=0), found.mixture("true").mean)


def test_probabilities_add_up() -> None:
    found = posterior_of(SKEWED)
    assert found.weights.sum() == pytest.approx(1.0)
    at_work = [
        w for w, f in zip(found.weights, found.fits, strict=True)
        if Cause.SENSOR_SCALE in f.hypothesis.causes
    ]  # fmt: skip
    assert found.probability(Cause.SENSOR_SCALE) == pytest.approx(sum(at_work))
    faultless = [
        w for w, f in zip(found.weights, found.fits, strict=True)
        if f.hypothesis.fault is Cause.NONE
    ]  # fmt: skip
    assert found.probability_of_no_fault() == pytest.approx(sum(faultless))
    assert found.probability(Cause.NONE) < found.probability_of_no_fault()


def test_disagreement_widens_as_far_as_no_fault_explains_it() -> None:
    found = posterior_of(SKEWED)
    sound = found.probability_of_no_fault()
    assert found.inflation == 1.0
    assert found.inflated(0.4).inflation == 1.0
    assert found.inflated(3.0).inflation == pytest.approx(1.0 + 2.0 * sound)
    np.testing.assert_allclose(
        found.inflated(3.0).mixture("true").scale,
        found.mixture("true").scale * (1.0 + 2.0 * sound),
    )
    np.testing.assert_array_equal(
        found.inflated(3.0).mixture("true").mean, found.mixture("true").mean
    )


def test_other_priors_move_the_weights_only() -> None:
    found = posterior_of(SKEWED)
    candidates = hypotheses(conditions_for(SKEWED), 2.0)
    moved = found.reweighed(candidates)
    ratio = moved.weights / found.weights
    wanted = np.array([h.probability for h in candidates]) / np.array(
        [f.hypothesis.probability for f in found.fits]
    )
    np.testing.assert_allclose(ratio / ratio[0], wanted / wanted[0], rtol=1e-9)
    assert moved.fits is found.fits


def test_clean_and_skewed_and_faulty_are_told_apart() -> None:
    assert posterior_of(CLEAN).probability(Cause.NONE) > 0.5
    skewed = posterior_of(SKEWED)
    assert skewed.probability(Cause.SENSOR_SCALE) > 0.9
    assert skewed.mixture("skew").interval().contains(np.expm1(0.06))
    faulty = posterior_of(PRESSURE_FAULT)
    assert faulty.probability(Cause.MANIFOLD_PRESSURE) > 0.9
    assert faulty.mixture("skew").interval().contains(0.0)
    assert faulty.mixture("true").interval().contains(0.0)


def test_causes_are_ranked_and_name_their_look_alikes_mutually() -> None:
    found = rank_causes(posterior_of(ONE_ROUTE))
    assert [c.probability for c in found] == sorted((c.probability for c in found), reverse=True)
    posterior = posterior_of(ONE_ROUTE)
    for row in found:
        assert row.probability == pytest.approx(posterior.probability(row.cause))
    named = {c.cause: set(c.not_separable_from) for c in found}
    for cause, alike in named.items():
        assert cause not in alike
        for other in alike & set(named):
            assert cause in named[other]
    # With speed density alone a fault of it is never excluded without cause.
    assert {Cause.VOLUMETRIC_EFFICIENCY, Cause.CHARGE_TEMPERATURE} & named[Cause.SENSOR_SCALE]


def test_sizes_of_causes_are_those_of_their_most_probable_hypothesis() -> None:
    posterior = posterior_of(SKEWED)
    found = {c.cause: c for c in rank_causes(posterior)}
    best = max(
        (
            (w, f) for w, f in zip(posterior.weights, posterior.fits, strict=True)
            if f.hypothesis.sensor is Cause.SENSOR_SCALE
        ),
        key=lambda pair: pair[0],
    )[1]  # fmt: skip
    size = found[Cause.SENSOR_SCALE].size
    assert size is not None
    assert size.value == pytest.approx(best.sizes[0])
    # Like every interval here: Student's t, and widened where the routes disagree.
    half = stats.t.ppf(0.975, posterior.dof) * best.u_sizes[0]
    assert size.high - size.value == pytest.approx(half)
    assert size.value - size.low == pytest.approx(half)
    wide = {c.cause: c for c in rank_causes(replace(posterior, inflation=2.0))}
    assert wide[Cause.SENSOR_SCALE].size is not None
    assert wide[Cause.SENSOR_SCALE].size.half_width == pytest.approx(2.0 * half)
    assert Cause.NONE not in found or found[Cause.NONE].size is None


def test_a_faults_size_is_read_from_its_own_column() -> None:
    found = {c.cause: c for c in rank_causes(posterior_of(PRESSURE_FAULT))}
    size = found[Cause.MANIFOLD_PRESSURE].size
    assert size is not None
    assert size.contains(-0.20)
    assert size.half_width < 0.03


def brute_alike(posterior: Posterior, a: Cause, b: Cause) -> bool:
    """Return the documented rule for two causes, hypothesis by hypothesis."""
    only_a = only_b = 0.0
    own: dict[Cause, float] = {}
    for w, f, like in zip(posterior.weights, posterior.fits, posterior.log_likelihood, strict=True):
        causes = f.hypothesis.causes
        only_a += w if a in causes and b not in causes else 0.0
        only_b += w if b in causes and a not in causes else 0.0
        if len(causes) == 1:
            (one,) = causes
            own[one] = max(own.get(one, -np.inf), like)
    alive = max(own.values()) - np.log(100.0)
    close = abs(own[a] - own[b]) < np.log(10.0) and own[a] > alive and own[b] > alive
    return bool(min(only_a, only_b) > 0.05 or close)


@pytest.mark.parametrize("change", [CLEAN, SKEWED, PRESSURE_FAULT, ONE_ROUTE])
def test_look_alikes_follow_the_documented_rule(change: Change) -> None:
    posterior = posterior_of(change)
    found = rank_causes(posterior)
    for row in found:
        for other in found:
            if row.cause is not other.cause:
                named = other.cause in row.not_separable_from
                assert named == brute_alike(posterior, row.cause, other.cause)


def test_improbable_causes_are_left_out_unless_they_look_alike() -> None:
    posterior = posterior_of(SKEWED)
    shown = {c.cause for c in rank_causes(posterior)}
    for cause in set(Cause) - shown:
        assert posterior.probability(cause) < 0.002


# --- routes against each other -------------------------------------------------------------


def test_routes_are_reconciled_like_any_other_readings() -> None:
    change = change_of((0.08, 0.030, 0.010), noise=4e-6)
    covariance = np.diag([2 / 3 * 0.003**2 + 0.002**2, 2 / 3 * 0.006**2 + 0.004**2])
    shared = 2 / 3 * 0.0005**2 + 0.0003**2
    covariance = covariance + shared + np.eye(2) * (4e-6 / 6 + 1e-12)
    wanted = reconcile(np.array([0.030, 0.010]), covariance, np.array([[1.0, -1.0]]))
    got = check_routes(change)
    assert [r.method for r in got.rows] == ["speed_density", "fuel_lambda"]
    np.testing.assert_allclose([r.z for r in got.rows], wanted.z, rtol=1e-9)
    assert got.chi_square == pytest.approx(wanted.chi_square, rel=1e-9)
    assert got.dof == 1
    inverse = np.linalg.inv(covariance)
    np.testing.assert_allclose(
        [r.weight for r in got.rows], inverse.sum(axis=1) / inverse.sum(), rtol=1e-9
    )


@pytest.mark.parametrize(("apart", "fails"), [(0.005, False), (0.08, True)])
def test_a_failing_route_is_named_with_its_weight(apart: float, fails: bool) -> None:
    got = check_routes(change_of((0.08, 0.0, apart)))
    for row in got.rows:
        assert row.z is not None
        assert (abs(row.z) > critical_z(2)) == fails
        assert ("fails its test" in row.sentence) == fails
        assert f"weight {100 * row.weight:.0f} %" in row.sentence
        assert f"z = {row.z:+.1f}" in row.sentence
    assert (got.probability < 0.01) == fails


def test_three_routes_have_two_degrees_of_freedom() -> None:
    effects = [
        *(replace(e, sensitivity=np.r_[e.sensitivity, e.sensitivity[0] * e.sensitivity[2]])
          for e in usual_effects()),
        effect("brake_power", (0, 0, 0, 1), run=0.01),
    ]  # fmt: skip
    got = check_routes(
        change_of((0.05, 0.01, 0.012, 0.011), routes=(*ROUTES, "brake_power"), effects=effects)
    )
    assert got.dof == 2
    assert len(got.rows) == 3
    assert sum(r.weight for r in got.rows) == pytest.approx(1.0)


def test_a_single_route_has_nothing_to_test_it() -> None:
    got = check_routes(ONE_ROUTE)
    (row,) = got.rows
    assert (row.method, row.z, row.weight) == ("speed_density", None, 1.0)
    assert (got.dof, got.chi_square) == (0, 0.0)
    assert got.probability == 1.0
    assert got.birge_ratio == 1.0
    assert row.sentence == "the only route: nothing to test it"


def test_birge_ratio_widens_only_beyond_chance() -> None:
    """Chi-square above its 90 % point widens; probability 0.1 is at 2.706 for one degree."""

    def ratio(chi_square: float, dof: int = 1) -> float:
        return RouteTests(rows=(), chi_square=chi_square, dof=dof).birge_ratio

    assert ratio(2.70) == 1.0
    assert ratio(2.72) == pytest.approx(np.sqrt(2.72))
    assert ratio(8.0, 2) == pytest.approx(2.0)


# --- doubt ----------------------------------------------------------------------------------


def test_doubt_where_one_route_stands_alone() -> None:
    got = doubt_about(posterior_of(ONE_ROUTE), check_routes(ONE_ROUTE))
    assert got.unsupported
    assert not got.unexplained
    clean = doubt_about(posterior_of(CLEAN), check_routes(CLEAN))
    assert not clean.unsupported
    assert not clean.unexplained


def test_doubt_where_a_fault_is_a_live_suspect() -> None:
    got = doubt_about(posterior_of(PRESSURE_FAULT), check_routes(PRESSURE_FAULT))
    assert got.unsupported
    assert not got.unexplained, "one cause explains it beyond 90 %"


def test_doubt_where_there_is_no_fault_to_suspect() -> None:
    posterior = posterior_of(CLEAN)
    sound = [k for k, f in enumerate(posterior.fits) if f.hypothesis.fault is Cause.NONE]
    faultless = replace(
        posterior,
        fits=tuple(posterior.fits[k] for k in sound),
        weights=posterior.weights[sound] / posterior.weights[sound].sum(),
    )
    assert doubt_about(faultless, RouteTests(rows=(), chi_square=40.0, dof=1)).unexplained
    assert not doubt_about(faultless, RouteTests(rows=(), chi_square=0.1, dof=1)).unexplained


def test_doubt_where_no_single_cause_explains_a_contradiction() -> None:
    posterior = posterior_of(SKEWED)
    apart = RouteTests(rows=(), chi_square=40.0, dof=1)
    assert doubt_about(posterior, apart).unexplained
    near = RouteTests(rows=(), chi_square=6.0, dof=1)
    assert not doubt_about(posterior, near).unexplained


# --- sensitivity and next measurement --------------------------------------------------------


def test_sensitivity_is_the_answer_under_halved_and_doubled_odds() -> None:
    posterior, conditions = posterior_of(SKEWED), conditions_for(SKEWED)
    tests = check_routes(SKEWED)
    runs = prior_sensitivity(posterior, conditions, 0.01, tests)
    assert [r.factor for r in runs] == [0.5, 2.0]
    for run in runs:
        moved = posterior.reweighed(hypotheses(conditions, run.factor))
        assert run.sensor_skew == moved.mixture("skew").interval()
        assert run.airflow_change == moved.mixture("true").interval()
        assert run.verdict is decide(
            moved.mixture("true"), moved.mixture("skew"), 0.01, doubt_about(moved, tests)
        )
    assert {r.verdict for r in runs} <= set(Verdict)


def test_sensitivity_keeps_the_doubt_about_the_routes() -> None:
    apart = RouteTests(rows=(), chi_square=40.0, dof=1)
    sure = posterior_of(SKEWED)
    assert decide(sure.mixture("true"), sure.mixture("skew"), 0.01) is not Verdict.UNDETERMINED
    runs = prior_sensitivity(sure, conditions_for(SKEWED), 0.01, apart)
    assert {r.verdict for r in runs} == {Verdict.UNDETERMINED}


def names(change: Change, one_configuration: bool = False) -> list[str]:
    return [c.measurement for c in candidates_for(change, one_configuration=one_configuration)]


def test_what_is_missing_is_proposed() -> None:
    assert not any("wide-band" in n for n in names(CLEAN))
    assert any("wide-band" in n for n in names(ONE_ROUTE))
    fuel_only = change_of(
        (0.05, 0.0), routes=(ROUTES[0], ROUTES[2]), effects=(effect("fuel", (0, 1), run=0.01),)
    )
    assert any(n.startswith("manifold pressure and") for n in names(fuel_only))
    assert any("bore" in n for n in names(CLEAN))
    assert not any("bore" in n for n in names(CLEAN, one_configuration=True))
    assert any("both configurations" in n for n in names(CLEAN))
    assert not any("both configurations" in n for n in names(CLEAN, one_configuration=True))


def test_the_measurement_that_settles_most_is_proposed() -> None:
    posterior = posterior_of(ONE_ROUTE)
    got = propose(posterior, ONE_ROUTE)
    scored = {
        c.measurement: mutual_information(posterior, c)
        for c in candidates_for(ONE_ROUTE, one_configuration=False)
    }
    assert got.measurement == max(scored, key=scored.__getitem__)
    assert got.expected_entropy_drop_nats == pytest.approx(max(scored.values()))
    assert got.expected_entropy_drop_nats > 0.02
    assert got.reason


@pytest.mark.parametrize(
    ("shared", "one", "wanted"),
    [
        (False, False, "more repeats, alternating the configurations"),
        (False, True, "more repeats"),
        (True, False, "a better hold on fuel, then more repeats, alternating the configurations"),
    ],
)
def test_repeats_where_no_measurement_settles_anything(
    shared: bool, one: bool, wanted: str
) -> None:
    posterior = posterior_of(SKEWED)
    part = replace(posterior.budget[0], label="fuel", shared=shared)
    settled = np.zeros(len(posterior.fits))
    settled[0] = 1.0
    certain = replace(posterior, weights=settled, budget=(part,))
    got = propose(certain, SKEWED, one_configuration=one)
    assert got.measurement == wanted
    assert "fuel" in got.reason
    assert got.expected_entropy_drop_nats < 0.02
