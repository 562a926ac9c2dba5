"""What a planned test can resolve: the judgement of a test before a single run is made.

The states of one run are repeated for each run of both configurations, with the change that is
planned for and with run effects of the declared size; what `compare` would say of such cells is
then read from the same posterior.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.evidence.budget import LEAST_SHARE
from airsense.evidence.judgement import Judgement, evidence_of, judge, over_cells
from airsense.evidence.matched import DECLARED_DOF, ENGINE_DOF, ENGINE_RUN, LnChange
from airsense.evidence.planning.states import SEED, PlannedQuantity, Template, synthetic
from airsense.evidence.posterior import Posterior, infer, reduce_observations
from airsense.evidence.priors import LEAK_CAUSES, SENSOR_CAUSES, PriorTable
from airsense.evidence.sensor_runs import sensor_runs
from airsense.evidence.signatures import observed
from airsense.evidence.verdict import (
    DEFAULT_MARGIN,
    TAIL_OF_GAIN,
    TAIL_OF_SURPLUS,
    Evidence,
    weighted_quantiles,
)

# More runs than this are no plan: from here on another measurement is asked for.
MAX_RUNS = 12
SHOWN_RUNS = (1, 2, 3, 4, 6, 8, 12)
# Half-widths need fewer draws than claims.
DRAWS = 6_000
# Detectable changes are looked for up to here: beyond it no intake goes.
LARGEST_CHANGE = 0.15
SCAN, HALVINGS = 1.35, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is wanted: the change, the probability of seeing it, the confidence of the interval."""

    change: float = 0.03
    power: float = 0.90
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One part of a planned change, as a standard uncertainty (k = 1)."""

    label: str
    u: float
    share: float
    averages_over_runs: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What `runs` runs of each configuration would give; changes as fractions."""

    runs: int
    half_width: float
    detectable_change: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A test as it would be judged; `judged` is None where a claim was not asked for."""

    template: Template
    quantity: PlannedQuantity
    runs: int
    posterior: Posterior
    judged: Judgement | None

    @property
    def indicated(self) -> LnChange:
        """The indicated change at matched full load, around zero."""
        usual = float(np.hypot(ENGINE_RUN, self.template.sizes.mass_air_flow.run)), ENGINE_DOF
        own, dof = self.template.indicated or usual
        return LnChange(
            value=0.0, u=own * float(np.sqrt(2.0 / self.runs)), dof=dof + 2.0 * (self.runs - 1)
        )

    def row(self, posterior: Posterior) -> FloatArray:
        """Return the row that makes the surplus, or the skew, of the causes' sizes."""
        cells = posterior.reduced.seen.cells
        reading = over_cells(posterior, cells.laden)
        skew = self.quantity is PlannedQuantity.SENSOR_SKEW
        return np.asarray((reading.skew if skew else reading.surplus)[0])

    def reading(self) -> FloatArray:
        """Return draws of ln(1 + surplus or skew), (n,)."""
        return np.asarray(self.posterior.draws.spread @ self.row(self.posterior))

    def _terms(self) -> tuple[FloatArray, LnChange | None]:
        """Return the row over the causes' sizes; for the engine's air, what the sensor shows too.

        A planned gain is left out.
        """
        row = self.row(self.posterior)
        if self.quantity is not PlannedQuantity.AIRFLOW_CHANGE:
            return row, None
        weight = np.repeat([-1.0, 1.0], self.runs) / self.runs
        sensor = sensor_runs(self.posterior, self.template.budget, weight)
        return row - sensor.slope, sensor.air(self.indicated)

    def half_width(self, confidence: float) -> float:
        """Return the half-width of the interval."""
        p = self.posterior
        tails = [0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)]
        row, shown = self._terms()
        values = _beside(shown, p.draws.spread @ row)
        low, high = weighted_quantiles(values, p.draws.weight, tails)
        return float(np.expm1(0.5 * (high - low)))

    def evidence(self) -> Evidence:
        """Return the quantity as claims are read from it."""
        assert self.judged is not None
        row, shown = self._terms()
        own = evidence_of(self.judged, row)
        return Evidence(
            stated=replace(own.stated, values=_beside(shown, own.stated.values)),
            varied=tuple(replace(v, values=_beside(shown, v.values)) for v in own.varied),
        )


