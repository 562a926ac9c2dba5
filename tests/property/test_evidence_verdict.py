"""The words of a verdict: the contract's precedence, row by row, and the tails it rests on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from airsense.cli.common import VERDICTS
from airsense.evidence.verdict import (
    NOTHING,
    SURE,
    TAIL_OF_GAIN,
    TAIL_OF_SURPLUS,
    UNDER_OTHER_PRIORS,
    Claimed,
    Evidence,
    Question,
    ReadingCause,
    Verdict,
    decide,
    decide_tune,
    matters,
    reading_cause,
    tail_beyond_zero,
    weighted_quantiles,
)

N = 20_000
Z = ndtri((np.arange(N) + 0.5) / N)
EVEN = np.full(N, 1.0 / N)
MARGIN = 0.01


def claimed(mean: float, u: float, *, spike: float = 0.0) -> Claimed:
    """Return a normal, and a share of no change at all."""
    values = mean + u * Z
    if spike:
        values[:: round(1.0 / spike)] = 0.0
    return Claimed(values=values, weight=EVEN)


def evidence(mean: float, u: float = 0.003) -> Evidence:
    return Evidence(stated=claimed(mean, u), varied=(claimed(mean, 1.1 * u),))


def question(
    intake: float | None,
    engine: float | None,
    surplus: float,
    *,
    u: float = 0.003,
    elsewhere: float = 1.0,
    high: float | None = None,
) -> Question:
    return Question(
        surplus=evidence(surplus, u),
        surplus_high=surplus + 2.0 * u if high is None else high,
        intake=None if intake is None else evidence(intake, u),
        engine=None if engine is None else evidence(engine, u),
        elsewhere=elsewhere,
    )


# intake, engine, surplus, more, verdict: design.md, the first that holds
ROWS: tuple[tuple[float | None, float | None, float, dict[str, float], Verdict], ...] = (
    (0.05, 0.05, 0.0, {}, Verdict.GAIN_SUPPORTED),
    (0.05, 0.05, 0.008, {}, Verdict.GAIN_SUPPORTED),              # shown, but small
    (0.05, 0.05, 0.04, {}, Verdict.PARTLY_SUPPORTED),             # matters
    (0.05, 0.05, -0.04, {}, Verdict.PARTLY_SUPPORTED),            # hides a part of it
    (0.05, 0.05, 0.005, {"high": 0.024}, Verdict.GAIN_SUPPORTED),  # below half of the gain
    (0.05, 0.05, 0.005, {"high": 0.027}, Verdict.PARTLY_SUPPORTED),  # left open
    (0.02, 0.02, 0.0, {"high": 0.019}, Verdict.GAIN_SUPPORTED),   # twice the margin
    (0.02, 0.02, 0.0, {"high": 0.021}, Verdict.PARTLY_SUPPORTED),
    (-0.05, -0.05, 0.0, {}, Verdict.LOSS_SUPPORTED),
    (-0.05, 0.05, 0.05, {"elsewhere": 0.0}, Verdict.LOSS_SUPPORTED),  # before what follows
    (0.0, 0.05, 0.0, {"elsewhere": 0.01}, Verdict.GAIN_ELSEWHERE),
    (0.0, 0.05, 0.05, {"elsewhere": 0.01}, Verdict.GAIN_ELSEWHERE),   # the surplus is told beside
    (0.0, 0.05, 0.0, {"elsewhere": 0.2, "u": 0.006}, Verdict.UNDETERMINED),
    (0.0, 0.05, 0.05, {"elsewhere": 0.2}, Verdict.READING_ONLY),
    (0.0, 0.0, 0.05, {}, Verdict.READING_ONLY),
    (0.0, 0.0, -0.05, {}, Verdict.READING_ONLY),
    (0.0, -0.05, 0.0, {"elsewhere": 0.01}, Verdict.NO_CHANGE),    # the weather's loss
    (0.0, 0.0, 0.0, {}, Verdict.NO_CHANGE),
    (0.0, 0.0, 0.0, {"u": 0.006}, Verdict.UNDETERMINED),
    (0.05, 0.05, 0.0, {"u": 0.03}, Verdict.UNDETERMINED),
    (None, None, 0.05, {}, Verdict.READING_ONLY),
    (None, None, -0.05, {}, Verdict.READING_ONLY),
    (None, None, 0.0, {}, Verdict.NO_CHANGE),
    (None, None, 0.05, {"u": 0.03}, Verdict.UNDETERMINED),
    (None, None, 0.0, {"u": 0.006}, Verdict.UNDETERMINED),
    (None, None, 0.008, {"u": 0.001}, Verdict.NO_CHANGE),         # shown, and inside the margin
)  # fmt: skip


@pytest.mark.parametrize(("intake", "engine", "surplus", "more", "wanted"), ROWS)
def test_precedence_of_the_contract(
    intake: float | None,
    engine: float | None,
    surplus: float,
    more: dict[str, float],
    wanted: Verdict,
) -> None:
    assert decide(question(intake, engine, surplus, **more), MARGIN) is wanted  # type: ignore[arg-type]


def test_without_full_load_nothing_is_said_of_the_engine() -> None:
    allowed = {Verdict.READING_ONLY, Verdict.NO_CHANGE, Verdict.UNDETERMINED}
    for surplus in np.linspace(-0.1, 0.1, 21):
        for u in (0.001, 0.003, 0.01, 0.03):
            assert decide(question(None, None, float(surplus), u=u), MARGIN) in allowed


@given(
    intake=st.floats(-0.1, 0.1),
    other=st.floats(-0.1, 0.1),
    surplus=st.floats(-0.1, 0.1),
    u=st.floats(0.001, 0.03),
)
@settings(max_examples=60, deadline=None)
def test_a_gain_is_never_claimed_against_its_sign(
    intake: float, other: float, surplus: float, u: float
) -> None:
    got = decide(question(intake, intake + other, surplus, u=u), MARGIN)
    if got in {Verdict.GAIN_SUPPORTED, Verdict.PARTLY_SUPPORTED}:
        assert intake > 0.0
        assert ndtr(-intake / u) < 2.0 * UNDER_OTHER_PRIORS * TAIL_OF_GAIN
    if got is Verdict.LOSS_SUPPORTED:
        assert intake < 0.0
    if got is Verdict.READING_ONLY:
        assert abs(surplus) > 0.9 * MARGIN
    if got is Verdict.NO_CHANGE:
        assert max(abs(intake), abs(surplus)) < MARGIN


def test_a_wider_margin_makes_no_change_of_what_was_small() -> None:
    q = question(0.0, 0.0, 0.012)
    assert decide(q, 0.01) is Verdict.READING_ONLY
    assert decide(q, 0.02) is Verdict.NO_CHANGE


# Shown


@pytest.mark.parametrize(
    ("sigmas", "tail", "shown"),
    [
        (3.2, TAIL_OF_GAIN, 1),
        (2.7, TAIL_OF_GAIN, 0),
        (2.7, TAIL_OF_SURPLUS, 1),
        (2.0, TAIL_OF_SURPLUS, 0),
        (-3.2, TAIL_OF_GAIN, -1),
        (-2.0, TAIL_OF_GAIN, 0),
    ],
)
def test_shown_by_the_tail_beyond_zero(sigmas: float, tail: float, shown: int) -> None:
    u = 0.005
    assert Evidence(stated=claimed(sigmas * u, u), varied=()).shown(tail, MARGIN) == shown


def test_a_change_below_half_the_margin_is_not_shown_however_sure() -> None:
    assert evidence(0.0045, 0.0005).shown(TAIL_OF_SURPLUS, MARGIN) == 0
    assert evidence(0.0055, 0.0005).shown(TAIL_OF_SURPLUS, MARGIN) == 1
    assert not matters(evidence(0.0055, 0.0005), MARGIN)
    assert matters(evidence(0.0105, 0.0005), MARGIN)


def test_a_claim_must_hold_under_the_other_priors_too() -> None:
    sure, doubtful = claimed(0.05, 0.01), claimed(0.02, 0.01)
    assert Evidence(stated=sure, varied=(sure,)).shown(TAIL_OF_SURPLUS, MARGIN) == 1
    assert Evidence(stated=sure, varied=(sure, doubtful)).shown(TAIL_OF_SURPLUS, MARGIN) == 0


def test_a_claim_must_hold_under_every_live_explanation() -> None:
    """2 % of the draws explain the change away; alone they say the contrary."""
    values = 0.05 + 0.005 * Z
    odd = np.arange(N) % 50 == 0
    values[odd] = -0.01
    live = (odd / odd.sum(),)
    assert Claimed(values=values, weight=EVEN).against(1) == pytest.approx(0.02)
    assert Claimed(values=values, weight=EVEN, live=live).against(1) == pytest.approx(1.0)
    with_it = Evidence(stated=Claimed(values=values, weight=EVEN, live=live), varied=())
    assert with_it.shown(0.05, MARGIN) == 0
    assert Evidence(stated=Claimed(values=values, weight=EVEN), varied=()).shown(0.05, MARGIN) == 1


def test_no_change_at_all_is_no_sign_and_must_be_improbable() -> None:
    few, many = (claimed(0.05, 0.005, spike=s) for s in (0.04, 0.10))
    assert few.nothing() == pytest.approx(0.04, abs=0.002)
    assert few.against(1) < TAIL_OF_SURPLUS
    assert few.nothing() < NOTHING < many.nothing()
    assert Evidence(stated=few, varied=()).shown(TAIL_OF_SURPLUS, MARGIN) == 1
    assert Evidence(stated=many, varied=()).shown(TAIL_OF_SURPLUS, MARGIN) == 0


def test_nothing_but_no_change_is_against_any_sign() -> None:
    flat = Claimed(values=np.zeros(N), weight=EVEN)
    assert flat.against(1) == flat.against(-1) == 1.0
    assert flat.inside(MARGIN) == pytest.approx(1.0)
    assert flat.median == 0.0


# Tails and quantiles


@pytest.mark.parametrize("sigmas", [0.0, 0.5, 1.0, 2.0, 2.5])
def test_a_tail_that_the_draws_show_is_counted(sigmas: float) -> None:
    got = tail_beyond_zero(sigmas + Z, EVEN)
    assert got == pytest.approx(float(ndtr(-sigmas)), rel=0.02, abs=1e-4)


@pytest.mark.parametrize("sigmas", [3.0, 3.5, 4.0])
@pytest.mark.parametrize("size", [60, 400, 2000])
def test_a_tail_that_few_draws_cannot_show_is_never_less_than_a_normals(
    sigmas: float, size: int
) -> None:
    z = ndtri((np.arange(size) + 0.5) / size)
    got = tail_beyond_zero(sigmas + z, np.full(size, 1.0 / size))
    assert float(ndtr(-sigmas)) < got < 0.02


def test_weights_count_in_a_tail() -> None:
    values = np.r_[np.full(100, -1.0), np.full(900, 1.0)]
    weight = np.r_[np.full(100, 0.3 / 100), np.full(900, 0.7 / 900)]
    assert tail_beyond_zero(values, weight) == pytest.approx(0.3)
    assert tail_beyond_zero(-values, weight) == pytest.approx(0.7)


@given(st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=40), st.integers(0, 2**31))
def test_weighted_quantiles_are_values_in_order_and_hold_their_weight(
    values: list[float], seed: int
) -> None:
    x = np.array(values)
    weight = np.random.default_rng(seed).random(x.size) + 1e-3
    probability = [0.0, 0.025, 0.5, 0.975, 1.0]
    got = weighted_quantiles(x, weight, probability)
    assert np.all(np.diff(got) >= 0.0)
    assert np.all(np.isin(got, x))
    share = weight / weight.sum()
    for p, q in zip(probability, got, strict=True):
        assert share[x <= q].sum() >= p - 1e-9
    np.testing.assert_array_equal(got, weighted_quantiles(x, 3.0 * weight, probability))


# Where the surplus comes from

SENSORY, LEAKY, MIXED = (0.99, 0.01), (0.02, 0.97), (0.9, 0.1)


@pytest.mark.parametrize(
    ("surplus", "families", "wanted"),
    [
        (evidence(0.0, 0.003), [SENSORY], ReadingCause.NONE),
        (evidence(0.0, 0.006), [SENSORY], ReadingCause.OPEN),          # not shown to be small
        (evidence(0.05), [SENSORY, SENSORY], ReadingCause.SENSOR),
        (evidence(-0.05), [SENSORY], ReadingCause.SENSOR),
        (evidence(0.05), [SENSORY, MIXED], ReadingCause.OPEN),         # not under other priors
        (evidence(0.05), [LEAKY, LEAKY], ReadingCause.AIR_LOST_BEHIND_SENSOR),
        (evidence(0.05), [LEAKY, SENSORY], ReadingCause.OPEN),
        (evidence(0.05, 0.04), [SENSORY], ReadingCause.OPEN),          # a surplus that is not shown
        (evidence(0.008, 0.001), [SENSORY], ReadingCause.NONE),        # shown, and small
    ],
)  # fmt: skip
def test_reading_cause(
    surplus: Evidence, families: list[tuple[float, float]], wanted: ReadingCause
) -> None:
    assert reading_cause(surplus, families, MARGIN) is wanted


def test_a_family_needs_its_95_percent() -> None:
    assert reading_cause(evidence(0.05), [(SURE, 0.0)], MARGIN) is ReadingCause.SENSOR
    assert reading_cause(evidence(0.05), [(SURE - 1e-6, 0.0)], MARGIN) is ReadingCause.OPEN


# Tunes


@pytest.mark.parametrize(
    ("mean", "u", "wanted"),
    [
        (0.05, 0.005, Verdict.TUNE_GAIN_SUPPORTED),
        (-0.05, 0.005, Verdict.TUNE_NO_GAIN),
        (0.0, 0.003, Verdict.TUNE_NO_GAIN),
        (0.0, 0.02, Verdict.UNDETERMINED),
        (0.03, 0.02, Verdict.UNDETERMINED),
    ],
)
def test_two_tunes_of_one_intake(mean: float, u: float, wanted: Verdict) -> None:
    assert decide_tune(evidence(mean, u), MARGIN) is wanted


def test_the_command_line_knows_every_verdict() -> None:
    assert set(VERDICTS) >= {v.value for v in Verdict}


def test_candidates_of_one_draw_count_as_one():
    """A tail that rests on a few draws is not read from their many candidates."""
    rng = np.random.default_rng(2)
    middle = np.linspace(0.5, 5.0, 400)
    values = middle[:, None] + 0.1 * rng.standard_normal((400, 50))
    values[0] = -0.1
    share = np.full((400, 50), 1.0 / 50 / 400)
    flat = Claimed(values=values.ravel(), weight=share.ravel()).against(1)
    by_draw = Claimed(values=values, weight=share).against(1)
    assert flat == pytest.approx(1.0 / 400.0), "fifty of them look like enough"
    assert by_draw != pytest.approx(flat)
    assert by_draw < 0.02


def test_one_candidate_a_draw_is_a_draw():
    values = np.random.default_rng(3).normal(1.0, 1.0, 500)
    weight = np.full(500, 1.0 / 500)
    one = Claimed(values=values, weight=weight)
    same = Claimed(values=values[:, None], weight=weight[:, None])
    assert same.against(1) == one.against(1)
    assert same.median == one.median
    assert same.inside(0.5) == pytest.approx(one.inside(0.5))
    assert same.above() == pytest.approx(1.0 - one.against(1))
