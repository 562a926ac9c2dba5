"""Sixty campaigns of the forward model: intervals hold the truth, nothing is confidently wrong.

A small sibling of the coverage study in `tests/bench`, with its cells and its judge.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.bench.coverage import Outcome, covered, covered_surplus, half_width, judge
from tests.bench.coverage_cases import (
    CELLS,
    decidable,
    draw_cases,
)
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.engines import ENGINES

pytestmark = pytest.mark.slow

CHOSEN = (
    "none", "skew", "gain", "skew and gain", "intake air only", "one run each", "large scatter",
    "pressure gain", "leak behind", "other weather",
)  # fmt: skip
EACH = 2
SEED = 60


@cache
def outcomes() -> tuple[Outcome, ...]:
    rng = np.random.default_rng(SEED)
    cells = [c for c in CELLS if c.name in CHOSEN]
    assert len(cells) == len(CHOSEN)
    rows: list[Outcome] = []
    for k, engine in enumerate(ENGINES):
        cases = [case for cell in cells for case in draw_cases(cell, EACH, rng)]
        rows += [judge(c) for c in simulate_campaigns(engine, cases, SEED + k)]
    return tuple(rows)


def test_intervals_hold_the_truth() -> None:
    rows = outcomes()
    assert len(rows) == 60
    skew, change = covered(rows)
    assert covered_surplus(rows) >= 0.90
    assert skew >= 0.90
    assert change >= 0.90


def test_intervals_are_narrow_where_both_routes_are_sound() -> None:
    clean = {c.name for c in CELLS if c.clean}
    assert half_width([r for r in outcomes() if r.cell in clean and r.two_routes]) < 0.015


def test_nothing_is_confidently_wrong() -> None:
    assert not [r for r in outcomes() if r.wrong]


def test_verdicts_are_right_where_the_size_is_decidable() -> None:
    clean = {c.name for c in CELLS if c.clean}
    asked = [r for r in outcomes() if r.cell in clean and decidable(r.surplus)]
    assert len(asked) >= 15
    assert np.mean([r.right for r in asked]) >= 0.85


def test_the_planted_cause_is_first_or_named_with_it() -> None:
    planted = {c.name: frozenset(c.cause.split("+")) for c in CELLS}
    asked = [r for r in outcomes() if r.two_routes and r.shows]
    assert len(asked) >= 40
    assert np.mean([bool(planted[r.cell] & r.group) for r in asked]) >= 0.9