def _beside(shown: LnChange | None, values: FloatArray) -> FloatArray:
    """Return draws of what is shown less some values; the values themselves beside nothing."""
    if shown is None:
        return values
    return shown.draw(values.size, np.random.default_rng(SEED)) - values


def look(
    template: Template,
    quantity: PlannedQuantity,
    runs: int,
    *,
    surplus_ln: float = 0.0,
    claims: bool = False,
    table: PriorTable | None = None,
) -> Look:
    """Judge a test of `runs` runs of each configuration; `claims` under other priors too."""
    priors = table or PriorTable()
    cells, rest = synthetic(template, runs, surplus_ln)
    if claims:
        judged = judge(cells, rest, template.budget, priors)
        posterior = judged.posterior
    else:
        judged = None
        reduced = reduce_observations(observed(cells, rest), template.budget, priors)
        posterior = infer(reduced, priors, draws=DRAWS)
    return Look(template=template, quantity=quantity, runs=runs, posterior=posterior, judged=judged)


def forecast(template: Template, quantity: PlannedQuantity, runs: int, wish: Wish) -> Forecast:
    """Return the half-width and the smallest change that a test shows.

    A change is shown by the rule of the verdict: the other sign is next to impossible under every
    live cause and under other priors. With the wanted probability it is so where the scatter takes
    that many standard uncertainties off it. Infinite where no change up to `LARGEST_CHANGE` is.
    """
    if quantity is PlannedQuantity.BRAKE_POWER_CHANGE:
        return _of_power(template, runs, wish)
    of_air = quantity is PlannedQuantity.AIRFLOW_CHANGE
    null = look(template, quantity, runs, claims=of_air)
    half = null.half_width(wish.confidence)
    u = _u_of(half, wish)
    if of_air:
        evidence = null.evidence()
        smallest = _smallest(lambda change: _shown(evidence, TAIL_OF_GAIN, change), u)
    else:
        smallest = _smallest(lambda change: _claim(template, quantity, runs, change), u)
    unlucky = float(ndtri(wish.power)) * u
    return Forecast(
        runs=runs, half_width=half, detectable_change=float(np.expm1(smallest + unlucky))
    )


def is_shown(
    template: Template, quantity: PlannedQuantity, runs: int, wish: Wish, half_width: float
) -> bool:
    """Return whether a test shows the change that is wished for, with the wanted probability."""
    unlucky = float(ndtri(wish.power)) * _u_of(half_width, wish)
    return _claim(template, quantity, runs, float(np.log1p(wish.change)) - unlucky)


def _u_of(half_width: float, wish: Wish) -> float:
    return half_width / float(ndtri(0.5 * (1.0 + wish.confidence)))


def _claim(template: Template, quantity: PlannedQuantity, runs: int, change_ln: float) -> bool:
    """Return whether a surplus or skew of this size is shown."""
    if change_ln <= 0.0:
        return False
    seen = look(template, quantity, runs, surplus_ln=change_ln, claims=True)
    return _shown(seen.evidence(), TAIL_OF_SURPLUS, 0.0)


def _of_power(template: Template, runs: int, wish: Wish) -> Forecast:
    """Return what brake power shows: its interval misses zero with the wanted probability."""
    own = template.sizes.brake_power
    run = float(np.hypot(own.run, ENGINE_RUN))
    u = float(np.hypot(run * np.sqrt(2.0 / runs), own.run * np.sqrt(own.between)))
    change = LnChange(value=0.0, u=u, dof=DECLARED_DOF + 2.0 * (runs - 1))
    half = change.interval(wish.confidence).high
    return Forecast(
        runs=runs,
        half_width=half,
        detectable_change=float(np.expm1(np.log1p(half) + float(ndtri(wish.power)) * u)),
    )


def _shown(evidence: Evidence, tail: float, shift: float) -> bool:
    """Return whether a rise is shown once all draws are shifted by `shift`."""
    moved = Evidence(
        stated=replace(evidence.stated, values=evidence.stated.values + shift),
        varied=tuple(replace(v, values=v.values + shift) for v in evidence.varied),
    )
    return moved.shown(tail, DEFAULT_MARGIN) > 0


