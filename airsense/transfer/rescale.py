"""From samples and the present table to the new one, or to a reason why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.errors import InputError
from airsense.results import Finding, Interval
from airsense.transfer.basis import SplineBasis, basis_over
from airsense.transfer.cells import Cell, Support, axis_of, kept, make_cells
from airsense.transfer.cure import (
    Belief,
    CauseTest,
    CovariateTest,
    RouteGap,
    Weighed,
    compare_routes,
    leak_signatures,
    pulsation_signatures,
    weigh_cause,
    weigh_covariate,
)
from airsense.transfer.findings import (
    REFUSING,
    baseline_finding,
    cause_finding,
    covariate_finding,
    gap_finding,
    recirculation_finding,
    single_route_finding,
    still_reading_finding,
    table_findings,
)
from airsense.transfer.fit import Fit, Model, fit_blocks, prepared_blocks
from airsense.transfer.lone_route import reading_change
from airsense.transfer.model import TransferTable
from airsense.transfer.result import Decision, RescaleResult, RouteUse
from airsense.transfer.samples import Blocks, ReferenceSamples
from airsense.transfer.table_check import mistyped_rows
from airsense.transfer.tube import bore_sentence, equivalent_bore

FloatArray = NDArray[np.float64]

DISAGREE_Z = 3.5
AGREE_Z = 2.6
# Part of the charge that a half-open valve displaces unseen: our choice.
U_RECIRCULATION = 0.10
MIN_BLOCKS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the user chose or declared, and what is known of the runs beforehand.

    `beliefs` are those of the comparison with the baseline; `recirculation` says that exhaust gas
    that nobody logged is suspected in the charge.
    """

    max_step: float = 0.10
    force_cause: bool = False
    bore_before_m: float | None = None
    bore_after_m: float | None = None
    beliefs: tuple[Belief, ...] = ()
    recirculation: bool = False

    def probability(self, cause: str) -> float:
        """Return what the comparison with the baseline gives a cause, NaN without one."""
        return next((b.probability for b in self.beliefs if b.cause == cause), float("nan"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Examined:
    """Samples as they are used for the table, and what was found on the way."""

    samples: ReferenceSamples
    blocks: Blocks
    gaps: tuple[RouteGap, ...]
    dropped: str
    findings: tuple[Finding, ...]


def rescale(
    table: TransferTable, samples: ReferenceSamples, options: Options, *, where: str
) -> RescaleResult:
    """Return the new table.

    Parameters
    ----------
    table : TransferTable
        The table in force when the runs with the present tube were logged.
    samples : ReferenceSamples
        Those runs, and baseline runs if there are any.
    options : Options
        Limits and what was declared.
    where : str
        Names the logs in an error.

    Raises
    ------
    InputError
        If the logs hold too few usable samples.
    """
    axis = axis_of(table)
    basis = basis_over(float(np.min(axis)), float(np.max(axis)))
    lone = options.recirculation and all(route.breathing for route in samples.routes)
    if lone:
        samples = _with_recirculation(samples)
    blocks = _enough(prepared_blocks(samples, basis), where)
    examined = _examine_routes(blocks, samples, basis)
    plain = fit_blocks(examined.blocks, examined.samples, basis)
    weighed = _weigh(plain, examined.samples, options)
    if lone:
        weighed = [_not_named(w) for w in weighed]
        examined = replace(examined, findings=(*examined.findings, recirculation_finding()))
    named = [w for w in weighed if w.test.status == "named"]
    forms = [] if options.force_cause else [w.form for w in named]
    fit = fit_blocks(examined.blocks, examined.samples, basis, forms) if forms else plain
    cells = make_cells(table, fit, max_step=options.max_step)
    return _result(table, fit, cells, examined, [w.test for w in weighed], options)


def _with_recirculation(samples: ReferenceSamples) -> ReferenceSamples:
    """Widen the breathing routes by what an open valve displaces and the mask may leave in."""
    wide = tuple(
        replace(r, u_between=float(np.hypot(r.u_between, U_RECIRCULATION))) for r in samples.routes
    )
    return replace(samples, routes=wide)


def _enough(blocks: Blocks, where: str) -> Blocks:
    usable = int(np.count_nonzero(blocks.present))
    if usable < MIN_BLOCKS:
        raise InputError(
            "too few usable samples to rescale the table",
            where=where,
            got=f"{usable} half-second blocks with sensor and a route to the true flow",
            allowed=f"at least {MIN_BLOCKS}, with the signal inside the table",
            fix="log longer; see `airsense channels LOG` for what was recognised",
        )
    return blocks


def _examine_routes(blocks: Blocks, samples: ReferenceSamples, basis: SplineBasis) -> Examined:
    """Take a route out that contradicts the sensor and the other route; name it."""
    gaps = compare_routes(blocks, samples, basis)
    apart = [g for g in gaps if abs(g.z) > DISAGREE_Z]
    suspects = [_suspect(g) for g in apart]
    findings = tuple(gap_finding(g, s) for g, s in zip(apart, suspects, strict=True))
    dropped = suspects[0] if suspects else ""
    if not apart:
        used, own = samples, blocks
    elif dropped:
        keep = [k for k, r in enumerate(samples.routes) if r.method != dropped]
        used = replace(samples, routes=tuple(samples.routes[k] for k in keep))
        own = replace(blocks, residual=blocks.residual[keep])
        own = own.pick(np.asarray(np.isfinite(own.residual).any(axis=0)))
    else:
        used, own = _doubted(samples, apart), blocks
    return Examined(samples=used, blocks=own, gaps=gaps, dropped=dropped, findings=findings)


def _suspect(gap: RouteGap) -> str:
    """Return the route that stands alone against the other route and an unchanged sensor."""
    rows = [
        (abs(gap.first_skew) / gap.u_first, gap.first),
        (abs(gap.second_skew) / gap.u_second, gap.second),
    ]
    (agrees, _), (differs, name) = sorted(rows)
    return name if agrees < AGREE_Z and differs > agrees + DISAGREE_Z else ""


def _doubted(samples: ReferenceSamples, gaps: Sequence[RouteGap]) -> ReferenceSamples:
    """Widen the routes until their difference is no surprise: nobody knows which is wrong."""
    extra = max(abs(g.gap.value) for g in gaps)
    return replace(
        samples,
        routes=tuple(replace(r, u_between=np.hypot(r.u_between, extra)) for r in samples.routes),
    )


def _weigh(fit: Fit, samples: ReferenceSamples, options: Options) -> list[Weighed]:
    """Weigh the causes; of several that the data call for, only the likeliest is named."""
    families = (leak_signatures(fit.blocks), pulsation_signatures(fit.blocks))
    weighed = [
        weigh_cause(fit, samples, forms, options.probability(forms[0].name))
        for forms in families
        if forms
    ]
    first = max(weighed, key=lambda w: w.test.odds, default=None)
    return [w if w is first else _not_named(w) for w in weighed]


def _not_named(weighed: Weighed) -> Weighed:
    if weighed.test.status != "named":
        return weighed
    return replace(weighed, test=replace(weighed.test, status="not_excluded"))


def _result(
    table: TransferTable,
    fit: Fit,
    cells: tuple[Cell, ...],
    examined: Examined,
    causes: Sequence[CauseTest],
    options: Options,
) -> RescaleResult:
    scale = _scale(fit)
    covariates = _covariates(fit, examined.samples)
    findings = (
        *examined.findings,
        *_told(causes, covariates, options),
        *table_findings(cells, options.max_step),
        *_references(fit, examined, scale),
        *mistyped_rows(table),
    )
    refused = any(f.code in REFUSING for f in findings) and not options.force_cause
    decision = _decide(fit, cells, scale, refused=refused)
    bore = _bore(scale, options)
    runs = int(np.unique(fit.blocks.run[fit.blocks.present]).size)
    return RescaleResult(
        decision=decision,
        sentence=_sentence(decision, fit, cells, scale, bore, options),
        model=fit.model,
        scale=scale,
        signal_unit=table.kind.value,
        cells=tuple(kept(cell) for cell in cells) if refused else cells,
        residual_before=_rms(fit.raw_residual()),
        residual_after=_rms(fit.left_residual()),
        residual_left_out=_rms(fit.left_out),
        degrees_of_freedom=fit.dof,
        runs=runs,
        baseline_runs=int(np.unique(fit.blocks.run).size) - runs,
        routes=_routes(examined),
        route_gaps=examined.gaps,
        causes=tuple(causes),
        covariates=covariates,
        equivalent_bore_m=bore,
        bore_after_m=options.bore_after_m,
        findings=findings,
    )


def _covariates(fit: Fit, samples: ReferenceSamples) -> tuple[CovariateTest, ...]:
    tested = (
        ("engine_speed", fit.blocks.speed_rpm),
        ("manifold_pressure", fit.blocks.p_manifold_pa),
    )
    return tuple(weigh_covariate(fit, samples, name, values) for name, values in tested)


def _told(
    causes: Sequence[CauseTest], covariates: Sequence[CovariateTest], options: Options
) -> list[Finding]:
    told = [cause_finding(c, forced=options.force_cause) for c in causes]
    told += [covariate_finding(c) for c in covariates]
    return [finding for finding in told if finding is not None]


def _references(fit: Fit, examined: Examined, scale: Interval) -> list[Finding]:
    """Return what the true flow rests on, where that is little."""
    baseline = bool(np.any(~fit.blocks.present))
    own = [] if baseline else [baseline_finding(scale.half_width)]
    return [*own, *_one_route(fit, examined, scale)]


def _one_route(fit: Fit, examined: Examined, scale: Interval) -> list[Finding]:
    """Return what a single route cannot tell, unless a second one was looked at and dropped."""
    if len(examined.samples.routes) > 1 or examined.dropped:
        return []
    method = examined.samples.routes[0].method
    change = reading_change(fit.blocks)
    if change is not None and change.leaves_it_to_the_route(float(np.log(scale.value))):
        return [still_reading_finding(method, change.change_ln, scale)]
    return [single_route_finding(method)]


def _scale(fit: Fit) -> Interval:
    """Return the mean correction over the range that was logged, weighted evenly over ln(flow)."""
    from scipy.special import stdtrit

    axis = fit.blocks.axis[fit.blocks.present]
    low, high = (float(q) for q in np.quantile(axis, (0.02, 0.98)))
    mean, u = fit.average(np.linspace(low, high, 40))
    half = float(stdtrit(fit.dof, 0.975)) * u
    return Interval(float(np.exp(mean)), float(np.exp(mean - half)), float(np.exp(mean + half)))


def _decide(fit: Fit, cells: Sequence[Cell], scale: Interval, *, refused: bool) -> Decision:
    if refused:
        return Decision.REFUSED
    measured = [c for c in cells if c.support is Support.MEASURED]
    unchanged = scale.contains(1.0)
    if fit.model is Model.SHAPE:
        unchanged = unchanged and all(c.low <= 1.0 <= c.high for c in measured)
    return Decision.LEAVE_IT if unchanged else Decision.CHANGE


def _rms(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(finite**2))) if finite.size else float("nan")


def _routes(examined: Examined) -> tuple[RouteUse, ...]:
    rows = [RouteUse(method=r.method, used=True, reason="used") for r in examined.samples.routes]
    if examined.dropped:
        reason = "contradicts the other route and the sensor; left out and named"
        rows.append(RouteUse(method=examined.dropped, used=False, reason=reason))
    return tuple(rows)


def _bore(scale: Interval, options: Options) -> Interval | None:
    if options.bore_before_m is None:
        return None
    return equivalent_bore(options.bore_before_m, _skew(scale))


def _skew(scale: Interval) -> Interval:
    """Return indicated over true, less 1, from the correction."""
    return Interval(1.0 / scale.value - 1.0, 1.0 / scale.high - 1.0, 1.0 / scale.low - 1.0)


def _sentence(
    decision: Decision,
    fit: Fit,
    cells: Sequence[Cell],
    scale: Interval,
    bore: Interval | None,
    options: Options,
) -> str:
    factor = f"{scale.value:.3f} ({scale.low:.3f} to {scale.high:.3f})"
    if decision is Decision.REFUSED:
        text = (
            "Refused: the difference is not, or not surely, the sensor's; see the findings. "
            "Mend that first, or repeat with --force-cause. The table stays as it is; what is "
            f"left for it would be a factor of {factor}."
        )
    elif decision is Decision.LEAVE_IT:
        text = (
            f"Leave it: the flows would change by a factor of {factor}, and no change lies "
            "inside that interval. If these logs were taken with this table in force, it has "
            "converged."
        )
    elif fit.model is Model.SCALE:
        text = (
            f"One factor fits: multiply the flows by {factor}; the sensor reads "
            f"{100.0 * _skew(scale).value:+.1f} %."
        )
    else:
        known = [c for c in cells if c.support is not Support.HELD] or list(cells)
        low = 100.0 * (min(c.correction for c in known) - 1.0)
        high = 100.0 * (max(c.correction for c in known) - 1.0)
        text = (
            f"A shape over the signal fits better than one factor: corrections from {low:+.1f} % "
            f"to {high:+.1f} %, on average a factor of {factor}."
        )
    if bore is not None and options.bore_before_m is not None and decision is Decision.CHANGE:
        text += " " + bore_sentence(options.bore_before_m, _skew(scale), bore)
        if options.bore_after_m is not None:
            agree = "agrees" if bore.contains(options.bore_after_m) else "does not agree"
            text += f" The declared {options.bore_after_m * 1e3:.1f} mm {agree}."
    return text
