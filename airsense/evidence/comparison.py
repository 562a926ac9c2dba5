"""One pair of configurations, from binned repeats to the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.estimates import maf
from airsense.estimates.estimate import Influence
from airsense.estimates.routes import Unused
from airsense.evidence.attribution import Attribution, attribute
from airsense.evidence.bins import BinTable
from airsense.evidence.causes import CauseResult, doubt_about, leak_sentence, rank_causes
from airsense.evidence.change import (
    Design,
    build_change,
    conditions_of,
    route_change,
    state_change,
)
from airsense.evidence.hypotheses import Conditions, hypotheses
from airsense.evidence.inference import Change, Part, Posterior, infer
from airsense.evidence.next_measurement import NextMeasurement, propose
from airsense.evidence.reconcile import RouteTest, check_routes
from airsense.evidence.sensitivity import PriorRun, prior_sensitivity
from airsense.evidence.spool_up import SpoolUp
from airsense.evidence.student import COVERAGE
from airsense.evidence.verdict import DEFAULT_MARGIN, Verdict, decide, sentence
from airsense.results import Interval
from airsense.transfer.tube import bore_sentence, equivalent_bore


@dataclass(frozen=True, slots=True, kw_only=True)
class EstimateRow:
    """What one route says about the change, and whether it was evidence.

    `test` is the measurement test against the other routes (|z| above about 2.6 fails), `weight`
    the share of the route in the reconciled true change where no cause is suspected.
    """

    method: str
    change: Interval | None
    used: bool
    reason: str
    test_z: float | None = None
    weight: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedRow:
    """The change in one bin of engine speed."""

    engine_speed_rpm: float
    airflow_change_indicated: float
    airflow_change: Interval
    sensor_skew: Interval
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EquivalentBore:
    """The bore that would make the sensor read off by the skew. [m]"""

    before_m: float
    equivalent_m: Interval
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PairResult:
    """The answer for one intake against its baseline, at one tune."""

    intake: str
    tune: str
    baseline: str
    verdict: Verdict
    sentence: str
    airflow_change_indicated: Interval
    airflow_change: Interval
    sensor_skew: Interval
    brake_power_change: Interval | None
    fuel_change: Interval | None
    attribution: Attribution
    estimates: tuple[EstimateRow, ...]
    causes: tuple[CauseResult, ...]
    by_speed: tuple[SpeedRow, ...]
    next_measurement: NextMeasurement
    budget: tuple[Part, ...]
    degrees_of_freedom: float
    chi_square: float
    chi_square_dof: int
    chi_square_probability: float
    prior_sensitivity: tuple[PriorRun, ...]
    probability_of_gain: float
    probability_of_over_reading: float
    spool_up: SpoolUp | None = None
    equivalent_bore: EquivalentBore | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PairInput:
    """All that a pair needs.

    `rows` marks the repeats of the two configurations where the table holds those of others too:
    the others help to tell scatter and drift only.
    """

    table: BinTable
    budgets: Mapping[str, Sequence[Influence]]
    power_budget: Sequence[Influence]
    fuel_budget: Sequence[Influence]
    design: Design
    controlled: bool
    unused: tuple[Unused, ...]
    intake: str
    tune: str
    baseline: str
    margin: float = DEFAULT_MARGIN
    coverage: float = COVERAGE
    depression_pa: float | None = None
    p_ambient_pa: float = 101_325.0
    rows: NDArray[np.bool_] | None = None
    spool_up: SpoolUp | None = None
    bore_before_m: float | None = None

    @property
    def own_table(self) -> BinTable:
        """Return the table of the two configurations alone."""
        return self.table if self.rows is None else self.table.of_repeats(self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A pair's change with the hypotheses weighed on it."""

    change: Change
    conditions: Conditions
    posterior: Posterior


def weigh(given: PairInput) -> Weighed:
    """Return the change of a pair and the posterior over its causes.

    Raises
    ------
    InputError
        If the repeats share too few filled speed bins.
    """
    change = build_change(given.table, given.budgets, given.design, controlled=given.controlled)
    conditions = conditions_of(given.own_table, change)
    posterior = infer(change, hypotheses(conditions)).inflated(check_routes(change).birge_ratio)
    return Weighed(change=change, conditions=conditions, posterior=posterior)