def _smallest(shown: Callable[[float], bool], u: float) -> float:
    """Return the smallest change (ln) for which something is shown, from `u` on upwards.

    Scanned and not bisected: a large change may be laid to a cause that a smaller one is not.
    """
    low, high = u, max(u, 0.5 * DEFAULT_MARGIN)
    while not shown(high):
        low, high = high, SCAN * high
        if high > LARGEST_CHANGE:
            return float("inf")
    for _ in range(HALVINGS):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if shown(middle) else (middle, high)
    return high


def budget_of(seen: Look) -> tuple[Component, ...]:
    """Return what a planned change rests on, largest first: declared parts, then causes."""
    rows = [*_declared(seen), *_causes(seen)]
    if seen.quantity is PlannedQuantity.AIRFLOW_CHANGE:
        rows.append(("run-to-run scatter of the engine and its sensor", seen.indicated.u, True))
    total = sum(u**2 for _, u, _ in rows)
    kept = [
        Component(label=label, u=u, share=u**2 / total, averages_over_runs=averages)
        for label, u, averages in rows
        if u**2 >= LEAST_SHARE * total
    ]
    return tuple(sorted(kept, key=lambda c: -c.u))


def _declared(seen: Look) -> list[tuple[str, float, bool]]:
    budget = seen.template.budget
    weight = 2.0 / seen.runs
    covariance = budget.covariance("between") + weight * budget.covariance("run")
    inverse = np.linalg.inv(covariance)
    best = inverse.sum(axis=0) / inverse.sum()
    rows = []
    for part in budget.parts:
        moved = abs(float(best @ part.sensitivity))
        u = moved * float(np.sqrt(part.between**2 + weight * part.run**2))
        rows.append((part.label, u, weight * part.run**2 > part.between**2))
    return rows


def _causes(seen: Look) -> list[tuple[str, float, bool]]:
    """Return how much of the doubt goes with each cause, by regression over the draws."""
    p = seen.posterior
    wanted = p.draws.sizes @ seen.row(p)
    weight = p.draws.weight
    total = float(weight @ (wanted - weight @ wanted) ** 2)
    rows = []
    for cause in Cause:
        if cause is Cause.NONE or cause in SENSOR_CAUSES:
            continue
        if seen.quantity is not PlannedQuantity.SENSOR_SKEW and cause in LEAK_CAUSES:
            continue
        first = [place[0] for own, _, place in p.reduced.library.effects if own is cause]
        if not first:
            continue
        size = p.draws.sizes[:, sorted(set(first))].sum(axis=1)
        size = size - weight @ size
        spread = float(weight @ size**2)
        if spread > 0.0 and total > 0.0:
            shared = float(weight @ (size * wanted)) ** 2 / spread
            rows.append((cause.value.replace("_", " "), float(np.sqrt(shared)), False))
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOrder:
    """An order of runs, and the false change that a steady drift leaves in it.

    `drift_left` is in units of the drift from one run to the next: a drift of 0.1 % a run turns
    a value of 3 into a false change of 0.3 %.
    """

    name: str
    order: str
    drift_left: float


def run_orders(runs: int) -> tuple[RunOrder, ...]:
    """Return the usual orders of `runs` runs of each configuration, best first."""
    blocks = "A" * runs + "B" * runs
    alternating = "AB" * runs
    # ABBA ABBA ...: each half of the list mirrors the other, so that a steady drift cancels.
    mirrored = "".join("ABBA"[k % 4] for k in range(2 * runs))
    orders = [
        RunOrder(name=name, order=" ".join(order), drift_left=_drift_left(order))
        for name, order in (
            ("counterbalanced (ABBA)", mirrored),
            ("alternating (ABAB)", alternating),
            ("one after the other", blocks),
        )
    ]
    return tuple(sorted(orders, key=lambda o: abs(o.drift_left)))


def _drift_left(order: Sequence[str]) -> float:
    after = np.array([name == "B" for name in order])
    place = np.arange(after.size, dtype=np.float64)
    return float(place[after].mean() - place[~after].mean())
