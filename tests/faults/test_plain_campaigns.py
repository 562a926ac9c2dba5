"""Campaigns of a plain engine that nothing was fitted to: no false word, intervals that hold."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.jobs.comparison.result import CompareResult
from tests.bench.plain_campaigns import KINDS, campaigns, compared, held, intervals, wrong
from tests.bench.plain_engine import CHARGE, INLET, Campaign

pytestmark = pytest.mark.slow

SEEDS = (5, 17)
# Sizes at which these channels decide: "sensor" beside a change of the reading of 6 %.
DECIDED = ("lambda", "petrol", "steps", "US units", "drive, no pedal")


@pytest.fixture(scope="module")
def answers() -> dict[str, list[tuple[Campaign, CompareResult]]]:
    return {
        kind: [(c, compared(c)) for seed in SEEDS for c in campaigns(kind, 1, seed)]
        for kind in KINDS
    }


def test_no_word_is_false(answers) -> None:
    false = {
        kind: words
        for kind, rows in answers.items()
        for own, result in rows
        if (words := wrong(result.pairs[0], own))
    }
    assert false == {}


def test_intervals_hold_the_truth(answers) -> None:
    """One in twenty may miss; of some 250, one in ten would be a fault with certainty."""
    hits = [
        held(interval, truth)
        for rows in answers.values()
        for own, result in rows
        for interval, truth in intervals(result.pairs[0], own).values()
    ]
    assert len(hits) > 200
    assert np.mean(hits) > 0.93


def test_a_skew_of_six_percent_is_decided(answers) -> None:
    for kind in DECIDED:
        for own, result in answers[kind]:
            (pair,) = result.pairs
            if own.truth["skew"]:
                assert pair.verdict.value in {"reading_only", "partly_supported"}, kind
                assert pair.indicated_surplus is not None
                assert pair.indicated_surplus.value * own.truth["skew"] > 0.0


def test_a_thermometer_is_taken_for_what_it_is_in_every_log_alike(answers) -> None:
    """Behind an effective cooler and warm from standing it may hardly move in a pull."""
    for kind in ("own, skew", "weather", "drive"):
        for own, result in answers[kind]:
            warmer = own.before[0][CHARGE] - own.before[0][INLET]
            assert warmer.max() > 10.0
            assert "temperature_before_compressor" not in {f.code for f in result.findings}


def test_part_pedal_in_a_drive_is_no_full_load(answers) -> None:
    for kind in ("drive", "drive, lambda", "drive, petrol"):
        for _, result in answers[kind]:
            change = result.pairs[0].airflow_change
            assert change is None or change.contains(0.0)


def test_a_hose_off_in_one_log_of_three_is_named_and_left_out(answers) -> None:
    for kind in ("hose off", "hose off, lambda"):
        for _, result in answers[kind]:
            (odd,) = [log for log in result.logs if log.odd]
            assert (odd.role, odd.used) == ("after", False)
            assert "hose off" in odd.odd_reason
