"""From binned repeats of two configurations to one change with its covariance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.estimates import maf
from airsense.estimates.estimate import Influence
from airsense.estimates.fuel_lambda import LAMBDA_KEY
from airsense.evidence.bins import BinTable
from airsense.evidence.effects import (
    Effect,
    change_dof,
    change_variance,
    collect_effects,
    engine_effect,
)
from airsense.evidence.hypotheses import Conditions
from airsense.evidence.inference import Change
from airsense.evidence.priors import (
    EFFICIENCY_PER_LAMBDA,
    VE_PER_PRESSURE,
    VE_PER_TEMPERATURE,
)
from airsense.evidence.scatter import update_by_repeats
from airsense.evidence.student import COVERAGE, single, welch_satterthwaite
from airsense.results import Interval

FloatArray = NDArray[np.float64]

# True run-to-run variation of an engine on a dynamometer (practice: 0.3 to 1 %); hardly known
# beforehand, so few degrees of freedom: the repeats decide.
ENGINE_RUN = 0.005
# Outside a controlled sweep the operating point itself differs from run to run.
ENGINE_RUN_UNCONTROLLED = 0.25
ENGINE_DOF = 4.0
# Heat soak and weather move the engine itself between the configurations: our choice, held against
# the coverage study.
ENGINE_BETWEEN = 0.0028
MIN_BINS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How the repeats explain a change: `matrix` (n_runs, n_parameters), `contrast` over it.

    `weights` (n_runs,) turn run values into the least-squares estimate of the change.
    """

    matrix: FloatArray
    weights: FloatArray

    @property
    def run_weight(self) -> float:
        """Sum of the squared weights: 1/n_before + 1/n_after in the plain case."""
        return float(np.sum(self.weights**2))


def pair_design(is_after: Sequence[bool]) -> Design:
    """Return the design of a plain before/after comparison."""
    after = np.asarray(is_after, dtype=np.float64)
    matrix = np.column_stack([1.0 - after, after])
    return design_from(matrix, np.array([-1.0, 1.0]))


def design_from(matrix: FloatArray, contrast: FloatArray) -> Design:
    """Return the least-squares weights of a contrast of the columns of a design matrix."""
    weights = np.linalg.pinv(matrix).T @ contrast
    return Design(matrix=matrix, weights=weights)


def build_change(
    table: BinTable,
    budgets: Mapping[str, Sequence[Influence]],
    design: Design,
    *,
    controlled: bool,
) -> Change:
    """Return ln(after/before) over (route, bin) with everything that scatters it.

    Parameters
    ----------
    table : BinTable
        Repeats in bins; the first route must be the sensor under test.
    budgets : mapping of str to sequence of Influence
        Budget per route, same order as in `table`.
    design : Design
        Which repeat belongs to which configuration.
    controlled : bool
        Whether the repeats are sweeps of one kind (True) or driving logs.

    Raises
    ------
    InputError
        If fewer than two speed bins are filled by all repeats.
    """
    routes = tuple(table.ln)
    stack = np.array([table.ln[name] for name in routes])
    full = np.all(np.isfinite(stack), axis=(0, 1))
    if np.count_nonzero(full) < MIN_BINS:
        raise _too_thin(table)
    stack = stack[:, :, full]
    noise = np.array([table.u_noise[name] for name in routes])[:, :, full] ** 2
    common = table.u_common[:, full] ** 2
    w2 = (design.weights**2)[:, None]
    run_means = stack.mean(axis=2).T
    n_full = int(np.count_nonzero(full))
    effects = (
        *collect_effects({name: budgets[name] for name in routes}),
        _engine(len(routes), controlled),
    )
    effects = update_by_repeats(effects, run_means, design.matrix, noise.mean(axis=(1, 2)) / n_full)
    value = np.einsum("r,krb->kb", design.weights, stack)
    return Change(
        routes=routes,
        speed_rpm=table.centre_rpm[full],
        value=value,
        noise=np.sum(noise * w2, axis=1),
        common_noise=np.sum(common * w2, axis=0),
        run_weight=design.run_weight,
        effects=_with_dependences(effects, table, design),
    )


def _engine(n_routes: int, controlled: bool) -> Effect:
    run = ENGINE_RUN if controlled else ENGINE_RUN_UNCONTROLLED
    return engine_effect(n_routes, run, ENGINE_BETWEEN, ENGINE_DOF)


