"""Printed air, split into engine and reading: it holds what was planted, and names the cause."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from airsense.cause import Cause
from airsense.claims.split import AirSplit
from airsense.jobs.audit import audit
from airsense.jobs.audit import run as audit_file
from airsense.setup.claims import Claims
from tests.faults.audit_publications import Publication, honest, scaled, without

pytestmark = pytest.mark.slow

EXAMPLES = Path(__file__).parents[2] / "examples"
SEEDS = range(40)


def splits_of(made: Publication) -> tuple[AirSplit, ...]:
    return audit(Claims.model_validate(tomllib.loads(made.toml())), source="claims.toml").splits


def reading_times(made: Publication, factor: float) -> Publication:
    first, second = made.rows
    return replace(made, rows=(first, scaled(second, "mass_air_flow", factor)))


def with_air(seeds: range) -> list[Publication]:
    made = [honest(seed)[0] for seed in seeds]
    return [m for m in made if all("mass_air_flow" in row for row in m.rows)]


def test_an_honest_comparison_has_nothing_in_the_reading() -> None:
    found = [s for m in with_air(SEEDS) for s in splits_of(m)]
    assert len(found) >= 20
    held = sum(s.indicated_surplus.contains(0.0) for s in found)
    assert held >= 0.93 * len(found)


@pytest.mark.parametrize("skew", [0.06, -0.05])
def test_a_planted_skew_is_held_and_named(skew: float) -> None:
    found = [s for m in with_air(SEEDS) for s in splits_of(reading_times(m, 1.0 + skew))]
    assert len(found) >= 20
    assert sum(s.indicated_surplus.contains(skew) for s in found) >= 0.93 * len(found)
    apart = [s for s in found if not s.indicated_surplus.contains(0.0)]
    assert len(apart) >= 0.6 * len(found)
    assert {s.causes[0].cause for s in apart} == {Cause.SENSOR_SCALE}


def test_engine_and_reading_make_what_is_shown() -> None:
    (split,) = audit_file(EXAMPLES / "two_boxes" / "claims.toml").splits
    # The demo's own truth: the sensor reads 5 % more, the engine breathes 3.5 % more.
    assert split.speeds == 2
    assert split.indicated_surplus.contains(0.05)
    assert split.airflow_change.contains(0.035)
    whole = sum(
        math.log1p(i.value) for i in (split.airflow_change, split.indicated_surplus)
    ) - math.log1p(split.airflow_change_indicated.value)
    assert abs(whole) < 0.01


def test_without_another_route_there_is_no_split() -> None:
    made = with_air(SEEDS)[0]
    bare = tuple(
        without(row, "boost_pressure", "manifold_pressure", "lambda", "fuel_mass_flow")
        for row in made.rows
    )
    assert splits_of(replace(made, rows=bare, claims=())) == ()
