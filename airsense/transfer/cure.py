"""Is a table the right cure? What at the same signal depends on speed, load or boost is not."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.physics.duct import orifice_flow_relative
from airsense.results import Interval
from airsense.transfer.basis import SplineBasis
from airsense.transfer.choose import AMPLITUDES
from airsense.transfer.fit import Fit, level
from airsense.transfer.mixed import (
    Design,
    Normal,
    Posterior,
    Signature,
    build_design,
    ln_evidence,
    normal_of,
    solve,
)
from airsense.transfer.samples import Blocks, ReferenceSamples

FloatArray = NDArray[np.float64]

U_LEAK = 0.04
MIN_BOOST_PA = 2.0e4
U_PULSATION = 0.04
U_COVARIATE = 0.10
# A cause is named from 1 % on, if the comparison with the baseline gives it three in ten, or at
# fifty to one at the same signals; without such a comparison at five to one. It is excluded below
# one in twenty, or one to five. Our choice: a wrong table costs more than a second look.
MIN_EFFECT = 0.01
NAMED_PROBABILITY, EXCLUDED_PROBABILITY = 0.3, 0.05
LN_FIVE, LN_FIFTY = float(np.log(5.0)), float(np.log(50.0))
# A variable can be tested where it varies by this much (standard deviation of its logarithm) at
# the same signal.
MIN_SPREAD = 0.04
# Four standard errors over two variables: chance names one in ten thousand.
NAMED_Z = 4.0
# Low-speed pulsation dies out over this many engine speeds above the lowest logged.
PULSATION_SHARE = 0.15
_K_95 = 1.96


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What a comparison with the baseline says of a cause."""

    cause: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseTest:
    """A cause other than the table, beside a shape of it: size as a fraction of flow.

    `status` is `named`, `not_excluded` or `excluded`. `odds` are those of the cause against a
    shape of the table at the same signals, with equal priors; `probability` is what the
    comparison with the baseline gives it among all causes, NaN without one.
    """

    cause: str
    status: str
    size: Interval
    odds: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A tested cause with the form of it that was likeliest."""

    test: CauseTest
    form: Signature


@dataclass(frozen=True, slots=True, kw_only=True)
class CovariateTest:
    """Whether the residual at the same signal depends on a variable.

    `effect` is the change of the residual over two standard deviations of the variable, as they
    occur at the same signal. `low` and `high` bound the fifth of the variable's range where the
    mean of ln(true/indicated) that the new table leaves, `excess`, is largest.
    """

    variable: str
    tested: bool
    depends: bool
    effect: Interval
    low: float
    high: float
    excess: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteGap:
    """Difference of two routes' answers on the same runs, as a fraction of flow."""

    first: str
    second: str
    gap: Interval
    z: float
    first_skew: float
    second_skew: float
    u_first: float
    u_second: float


def leak_signatures(blocks: Blocks) -> tuple[Signature, ...]:
    """Return what a leak behind the compressor takes of the reading, 1 at full boost.

    Two forms: a hole of fixed size, whose share falls as the flow rises, and a joint that opens
    with pressure, whose share follows the boost. None without boost.
    """
    boost = np.where(blocks.present, blocks.p_manifold_pa - blocks.p_ambient_pa, np.nan)
    if not np.isfinite(boost).any() or np.nanmax(boost) < MIN_BOOST_PA:
        return ()
    hole = orifice_flow_relative(blocks.p_manifold_pa, blocks.p_ambient_pa) / np.exp(blocks.axis)
    joint = np.maximum(blocks.p_manifold_pa - blocks.p_ambient_pa, 0.0)
    full = boost > 0.95 * np.nanmax(boost)
    return tuple(
        Signature(
            name="leak_after_compressor",
            column=-np.nan_to_num(share / np.nanmean(share[full]), nan=0.0),
            u_size=U_LEAK,
        )
        for share in (hole, joint)
    )