def _too_thin(table: BinTable) -> InputError:
    counts = ", ".join(
        f"{label}: {int(np.count_nonzero(n))} of {n.size} bins"
        for label, n in zip(table.labels, table.samples, strict=True)
    )
    return InputError(
        "too few engine-speed bins are covered by every run",
        where="the logs",
        got=counts,
        allowed=f"at least {MIN_BINS} bins with samples of all channels in every run",
        fix="leave out the run that is too short, narrow --rpm, or log the sweep again",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Dependence:
    """An effect that also moves with an operating quantity, by an exponent that is not known."""

    key: str
    state: str
    u_exponent: float


_DEPENDENCES = (
    Dependence(key="volumetric_efficiency", state="p_manifold_pa", u_exponent=VE_PER_PRESSURE),
    Dependence(key="volumetric_efficiency", state="t_charge_k", u_exponent=VE_PER_TEMPERATURE),
    Dependence(key="brake_efficiency", state="lambda_", u_exponent=EFFICIENCY_PER_LAMBDA),
)


def _with_dependences(
    effects: tuple[Effect, ...], table: BinTable, design: Design
) -> tuple[Effect, ...]:
    """Widen the change of efficiencies where the quantity that they depend on changed itself."""
    if abs(float(np.sum(design.weights))) > 1e-9:
        return effects  # a level, not a change
    extra = dict.fromkeys((d.key for d in _DEPENDENCES), 0.0)
    for d in _DEPENDENCES:
        extra[d.key] = float(np.hypot(extra[d.key], d.u_exponent * _moved(table, d.state, design)))
    return tuple(
        replace(e, between=float(np.hypot(e.between, extra.get(e.key, 0.0)))) for e in effects
    )


def _moved(table: BinTable, state: str, design: Design) -> float:
    """Return the absolute change of ln(state), averaged over the bins; zero where not logged."""
    value = table.state.get(state)
    if value is None:
        return 0.0
    full = np.all(np.isfinite(value) & (value > 0.0), axis=0)
    if not full.any():
        return 0.0
    return float(np.mean(np.abs(design.weights @ np.log(value[:, full]))))


def build_level(
    table: BinTable, budgets: Mapping[str, Sequence[Influence]], *, controlled: bool
) -> Change:
    """Return ln(flow) by route of one configuration, less the routes' common mean.

    The same form as a change, but with the absolute uncertainties in it: what is common to all
    runs does not cancel when a level is judged.

    Raises
    ------
    InputError
        If fewer than two speed bins are filled by all repeats.
    """
    n_runs = next(iter(table.ln.values())).shape[0]
    design = design_from(np.ones((n_runs, 1)), np.ones(1))
    level = build_change(table, budgets, design, controlled=controlled)
    effects = tuple(
        replace(e, between=float(np.hypot(e.absolute, e.between))) for e in level.effects
    )
    return replace(level, value=level.value - level.value.mean(), effects=effects)


def conditions_of(table: BinTable, change: Change) -> Conditions:
    """Return the operating state by bin that the signatures of the causes need."""
    keep = np.isin(table.centre_rpm, change.speed_rpm)
    p = _mean_state(table, "p_manifold_pa", keep)
    return Conditions(
        routes=change.routes,
        speed_rpm=change.speed_rpm,
        mdot_kgps=np.exp(np.nanmean(table.ln[maf.METHOD][:, keep], axis=0)),
        boost_pa=_mean_state(table, "boost_pa", keep),
        p_manifold_pa=np.where(p > 0.0, p, 1e5),
        t_charge_k=np.where((t := _mean_state(table, "t_charge_k", keep)) > 0.0, t, 300.0),
        compressor_to_pressure=_mean_state(table, "compressor_to_pressure", keep),
        lambda_routes=tuple(
            name
            for e in change.effects
            if e.key == LAMBDA_KEY
            for name, moved in zip(change.routes, e.sensitivity, strict=True)
            if moved != 0.0
        ),
    )


def _mean_state(table: BinTable, name: str, keep: NDArray[np.bool_]) -> FloatArray:
    """Return a state by bin over all repeats, zero where it was not logged."""
    value = table.state.get(name, np.full(table.samples.shape, np.nan))[:, keep]
    good = np.isfinite(value)
    count = good.sum(axis=0)
    return np.where(count > 0, np.where(good, value, 0.0).sum(axis=0) / np.maximum(count, 1), 0.0)


def route_change(change: Change, route: str, coverage: float = COVERAGE) -> Interval:
    """Return the change that one route shows on its own, with its own budget."""
    row = change.routes.index(route)
    parts = [
        (
            e.sensitivity[row] ** 2 * change_variance(e, change.run_weight),
            change_dof(e, change.run_weight),
        )
        for e in change.effects
    ]
    noise = float(np.sum(change.noise[row] + change.common_noise)) / change.n_bins**2
    variance = np.array([v for v, _ in parts] + [noise])
    dof = welch_satterthwaite(variance, np.array([d for _, d in parts] + [float(change.n_bins)]))
    mean = float(np.mean(change.value[row]))
    return single(mean, float(np.sqrt(variance.sum())), dof).interval(coverage)


def state_change(
    table: BinTable,
    name: str,
    design: Design,
    influences: Sequence[Influence],
    *,
    controlled: bool,
    coverage: float = COVERAGE,
) -> Interval | None:
    """Return the change of a positive quantity (fuel, power, pressure) over all filled bins.

    None where it was not logged in every repeat.
    """
    value = table.state.get(name)
    if value is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        ln = np.log(np.where(value > 0.0, value, np.nan))
    full = np.all(np.isfinite(ln), axis=0)
    if np.count_nonzero(full) < MIN_BINS:
        return None
    means = ln[:, full].mean(axis=1, keepdims=True)
    effects = (
        *collect_effects({name: influences}),
        _engine(1, controlled),
    )
    effects = update_by_repeats(effects, means, design.matrix, np.zeros(1))
    variance = np.array([change_variance(e, design.run_weight) for e in effects])
    dof = welch_satterthwaite(
        variance, np.array([change_dof(e, design.run_weight) for e in effects])
    )
    mean = float(design.weights @ means[:, 0])
    return single(mean, float(np.sqrt(variance.sum())), dof).interval(coverage)
