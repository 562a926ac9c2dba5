"""Pairs of real trips of one unaltered car: nothing is claimed, and a planted factor comes back.

A part of `tests/bench/real_trips.py`, which compares every pair.
"""

from __future__ import annotations

from functools import cache

import pytest

from tests.bench.real_trips import Row, compared, intake_k, scaled
from tests.kit import ACCELERATION, SHORT, needs_trips, trip

pytestmark = [needs_trips, pytest.mark.slow]
SUMMER, OTHER_SUMMER = "trip_2017-07-24_motorway.csv", "trip_2017-07-31_motorway.csv"
WINTER, OTHER_WINTER = "trip_2018-02-26_motorway.csv", "trip_2018-02-27_motorway.csv"
PAIRS = ((SUMMER, OTHER_SUMMER), (WINTER, OTHER_WINTER), (SUMMER, WINTER))
FACTOR = 1.15


@cache
def pair(before: str, after: str, factor: float) -> Row:
    apart = abs(intake_k(after) - intake_k(before))
    return compared(before, after, factor, apart)


@pytest.mark.parametrize(("before", "after"), PAIRS)
def test_nothing_is_claimed_of_an_unaltered_car(before: str, after: str) -> None:
    got = pair(before, after, 1.0)
    assert got.failed == ""
    assert got.matched
    assert got.holds, got.surplus
    assert not got.claims


@pytest.mark.parametrize(("before", "after"), PAIRS)
def test_a_planted_factor_is_decided_and_held(before: str, after: str) -> None:
    got = pair(before, after, FACTOR)
    assert got.decided, got
    assert got.holds, got.surplus


@pytest.mark.parametrize(("before", "after"), PAIRS[:2])
def test_trips_at_like_temperature_are_told_within_a_few_percent(before: str, after: str) -> None:
    got = pair(before, after, 1.0)
    assert got.surplus is not None
    assert got.apart_k < 15.0
    assert got.surplus.half_width < 0.05


@pytest.mark.parametrize("after", [SHORT, ACCELERATION])
def test_a_trip_that_cannot_be_matched_says_so_and_ends_well(after: str) -> None:
    """Too few looks with the recirculation valve shut: no number, and the log that lacks it."""
    got = pair(SUMMER, after, 1.0)
    assert got.failed == ""
    if got.matched:
        assert got.holds
        pytest.skip("this trip has enough to be matched")
    assert got.said_no_match
    assert got.verdict == "undetermined"
    planted = pair(SUMMER, after, FACTOR)
    assert not planted.matched


def test_the_planted_factor_is_on_the_reading_alone() -> None:
    one, more = trip(SHORT), scaled(trip(SHORT), FACTOR)
    assert more["mass_air_flow"].value == pytest.approx(FACTOR * one["mass_air_flow"].value)
    same = [n for n in one.channels if n != "mass_air_flow"]
    assert all(one[n] is more[n] for n in same)