def pulsation_signatures(blocks: Blocks) -> tuple[Signature, ...]:
    """Return what backward pulses add to the reading at low speed, 1 at the lowest."""
    speed = blocks.speed_rpm[blocks.present]
    if speed.size == 0 or np.max(speed) < 1.3 * np.min(speed):
        return ()
    above = (blocks.speed_rpm - np.min(speed)) / (PULSATION_SHARE * np.max(speed))
    column = -np.exp(-np.maximum(above, 0.0))
    return (Signature(name="pulsation", column=column, u_size=U_PULSATION),)


def weigh_cause(
    fit: Fit,
    samples: ReferenceSamples,
    forms: Sequence[Signature],
    probability: float = float("nan"),
) -> Weighed:
    """Weigh a cause, in its likeliest form, against a shape of the table on the same blocks.

    Parameters
    ----------
    fit : Fit
        The fit by signal alone.
    samples : ReferenceSamples
        What it was made of.
    forms : sequence of Signature
        Forms that the cause may take.
    probability : float
        What a comparison with the baseline gives the cause; NaN without one.
    """
    plain = _ln_marginal(fit, fit.design, fit.total)[0]
    tried = []
    for form in forms:
        design = build_design(fit.blocks, samples, fit.design.basis, [form])
        ln_marginal, best = _ln_marginal(fit, design, _total(fit, design))
        tried.append((ln_marginal, design.signature_column(form.name), best, form))
    ln_marginal, at, best, form = max(tried, key=lambda row: row[0])
    size, u = float(best.mean[at]), float(np.sqrt(best.covariance[at, at]))
    ln_odds = ln_marginal - plain
    test = CauseTest(
        cause=form.name,
        status=_status(ln_odds, probability, size, u),
        size=Interval(size, size - _K_95 * u, size + _K_95 * u),
        odds=float(np.exp(np.clip(ln_odds, -50.0, 50.0))),
        probability=probability,
    )
    return Weighed(test=test, form=form)


def _total(fit: Fit, design: Design) -> Normal:
    """Return the normal equations of all blocks for a design with more columns."""
    return normal_of(design, fit.noise, np.ones(fit.blocks.run.size, dtype=bool))


def _ln_marginal(fit: Fit, design: Design, total: Normal) -> tuple[float, Posterior]:
    """Return the log evidence averaged over the shape's size, and the best posterior."""
    precisions = [design.precision(a, fit.run_scale) for a in AMPLITUDES]
    tried = np.array([ln_evidence(total, precision) for precision in precisions])
    top = float(np.max(tried))
    mean = top + float(np.log(np.mean(np.exp(tried - top))))
    return mean, solve(total, precisions[int(np.argmax(tried))])


def _status(ln_odds: float, probability: float, size: float, u: float) -> str:
    compared = np.isfinite(probability)
    by_signal = ln_odds > (LN_FIFTY if compared else LN_FIVE) and size - _K_95 * u > 0.0
    if (by_signal or probability >= NAMED_PROBABILITY) and size > MIN_EFFECT:
        return "named"
    unlikely = probability < EXCLUDED_PROBABILITY and ln_odds < LN_FIVE if compared else False
    if unlikely or size + _K_95 * u < MIN_EFFECT or ln_odds < -LN_FIVE:
        return "excluded"
    return "not_excluded"