def compare_pair(given: PairInput) -> PairResult:
    """Return the answer for one pair.

    Raises
    ------
    InputError
        As `weigh`.
    """
    return answer(given, weigh(given))


def answer(given: PairInput, weighed: Weighed) -> PairResult:
    """Return the answer for a pair that has been weighed."""
    change, conditions, posterior = weighed.change, weighed.conditions, weighed.posterior
    true, skew = posterior.mixture("true"), posterior.mixture("skew")
    tests = check_routes(change)
    verdict = decide(true, skew, given.margin, doubt_about(posterior, tests))
    indicated = route_change(change, maf.METHOD, given.coverage)
    true_interval, skew_interval = true.interval(given.coverage), skew.interval(given.coverage)
    fuel = _state(given, "mdot_fuel_kgps", given.fuel_budget)
    power = _state(given, "power_w", given.power_budget)
    causes = rank_causes(posterior)
    said = sentence(verdict, indicated=indicated, true=true_interval, skew=skew_interval)
    return PairResult(
        intake=given.intake,
        tune=given.tune,
        baseline=given.baseline,
        verdict=verdict,
        sentence=said + leak_sentence(causes),
        airflow_change_indicated=indicated,
        airflow_change=true_interval,
        sensor_skew=skew_interval,
        brake_power_change=power,
        fuel_change=fuel,
        attribution=attribute(
            given.table,
            given.design,
            given.budgets,
            controlled=given.controlled,
            true=true_interval,
            skew=skew_interval,
            fuel=fuel,
            power=power,
            depression_pa=given.depression_pa,
            p_ambient_pa=given.p_ambient_pa,
        ),
        estimates=(*_used(change, tests.rows, given.coverage), *_unused(given.unused)),
        causes=causes,
        by_speed=_by_speed(given, change, posterior),
        next_measurement=propose(posterior, change),
        budget=posterior.budget,
        degrees_of_freedom=posterior.dof,
        chi_square=tests.chi_square,
        chi_square_dof=tests.dof,
        chi_square_probability=tests.probability,
        prior_sensitivity=prior_sensitivity(posterior, conditions, given.margin, tests),
        probability_of_gain=1.0 - true.below(0.0),
        probability_of_over_reading=1.0 - skew.below(0.0),
        spool_up=given.spool_up,
        equivalent_bore=_equivalent_bore(given.bore_before_m, skew_interval),
    )


def _equivalent_bore(bore_before_m: float | None, skew: Interval) -> EquivalentBore | None:
    if bore_before_m is None:
        return None
    bore = equivalent_bore(bore_before_m, skew)
    return EquivalentBore(
        before_m=bore_before_m,
        equivalent_m=bore,
        sentence=bore_sentence(bore_before_m, skew, bore),
    )


def _state(given: PairInput, name: str, budget: Sequence[Influence]) -> Interval | None:
    return state_change(
        given.table,
        name,
        given.design,
        budget,
        controlled=given.controlled,
        coverage=given.coverage,
    )


def _used(change: Change, tests: Sequence[RouteTest], coverage: float) -> tuple[EstimateRow, ...]:
    return tuple(
        EstimateRow(
            method=test.method,
            change=route_change(change, test.method, coverage),
            used=True,
            reason=test.sentence,
            test_z=test.z,
            weight=test.weight,
        )
        for test in tests
    )


def _unused(unused: Sequence[Unused]) -> tuple[EstimateRow, ...]:
    return tuple(
        EstimateRow(method=u.method, change=None, used=False, reason=u.reason) for u in unused
    )


def _by_speed(given: PairInput, change: Change, posterior: Posterior) -> tuple[SpeedRow, ...]:
    keep = np.isin(given.table.centre_rpm, change.speed_rpm)
    samples = given.own_table.samples[:, keep].sum(axis=0)
    true = posterior.mixture("true_by_bin").intervals(given.coverage)
    skew = posterior.mixture("skew_by_bin").intervals(given.coverage)
    return tuple(
        SpeedRow(
            engine_speed_rpm=float(speed),
            airflow_change_indicated=float(np.expm1(change.value[0, b])),
            airflow_change=true[b],
            sensor_skew=skew[b],
            samples=int(samples[b]),
        )
        for b, speed in enumerate(change.speed_rpm)
    )
