"""When a verdict may be given, and when it may not."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.cli.common import VERDICTS
from airsense.evidence.student import Mixture, single
from airsense.evidence.verdict import (
    DEFAULT_MARGIN,
    DOUBT_TAIL,
    LIVE_FAULT,
    LIVE_SHARE,
    SKEW_BAR,
    TRUE_BAR,
    Bar,
    Doubt,
    Verdict,
    claimed_sign,
    decide,
    inside_margin,
    percent,
    range_text,
    sentence,
)
from airsense.results import Interval

NU = 1000.0
NOTHING = single(0.0, 0.02, NU)


def sure(mean: float, u: float = 0.003) -> Mixture:
    return single(mean, u, NU)


@pytest.mark.parametrize(
    ("true", "skew", "verdict"),
    [
        (sure(0.05), NOTHING, Verdict.GAIN_SUPPORTED),
        (sure(0.05), sure(0.04), Verdict.PARTLY_SUPPORTED),
        (sure(0.05), sure(-0.04), Verdict.GAIN_SUPPORTED),
        (NOTHING, sure(0.04), Verdict.SENSOR_SKEW),
        (NOTHING, sure(-0.04), Verdict.SENSOR_SKEW),
        (sure(-0.05), NOTHING, Verdict.LOSS_SUPPORTED),
        (sure(-0.05), sure(0.04), Verdict.LOSS_SUPPORTED),
        (sure(0.0), NOTHING, Verdict.NO_CHANGE),
        (NOTHING, NOTHING, Verdict.UNDETERMINED),
        (sure(0.0, 0.006), NOTHING, Verdict.UNDETERMINED),
    ],
)
def test_words(true: Mixture, skew: Mixture, verdict: Verdict) -> None:
    assert decide(true, skew) is verdict


def test_routes_that_contradict_each_other_settle_nothing() -> None:
    assert decide(sure(0.05), sure(0.04), doubt=Doubt(unexplained=True)) is Verdict.UNDETERMINED
    assert decide(sure(0.05), NOTHING, doubt=Doubt()) is Verdict.GAIN_SUPPORTED


def test_a_route_that_nothing_vouches_for_must_show_a_skew_more_clearly() -> None:
    """A mixture with 1 % on the other side: enough with two routes, not with one."""
    skew = Mixture(
        weight=np.array([0.98, 0.02]),
        mean=np.array([0.04, 0.0]),
        scale=np.array([0.004, 0.004]),
        dof=NU,
    )
    assert DOUBT_TAIL < skew.below(0.0) < SKEW_BAR.tail
    assert decide(NOTHING, skew) is Verdict.SENSOR_SKEW
    assert decide(NOTHING, skew, doubt=Doubt(unsupported=True)) is Verdict.UNDETERMINED
    clear = sure(0.05)
    assert decide(NOTHING, clear, doubt=Doubt(unsupported=True)) is Verdict.SENSOR_SKEW


@pytest.mark.parametrize("sign", [1, -1])
def test_a_claim_needs_its_distance_from_zero(sign: int) -> None:
    bar = Bar(tail=0.025, uncertainties=2.7)
    assert claimed_sign(sure(sign * 0.0280, 0.01), 0.01, bar) == sign
    assert claimed_sign(sure(sign * 0.0269, 0.01), 0.01, bar) == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_a_claim_needs_its_probability(sign: int) -> None:
    """The leading part is far off zero, but a second one holds 3 % beyond it."""

    def with_doubt(weight: float) -> Mixture:
        return Mixture(
            weight=np.array([1.0 - weight, weight]),
            mean=sign * np.array([0.05, -0.05]),
            scale=np.array([0.004, 0.004]),
            dof=NU,
        )

    bar = Bar(tail=0.025, uncertainties=2.7)
    assert claimed_sign(with_doubt(0.020), 0.01, bar) == sign
    assert claimed_sign(with_doubt(0.030), 0.01, bar) == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_a_claim_must_stand_whichever_route_is_at_fault(sign: int) -> None:
    """Without fault all is clear; the fault is unlikely, but under it 3 % have the other sign."""

    def under_fault(mean: float, weight: float, *, marked: bool = True) -> Mixture:
        return Mixture(
            weight=np.array([1.0 - weight, weight]),
            mean=sign * np.array([0.05, mean]),
            scale=np.array([0.004, 0.01]),
            dof=NU,
            assumption=np.array([0, 1]) if marked else None,
        )

    bar = Bar(tail=0.025, uncertainties=2.7)
    assert claimed_sign(under_fault(0.0188, 0.05), 0.01, bar) == 0
    assert claimed_sign(under_fault(0.0188, 0.05, marked=False), 0.01, bar) == sign
    assert claimed_sign(under_fault(0.0230, 0.05), 0.01, bar) == sign, "1.1 % of the other sign"
    assert claimed_sign(under_fault(0.0188, 0.9 * LIVE_SHARE), 0.01, bar) == sign, "too unlikely"


def test_the_leading_explanation_is_the_most_probable_wherever_it_stands() -> None:
    mixture = Mixture(
        weight=np.array([0.2, 0.8]),
        mean=np.array([0.02, 0.05]),
        scale=np.array([0.009, 0.004]),
        dof=NU,
    )
    bar = Bar(tail=0.025, uncertainties=2.7)
    assert claimed_sign(mixture, 0.01, bar) == 1
    swapped = Mixture(weight=mixture.weight[::-1], mean=mixture.mean, scale=mixture.scale, dof=NU)
    assert claimed_sign(swapped, 0.01, bar) == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_a_claim_needs_to_matter(sign: int) -> None:
    """Half of the equivalence margin is too small to be worth a word."""
    assert claimed_sign(sure(sign * 0.0051, 1e-4), 0.01, TRUE_BAR) == sign
    assert claimed_sign(sure(sign * 0.0049, 1e-4), 0.01, TRUE_BAR) == 0
    assert claimed_sign(sure(sign * 0.0051, 1e-4), 0.02, TRUE_BAR) == 0


def test_an_engine_must_show_more_than_a_sensor() -> None:
    assert TRUE_BAR.tail < SKEW_BAR.tail <= 0.025
    assert TRUE_BAR.uncertainties > SKEW_BAR.uncertainties > 2.0
    assert SKEW_BAR.tail > DOUBT_TAIL
    assert 0.0 < LIVE_FAULT < 0.5
    assert DEFAULT_MARGIN == 0.01


def test_equivalence_is_an_interval_inside_the_margin_both_ends_included() -> None:
    assert inside_margin(Interval(0.0, -0.01, 0.01), 0.01)
    assert not inside_margin(Interval(0.0, -0.0101, 0.009), 0.01)
    assert not inside_margin(Interval(0.0, -0.009, 0.0101), 0.01)
    assert not inside_margin(Interval(0.05, 0.04, 0.06), 0.01)
    assert decide(sure(0.0, 0.006), NOTHING, 0.02) is Verdict.NO_CHANGE


def test_figures_in_words() -> None:
    assert percent(0.0512) == "+5.1 %"
    assert percent(-0.004) == "-0.4 %"
    assert range_text(Interval(0.05, 0.031, 0.072)) == "+5.0 % (+3.1 % to +7.2 %)"


@pytest.mark.parametrize(
    ("verdict", "start"),
    [
        (Verdict.GAIN_SUPPORTED, "The gain is real"),
        (Verdict.PARTLY_SUPPORTED, "Part of the gain is real"),
        (Verdict.SENSOR_SKEW, "The sensor's reading changed"),
        (Verdict.NO_CHANGE, "No change of the engine's air"),
        (Verdict.LOSS_SUPPORTED, "The engine breathes less"),
        (Verdict.UNDETERMINED, "Undetermined"),
    ],
)
def test_every_sentence_holds_all_three_figures(verdict: Verdict, start: str) -> None:
    got = sentence(
        verdict,
        indicated=Interval(0.081, 0.07, 0.09),
        true=Interval(0.022, 0.011, 0.033),
        skew=Interval(0.055, 0.044, 0.066),
    )
    assert got.startswith(start)
    for figure in ("+8.1 %", "+2.2 % (+1.1 % to +3.3 %)", "+5.5 % (+4.4 % to +6.6 %)"):
        assert figure in got


def test_the_command_line_knows_all_verdicts() -> None:
    assert set(VERDICTS) == {v.value for v in Verdict}