def weigh_covariate(
    fit: Fit, samples: ReferenceSamples, variable: str, values: FloatArray
) -> CovariateTest:
    """Test whether ln(true/indicated) depends on ln(values) at the same signal.

    Parameters
    ----------
    fit : Fit
        The fit by signal alone.
    samples : ReferenceSamples
        What it was made of.
    variable : str
        Name for the result.
    values : ndarray, shape (m,)
        The variable in each block; above zero, NaN where it was not logged.
    """
    present = fit.blocks.present & np.isfinite(values)
    free = _free_part(fit, present, np.log(np.where(present, values, 1.0)))
    spread = float(np.std(free[present])) if np.count_nonzero(present) > 10 else 0.0
    nothing = Interval(float("nan"), float("nan"), float("nan"))
    if spread < MIN_SPREAD:
        return CovariateTest(
            variable=variable,
            tested=False,
            depends=False,
            effect=nothing,
            low=float("nan"),
            high=float("nan"),
            excess=float("nan"),
        )
    signature = Signature(name=variable, column=free, u_size=U_COVARIATE)
    design = build_design(fit.blocks, samples, fit.design.basis, [signature])
    total = _total(fit, design)
    amplitude = max(fit.amplitude, AMPLITUDES[3])
    posterior = solve(total, design.precision(amplitude, fit.run_scale))
    at = design.signature_column(variable)
    slope, u = float(posterior.mean[at]), float(np.sqrt(posterior.covariance[at, at]))
    scale = 2.0 * spread
    effect = Interval(slope * scale, (slope - _K_95 * u) * scale, (slope + _K_95 * u) * scale)
    here = present[fit.blocks.present]
    low, high, excess = _where(values[present], fit.left_residual()[here])
    return CovariateTest(
        variable=variable,
        tested=True,
        depends=abs(slope) > NAMED_Z * u and abs(effect.value) > MIN_EFFECT,
        effect=effect,
        low=low,
        high=high,
        excess=excess,
    )


def _free_part(fit: Fit, present: NDArray[np.bool_], ln_values: FloatArray) -> FloatArray:
    """Return the part of a variable that the signal does not already tell, zero elsewhere."""
    rows = fit.design.curve(fit.blocks.axis[present])[:, : 1 + fit.design.basis.size]
    coefficients, *_ = np.linalg.lstsq(rows, ln_values[present], rcond=None)
    free = np.zeros(present.size)
    free[present] = ln_values[present] - rows @ coefficients
    return free


def _where(values: FloatArray, residual: FloatArray) -> tuple[float, float, float]:
    """Return the fifth of the variable's range where the mean residual is largest."""
    edges = np.quantile(values, np.linspace(0.0, 1.0, 6))
    means = []
    for low, high in itertools.pairwise(edges):
        inside = residual[(values >= low) & (values <= high)]
        means.append(float(np.nanmean(inside)) if np.isfinite(inside).any() else 0.0)
    k = int(np.argmax(np.abs(means)))
    return float(edges[k]), float(edges[k + 1]), means[k]


def compare_routes(
    blocks: Blocks, samples: ReferenceSamples, basis: SplineBasis
) -> tuple[RouteGap, ...]:
    """Compare what each route alone says, pair by pair.

    The routes share the sensor's run effects, which drop out of their difference.
    """
    answers = []
    for k, route in enumerate(samples.routes):
        alone = replace(samples, routes=(route,), u_run_sensor=1e-6)
        own = replace(blocks, residual=blocks.residual[k : k + 1])
        own = own.pick(np.asarray(np.isfinite(own.residual[0])))
        if np.count_nonzero(own.present) >= 3:
            mean, u = level(own, alone, basis)
            answers.append(_Answer(route.method, mean, u))
    return tuple(
        _gap(first, second) for i, first in enumerate(answers) for second in answers[i + 1 :]
    )


@dataclass(frozen=True, slots=True)
class _Answer:
    method: str
    mean: float
    u: float


def _gap(first: _Answer, second: _Answer) -> RouteGap:
    gap = first.mean - second.mean
    u = float(np.hypot(first.u, second.u))
    return RouteGap(
        first=first.method,
        second=second.method,
        gap=Interval(gap, gap - _K_95 * u, gap + _K_95 * u),
        z=gap / u,
        first_skew=float(np.expm1(-first.mean)),
        second_skew=float(np.expm1(-second.mean)),
        u_first=first.u,
        u_second=second.u,
    )
