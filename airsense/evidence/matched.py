"""Matched full load: the same speeds swept before and after, compared bin by bin.

What the sensor shows there, and fuel, power, pressure and temperature, each with what repeats show
of their scatter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates import maf
from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate, Influence
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented
from airsense.evidence.bins import BinTable, Repeat, bin_runs, common_window
from airsense.evidence.student import COVERAGE
from airsense.results import Interval

# One bin alone is no matched full load.
MIN_BINS = 2
# Fewer bins above the spool-up show no curve.
TELLING_BINS = 3
# What a control that is at work leaves of its error over speed, k = 1 (our choice).
FOLLOWS_WITHIN = 0.02
# True run-to-run variation of an engine on a dynamometer (practice: 0.3 to 1 %); hardly known
# beforehand, so few degrees of freedom: the repeats decide.
ENGINE_RUN, ENGINE_DOF = 0.005, 4.0
# How well a declared scatter is known: JCGM 100 G.4.2 for 30 %.
DECLARED_DOF = 6.0
STATES = (
    "p_manifold_pa",
    "t_charge_k",
    "mdot_fuel_kgps",
    "power_w",
    "wheel_power_w",
    "depression_pa",
    "lambda_",
    "p_demand_pa",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LnChange:
    """ln(after/before) of one quantity: mean, standard uncertainty (k = 1), degrees of freedom."""

    value: float
    u: float
    dof: float

    def interval(self, coverage: float = COVERAGE) -> Interval:
        """Return the change as a fraction with its interval."""
        half = self.u * float(stdtrit(self.dof, 0.5 * (1.0 + coverage)))
        return Interval(
            float(np.expm1(self.value)),
            float(np.expm1(self.value - half)),
            float(np.expm1(self.value + half)),
        )

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Return draws, (count,)."""
        return np.asarray(self.value + self.u * rng.standard_t(self.dof, count))


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """Full-load sweeps of both configurations, binned over the window that all share.

    `after` has shape (n_repeats,), `run_of` names the run of each repeat; `filled` (n_bins,) marks
    the bins that every repeat covers.
    """

    table: BinTable
    after: BoolArray
    run_of: tuple[int, ...]
    filled: BoolArray
    window_rpm: tuple[float, float]
    sizes: Defaults

    @property
    def speed_rpm(self) -> FloatArray:
        """Centres of the bins that all repeats cover."""
        return self.table.centre_rpm[self.filled]

    @property
    def weights(self) -> FloatArray:
        """Weights that make a change of run means, (n_repeats,)."""
        n_after = np.count_nonzero(self.after)
        n_before = self.after.size - n_after
        return np.where(self.after, 1.0 / n_after, -1.0 / n_before)

    def weights_by_run(self, numbers: Sequence[int]) -> FloatArray:
        """Return the same by the place of a run among `numbers`, (n_numbers,); 0 for the others."""
        by_run = dict(zip(self.run_of, self.weights.tolist(), strict=True))
        return np.array([by_run.get(k, 0.0) for k in numbers])

    def indicated(self) -> LnChange:
        """Return the change of the indicated air, with the scatter of engine and sensor."""
        own = float(np.hypot(ENGINE_RUN, self.sizes.mass_air_flow.run))
        return self.change_of(self.table.ln[maf.METHOD], run=own, dof=ENGINE_DOF)

    def indicated_by_bin(self) -> FloatArray:
        """Return ln(after/before) of the indicated air in each filled bin."""
        return np.asarray(self.weights @ self.table.ln[maf.METHOD][:, self.filled])

    def route(self, method: str, budget: Sequence[Influence]) -> LnChange:
        """Return the change of air that one route shows, with its own budget."""
        between = float(np.sqrt(sum((i.sensitivity * i.between) ** 2 for i in budget)))
        run = float(np.sqrt(sum((i.sensitivity * i.run) ** 2 for i in budget)))
        return self.change_of(
            self.table.ln[method],
            run=float(np.hypot(run, ENGINE_RUN)),
            between=between,
            dof=DECLARED_DOF,
        )

    def state(
        self, name: str, *, run: float, between: float = 0.0, engine_run: float = ENGINE_RUN
    ) -> LnChange | None:
        """Return the change of a positive quantity; None where it was not logged in every repeat.

        Parameters
        ----------
        name : str
            One of `STATES`.
        run, between : float
            Relative standard uncertainties of a run and between the configurations.
        engine_run : float
            How far the quantity itself differs from run to run, before the repeats tell.
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            value = self.table.state[name]
            ln = np.log(np.where(value > 0.0, value, np.nan))
        if np.count_nonzero(self.filled & np.isfinite(ln).all(axis=0)) < MIN_BINS:
            return None
        total = float(np.hypot(run, engine_run))
        return self.change_of(ln, run=total, between=between, dof=DECLARED_DOF)

    def level(self, name: str, *, after: bool) -> float:
        """Return the mean of a quantity over the filled bins of one configuration, NaN if none."""
        value = self.table.state[name][self.after == after][:, self.filled]
        return float(np.nanmean(value)) if np.isfinite(value).any() else float("nan")

    def follows_demand(self) -> bool | None:
        """Return whether manifold pressure keeps its ratio to the demand over the upper speeds.

        None where either was not logged, or where too few speeds tell.
        """
        with np.errstate(invalid="ignore", divide="ignore"):
            apart = np.log(self.table.state["p_manifold_pa"] / self.table.state["p_demand_pa"])
        upper = self.table.centre_rpm > float(np.sqrt(np.prod(self.window_rpm)))
        use = self.filled & upper & np.isfinite(apart).all(axis=0)
        if np.count_nonzero(use) < TELLING_BINS:
            return None
        # An intake may move the ratio as a whole: each configuration has its own.
        means = (apart[self.after == a][:, use].mean(axis=0) for a in (False, True))
        return bool(max(np.std(m, ddof=1) for m in means) < FOLLOWS_WITHIN)

    def change_of(
        self, ln: FloatArray, *, run: float, between: float = 0.0, dof: float
    ) -> LnChange:
        """Return the change of run means; the repeats update the declared scatter `run`."""
        use = self.filled & np.isfinite(ln).all(axis=0)
        means = ln[:, use].mean(axis=1)
        per = [means[self.after == a] for a in (False, True)]
        free = sum(max(p.size - 1, 0) for p in per)
        left = float(sum(np.sum((p - p.mean()) ** 2) for p in per))
        variance = (dof * run**2 + left) / (dof + free)
        weight = sum(1.0 / p.size for p in per)
        u2 = variance * weight + between**2
        # The drift between configurations keeps the degrees of freedom of its declaration.
        spread = (variance * weight) ** 2 / (dof + free) + between**4 / dof
        return LnChange(
            value=float(per[1].mean() - per[0].mean()),
            u=float(np.sqrt(u2)),
            dof=float(u2**2 / spread) if spread > 0.0 else float(dof + free),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweeps:
    """What matched full load is made of, in the order of the runs."""

    runs: Sequence[Run]
    cuts: Sequence[Segmented]
    is_sweep: Sequence[bool]
    estimates: Mapping[str, Sequence[Estimate]]
    sizes: Defaults
    wanted_rpm: tuple[float, float] | None = None


def match(given: Sweeps, numbers: Sequence[int], after: Sequence[bool]) -> Matched | None:
    """Return the matched full load of some runs; None where the two configurations share none.

    Parameters
    ----------
    given : Sweeps
    numbers : sequence of int
        Runs to take.
    after : sequence of bool
        Whether each of them shows the second configuration.
    """
    chosen = [(k, a) for k, a in zip(numbers, after, strict=True) if given.is_sweep[k]]
    if {a for _, a in chosen} != {False, True}:
        return None
    repeats = [_repeat(given, k) for k, _ in chosen]
    window = common_window(repeats, given.wanted_rpm)
    if window is None:
        return None
    index = [k for k, _ in chosen]
    flows = {maf.METHOD: [_ln_maf(given.runs[k]) for k in index]}
    flows |= {n: [e[k].ln_flow for k in index] for n, e in given.estimates.items()}
    states = {n: [getattr(given.runs[k], n) for k in index] for n in STATES}
    table = bin_runs(repeats, flows, states, window)
    filled: BoolArray = np.asarray(np.isfinite(table.ln[maf.METHOD]).all(axis=0))
    if np.count_nonzero(filled) < MIN_BINS:
        return None
    return Matched(
        table=table,
        after=np.array([a for _, a in chosen]),
        run_of=tuple(index),
        filled=filled,
        window_rpm=window,
        sizes=given.sizes,
    )


def _repeat(given: Sweeps, k: int) -> Repeat:
    found = given.cuts[k]
    return Repeat(
        run=given.runs[k],
        use=found.use & found.full & (found.kind == Kind.PULL),
        label=given.runs[k].name,
    )


def _ln_maf(run: Run) -> FloatArray:
    assert run.mdot_maf_kgps is not None
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(run.mdot_maf_kgps > 0.0, np.log(run.mdot_maf_kgps), np.nan)
