"""The sentence of a rescaled table says what was decided, by how much, and why."""

from __future__ import annotations

import pytest

from airsense.cause import Cause
from airsense.results import Interval
from airsense.setup.engine import Intake
from airsense.transfer.cells import Cell, Support
from airsense.transfer.decision import Decision, Doubt, Model
from airsense.transfer.sentence import bore_of, sentence, skew_of

SCALE = Interval(0.952, 0.940, 0.964)


def cell(correction: float, support: Support) -> Cell:
    return Cell(
        signal=2.0,
        flow_old=0.1,
        flow_new=0.1 * correction,
        correction=correction,
        low=correction - 0.01,
        high=correction + 0.01,
        wanted=correction,
        samples=40,
        runs=3,
        support=support,
    )


CELLS = (
    cell(0.93, Support.MEASURED),
    cell(0.97, Support.INTERPOLATED),
    cell(0.80, Support.HELD),
)


def said(decision: Decision, model: Model = Model.SCALE, **more: object) -> str:
    given = {
        "scale": SCALE, "cells": CELLS, "bore": None, "found": (), "intake": Intake(), **more
    }  # fmt: skip
    return sentence(decision, model, **given)


def test_one_factor_is_told_with_its_interval_and_the_sensors_error() -> None:
    text = said(Decision.CHANGE)
    assert text.startswith("One factor fits: multiply the flows by 0.952 (0.940 to 0.964)")
    assert "reads +5.0 %" in text, "1 / 0.952 - 1"


def test_a_bend_is_told_from_where_to_where_without_what_is_only_held() -> None:
    text = said(Decision.CHANGE, Model.SHAPE)
    assert "changes with flow: from -7.0 % to -3.0 %" in text
    assert "0.952 (0.940 to 0.964)" in text


def test_a_refusal_names_what_may_be_at_work_and_how_to_go_on() -> None:
    doubts = tuple(
        Doubt(name=name, cause=Cause.PULSATION, probability=0.2, move=0.02, refuses=refuses)
        for name, refuses in (("leak", True), ("pulsation", True), ("temperature", False))
    )
    text = said(Decision.REFUSED, found=doubts)
    assert "leak or pulsation may be" in text
    assert "temperature" not in text
    assert "--force-cause" in text
    assert "air lost behind the sensor" in said(Decision.REFUSED)


@pytest.mark.parametrize(
    ("scale", "converged"),
    [
        (Interval(1.001, 0.993, 1.008), True),
        (Interval(1.004, 0.995, 1.013), False),
        (Interval(0.996, 0.987, 1.005), False),
    ],
)
def test_a_table_that_is_left_has_converged_where_both_ends_are_near_one(
    scale: Interval, converged: bool
) -> None:
    text = said(Decision.LEAVE_IT, scale=scale)
    assert ("it has converged." in text) is converged
    assert ("more runs would settle it" in text) is not converged


def test_the_skew_is_the_correction_turned_over() -> None:
    skew = skew_of(SCALE)
    assert skew.value == pytest.approx(1.0 / 0.952 - 1.0)
    assert (skew.low, skew.high) == pytest.approx((1.0 / 0.964 - 1.0, 1.0 / 0.940 - 1.0))
    assert skew.low < skew.value < skew.high


@pytest.mark.parametrize(("declared", "word"), [(78.1, "agrees"), (70.0, "does not agree")])
def test_a_declared_bore_is_held_against_the_one_that_would_explain_it(
    declared: float, word: str
) -> None:
    """A reading goes as the velocity, as one over the area: 80 mm and +5 % are 78.1 mm."""
    intake = Intake(bore_before_mm=80.0, bore_after_mm=declared)
    bore = bore_of(SCALE, intake.bore_before_m)
    assert bore is not None
    assert bore.value == pytest.approx(0.080 * 0.952**0.5, rel=1e-3)
    text = said(Decision.CHANGE, bore=bore, intake=intake)
    assert f"The declared {declared} mm {word}." in text
    assert bore_of(SCALE, None) is None
