"""The prior table: what is in it, how it is replaced and varied, and the hypotheses it makes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.cause import Cause
from airsense.evidence.hypotheses import Hypothesis, Library, hypotheses, library_of
from airsense.evidence.priors import (
    FAULT_PRIORS,
    LEAK_CAUSES,
    PRESSURE_CAUSES,
    SENSOR_CAUSES,
    SENSOR_PRIORS,
    PriorTable,
)
from airsense.evidence.signatures import observed
from tests.evidence_inputs import ROUTES, cells_of, rest_of

TABLE = PriorTable()
REST = rest_of(before=(0.0, 0.0), after=(0.0, 0.0))


def library(routes: tuple[str, ...] = ROUTES) -> Library:
    return library_of(TABLE, observed(cells_of(routes=routes), REST))


def candidates(table: PriorTable = TABLE, routes: tuple[str, ...] = ROUTES) -> list[Hypothesis]:
    return list(hypotheses(table, library(routes)))


def chance(found: list[Hypothesis], *causes: Cause) -> float:
    return sum(h.probability for h in found if set(causes) & h.causes)


def test_each_row_says_how_likely_how_large_and_why() -> None:
    causes = [p.cause for p in TABLE.rows()]
    assert len(set(causes)) == len(causes) == len(Cause) - 1
    for prior in TABLE.rows():
        assert 0.0 < prior.probability < 1.0
        assert prior.size > 0.0
        assert prior.reason
        assert prior.source
        assert sum(p for p, _ in prior.parts) == pytest.approx(prior.probability)
        assert prior.unit == ("K" if prior.cause is Cause.CHARGE_TEMPERATURE else "fraction")
    for side in (SENSOR_PRIORS, FAULT_PRIORS):
        assert sum(p.probability for p in side) < 1.0, "something must be left for no cause"


def test_what_is_seldom_is_then_large() -> None:
    for prior in TABLE.rows():
        if prior.heavy_share:
            (usual, small), (seldom, large) = prior.parts
            assert seldom < usual
            assert large > small


def test_rows_are_replaced_one_by_one() -> None:
    own = replace(TABLE.of(Cause.FUEL_SCALE), probability=0.2, size=0.1)
    got = TABLE.changed({Cause.FUEL_SCALE: own})
    assert got.of(Cause.FUEL_SCALE) == own
    others = [p for p in got.rows() if p.cause is not Cause.FUEL_SCALE]
    assert others == [p for p in TABLE.rows() if p.cause is not Cause.FUEL_SCALE]
    assert TABLE.of(Cause.FUEL_SCALE).size != 0.1


def test_causes_can_be_taken_out() -> None:
    got = TABLE.without(LEAK_CAUSES)
    assert {p.cause for p in got.rows()} == {p.cause for p in TABLE.rows()} - set(LEAK_CAUSES)


@given(st.floats(0.1, 10.0))
def test_odds_are_what_is_multiplied(factor: float) -> None:
    got = TABLE.with_odds(factor)
    for own, side in ((got.sensor, TABLE.sensor), (got.fault, TABLE.fault)):
        none = 1.0 - sum(p.probability for p in own)
        none_before = 1.0 - sum(p.probability for p in side)
        for new, old in zip(own, side, strict=True):
            assert new.probability / none == pytest.approx(
                factor * old.probability / none_before, rel=1e-9
            )
            assert new.size == old.size


def test_odds_of_some_causes_leave_the_others_in_proportion() -> None:
    got = TABLE.with_odds(5.0, LEAK_CAUSES)
    ratio = {p.cause: p.probability / TABLE.of(p.cause).probability for p in got.sensor}
    rest = {ratio[c] for c in ratio if c not in LEAK_CAUSES}
    assert max(rest) - min(rest) < 1e-12
    assert all(ratio[c] == pytest.approx(5.0 * next(iter(rest))) for c in LEAK_CAUSES)
    assert got.fault == TABLE.fault


def test_sizes_are_what_is_multiplied() -> None:
    got = TABLE.with_sizes(2.0)
    for new, old in zip(got.rows(), TABLE.rows(), strict=True):
        assert new.size == 2.0 * old.size
        assert new.heavy_size == 2.0 * old.heavy_size
        assert new.probability == old.probability


# Hypotheses


@pytest.mark.parametrize("routes", [ROUTES, ROUTES[:1], ROUTES[1:]])
@pytest.mark.parametrize("odds", [0.2, 1.0, 5.0])
def test_prior_probabilities_sum_to_one(routes: tuple[str, ...], odds: float) -> None:
    found = candidates(TABLE.with_odds(odds), routes)
    assert sum(h.probability for h in found) == pytest.approx(1.0)


def test_one_at_the_sensor_with_at_most_one_fault_of_a_route() -> None:
    sides = {*SENSOR_CAUSES, *LEAK_CAUSES}
    for h in candidates():
        own = h.causes & sides
        leak_beside_factor = Cause.SENSOR_SCALE in own and bool(own & set(LEAK_CAUSES))
        assert len(own) <= (2 if leak_beside_factor else 1)
        faults = h.causes - sides - {Cause.NONE}
        assert len(faults) <= 1 or faults == set(PRESSURE_CAUSES)


def test_a_cause_has_its_tabled_probability_however_many_forms_it_has() -> None:
    """Gain and offset of a pressure sensor may drift together too: they get a little more; and a
    factor stands beside half of the leaks.
    """
    found = candidates()
    leaks = sum(TABLE.of(c).probability for c in LEAK_CAUSES)
    for prior in TABLE.rows():
        more = 1.25 if prior.cause in PRESSURE_CAUSES else 1.0
        got = chance(found, prior.cause)
        if prior.cause is Cause.SENSOR_SCALE:
            got -= 0.5 * leaks
        assert 0.97 * prior.probability < got < 1.02 * more * prior.probability
    none = (1.0 - sum(p.probability for p in TABLE.sensor)) * (
        1.0 - sum(p.probability for p in TABLE.fault)
    )
    assert chance(found, Cause.NONE) == pytest.approx(none, rel=0.02)


def test_a_cause_of_no_probability_or_size_is_no_hypothesis() -> None:
    gone = replace(TABLE.of(Cause.PULSATION), probability=0.0)
    flat = replace(TABLE.of(Cause.SENSOR_SHAPE), size=0.0)
    found = candidates(TABLE.changed({Cause.PULSATION: gone, Cause.SENSOR_SHAPE: flat}))
    assert not any({Cause.PULSATION, Cause.SENSOR_SHAPE} & h.causes for h in found)
    assert sum(h.probability for h in found) == pytest.approx(1.0)


def test_columns_of_a_hypothesis_are_those_of_its_causes() -> None:
    lib = library()
    for h in hypotheses(TABLE, lib):
        wanted = lib.columns_of(*h.causes)
        assert set(h.columns.tolist()) <= {*wanted.tolist(), *lib.companions.tolist()}
        assert h.precision.shape == (h.columns.size, h.columns.size)
        if h.columns.size:
            assert np.linalg.eigvalsh(h.precision).min() > 0.0
    assert lib.columns_of(Cause.NONE).size == 0


def test_factor_and_shape_of_the_sensor_share_their_columns() -> None:
    lib = library()
    np.testing.assert_array_equal(
        lib.columns_of(Cause.SENSOR_SCALE), lib.columns_of(Cause.SENSOR_SHAPE)
    )
    assert lib.columns_of(Cause.SENSOR_SCALE)[0] == 0
