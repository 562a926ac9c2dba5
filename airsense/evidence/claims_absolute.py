"""Checks of one printed configuration: are its figures possible for such an engine?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from airsense.evidence import claims_priors as prior
from airsense.evidence.claims_draws import Source, change_interval, interval_of
from airsense.evidence.claims_findings import (
    AuditFinding,
    Check,
    Outcome,
    judge_inside,
    judge_zero,
    percent,
    settle_phrase,
    span_interval,
)
from airsense.evidence.claims_point import Point
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.setup.engine import Ignition

FloatArray = NDArray[np.float64]

SMOKE_LIMIT_LAMBDA = 1.2  # validated mean-value diesel model; handbook range 1.1 to 1.3
DECLARED_VE_REACH = 0.15
LAMBDA_AGREES_WITHIN = 0.2
# Efficiency that turns power into needed fuel where no fuel is printed.
_FULL_LOAD_EFFICIENCY = {
    Ignition.COMPRESSION: prior.Span(0.32, 0.44, "handbook"),
    Ignition.SPARK: prior.Span(0.22, 0.37, "handbook"),
}
_IMPOSSIBLE = (
    "one of the figures is wrong, or its label, unit or place of measurement is not what it seems"
)


def check_point(point: Point) -> Iterator[AuditFinding]:
    """Yield the absolute checks that the printed figures of a configuration allow."""
    for check in (_volumetric_efficiency, _lambda, _brake_efficiency, _air_for_power):
        yield from check(point)


def ln_ideal_flow(point: Point) -> FloatArray | None:
    """Return ln(air flow / (kg/s)) at a volumetric efficiency of 1; None without pressure."""
    if point.p_manifold_pa is None or point.t_charge_k is None:
        return None
    engine = point.context.claims.engine
    swept = engine.displacement_m3 * engine.cycles_per_rev / 60.0
    ln_density = np.log(point.p_manifold_pa / (R_DRY_AIR_JPKGK * point.t_charge_k))
    return np.asarray(ln_density + point.ln_speed_or_shared + math.log(swept))


def ln_implied_lambda(point: Point) -> FloatArray | None:
    """Return ln(lambda) that the indicated air and the fuel imply."""
    if point.ln_air is None or point.ln_fuel is None:
        return None
    return point.ln_air - point.ln_fuel - math.log(point.context.fuel.afr_stoich)


def _inside(
    check: Check, point: Point, value: FloatArray, span: prior.Span, *, what: str, cures: str
) -> AuditFinding:
    outcome = judge_inside(value, span)
    shares = point.context.draws.shares(value)
    found = interval_of(value)
    limits = f"{span.low:.2f} to {span.high:.2f}"
    said = f"{what} {found.value:.2f} ({found.low:.2f} to {found.high:.2f})"
    words = {
        Outcome.SUPPORTED: f"{said}, which such an engine can have ({limits}).",
        Outcome.UNDETERMINED: f"{said}; possible is {limits}: doubtful, not excluded.",
        Outcome.CONTRADICTED: f"{said}, but only {limits} is possible: {_IMPOSSIBLE}.",
    }
    return AuditFinding(
        check=check,
        subject=point.configuration.name,
        outcome=outcome,
        measured=found,
        expected=span_interval(span),
        sentence=words[outcome],
        settle_by=settle_phrase(shares, extra=cures if outcome is not Outcome.SUPPORTED else ""),
        unit="1",
        budget=shares,
    )


def _volumetric_efficiency(point: Point) -> Iterator[AuditFinding]:
    ideal = ln_ideal_flow(point)
    if ideal is None or point.ln_air is None or point.ln_speed is None:
        return
    engine = point.context.claims.engine
    span = prior.possible(engine).volumetric_efficiency
    declared = engine.volumetric_efficiency
    if isinstance(declared, float):
        span = prior.Span(
            declared * (1.0 - DECLARED_VE_REACH), declared * (1.0 + DECLARED_VE_REACH), "declared"
        )
    yield _inside(
        Check.VOLUMETRIC_EFFICIENCY,
        point,
        np.exp(point.ln_air - ideal),
        span,
        what="The air flow, boost and speed imply a volumetric efficiency of",
        cures="the unit and the operating point of air flow, boost and speed",
    )


def _lambda(point: Point) -> Iterator[AuditFinding]:
    span = prior.possible(point.context.claims.engine).lambda_
    implied, printed = ln_implied_lambda(point), point.ln_lambda
    if implied is not None:
        finding = _inside(
            Check.LAMBDA,
            point,
            np.exp(implied),
            span,
            what="Air and fuel imply a lambda of",
            cures="lambda from a wide-band sensor in the exhaust",
        )
        yield _with_smoke(finding, point)
    elif printed is not None:
        yield _inside(
            Check.LAMBDA,
            point,
            np.exp(printed),
            span,
            what="Lambda is given as",
            cures="its source",
        )
    if implied is not None and printed is not None:
        yield _lambda_agrees(point, implied - printed)


def _with_smoke(finding: AuditFinding, point: Point) -> AuditFinding:
    diesel = point.context.claims.engine.ignition is Ignition.COMPRESSION
    smoky = finding.measured is not None and finding.measured.high < SMOKE_LIMIT_LAMBDA
    if not (diesel and smoky) or finding.outcome is Outcome.CONTRADICTED:
        return finding
    note = f" It lies below the usual smoke limit of {SMOKE_LIMIT_LAMBDA}: expect smoke."
    return replace(finding, sentence=finding.sentence + note)


def _lambda_agrees(point: Point, difference: FloatArray) -> AuditFinding:
    outcome = judge_zero(difference, useful=LAMBDA_AGREES_WITHIN)
    shares = point.context.draws.shares(difference)
    gap = change_interval(difference)
    words = {
        Outcome.SUPPORTED: "agrees with the air and fuel printed beside it",
        Outcome.UNDETERMINED: "neither agrees well with the air and fuel nor contradicts them",
        Outcome.CONTRADICTED: "does not go with the air and fuel printed beside it",
    }
    assert point.ln_lambda is not None
    return AuditFinding(
        check=Check.LAMBDA,
        subject=f"{point.configuration.name}: printed lambda",
        outcome=outcome,
        measured=interval_of(np.exp(point.ln_lambda + difference)),
        expected=interval_of(np.exp(point.ln_lambda)),
        sentence=f"The printed lambda {words[outcome]}: those imply one that is "
        f"{percent(gap.value)} off ({percent(gap.low)} to {percent(gap.high)}).",
        settle_by=settle_phrase(shares, extra="whether lambda is measured or calculated"),
        unit="1",
        difference=gap,
        budget=shares,
    )


def _brake_efficiency(point: Point) -> Iterator[AuditFinding]:
    if point.ln_engine_power is None or point.ln_fuel is None:
        return
    ask = Source("heating value of the fuel", "the fuel")
    heat = math.log(point.context.fuel.lhv_jpkg) + prior.FUEL_HEATING_VALUE_U * (
        point.context.draws.normal("heating value", ask)
    )
    yield _inside(
        Check.BRAKE_EFFICIENCY,
        point,
        np.exp(point.ln_engine_power - point.ln_fuel - heat),
        prior.possible(point.context.claims.engine).brake_efficiency,
        what="Power and fuel imply a brake efficiency of",
        cures="fuel flow weighed or metered, and where the power was measured",
    )


def _air_for_power(point: Point) -> Iterator[AuditFinding]:
    """Is the air enough, and not far too much, for the fuel that the power needs?"""
    power, air, fuel = point.ln_engine_power, point.ln_air, point.context.fuel
    if power is None or air is None:
        return
    engine = point.context.claims.engine
    span = _FULL_LOAD_EFFICIENCY[engine.ignition]
    ask = Source("brake efficiency", "the fuel quantity")
    drawn = point.context.draws.uniform("brake efficiency", ask)
    efficiency = 0.5 * (span.low + span.high) + 0.5 * (span.high - span.low) * drawn
    needed = power - np.log(efficiency) - math.log(fuel.lhv_jpkg)
    yield _inside(
        Check.POWER_VS_AIRFLOW,
        point,
        np.exp(air - needed - math.log(fuel.afr_stoich)),
        prior.possible(engine).lambda_,
        what="Burning the fuel that this power needs in the indicated air takes a lambda of",
        cures="the fuel quantity",
    )
