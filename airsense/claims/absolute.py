"""Checks of one printed configuration: are its figures possible for such an engine?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims import priors as prior
from airsense.claims.draws import Source, change_interval, interval_of
from airsense.claims.findings import (
    TAIL,
    AuditFinding,
    Check,
    Outcome,
    judge_inside,
    judge_zero,
    percent,
    settle_phrase,
    span_interval,
)
from airsense.claims.point import Point
from airsense.claims.units import PSI_IN_A_BAR, Kind, Mix, possible_mix
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.results import Interval
from airsense.setup.engine import Ignition

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
    checks = (
        _volumetric_efficiency,
        _lambda,
        _brake_efficiency,
        _air_for_power,
        _mean_effective_pressure,
    )
    for check in checks:
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


# The kinds of figure behind each check, and whether the value grows (+1) or falls (-1) with the
# absolute pressure; 0 where pressure has no part in it.
_MADE_OF = {
    Check.VOLUMETRIC_EFFICIENCY: ((Kind.FLOW, Kind.PRESSURE), -1),
    Check.LAMBDA: ((Kind.FLOW,), 0),
    Check.BRAKE_EFFICIENCY: ((Kind.POWER, Kind.FLOW), 0),
    Check.POWER_VS_AIRFLOW: ((Kind.POWER, Kind.FLOW), 0),
    Check.MEAN_EFFECTIVE_PRESSURE: ((Kind.POWER, Kind.PRESSURE), -1),
}


def _hint(check: Check, point: Point, found: Interval, span: Interval) -> str:
    """Return the mixes of units that would bring a value into its range, in a sentence."""
    kinds, with_pressure = _MADE_OF[check]
    middle = found.value / (span.low if found.value < span.low else span.high)
    ratio = Interval(middle, found.low / span.high, found.high / max(span.low, 1e-9))
    return possible_mix(kinds, ratio, _references(point) if with_pressure else ())


def _references(point: Point) -> tuple[Mix, ...]:
    """Return what another reading of the printed pressure makes of the absolute one."""
    if point.p_manifold_pa is None:
        return ()
    p, ambient = float(np.median(point.p_manifold_pa)), float(np.median(point.p_ambient_pa))
    if point.printed("manifold_pressure") is not None:
        return (Mix((p + ambient) / p, "gauge pressure printed as absolute"),)
    boost = point.printed("boost_pressure")
    if boost is None or boost.value < 0.2 * ambient:
        return ()
    return (
        Mix((p - ambient) / p, "absolute pressure printed as gauge"),
        Mix((boost.value / PSI_IN_A_BAR + ambient) / p, "psi printed as bar"),
        Mix((boost.value * PSI_IN_A_BAR + ambient) / p, "bar printed as psi"),
    )


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
    if outcome is Outcome.CONTRADICTED:
        words[outcome] += _hint(check, point, found, span_interval(span))
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


def _mean_effective_pressure(point: Point) -> Iterator[AuditFinding]:
    """Power against displacement, speed and boost: can any mixture and efficiency make it?"""
    power = point.ln_engine_power
    if power is None:
        return
    engine, fuel = point.context.claims.engine, point.context.fuel
    span = prior.possible(engine).power_per_air
    cycles = _ln_speed_or_any(point) + math.log(engine.displacement_m3 * engine.cycles_per_rev / 60)
    heat = _ln_density_or_any(point) + math.log(fuel.lhv_jpkg / fuel.afr_stoich)
    mean_pa = np.exp(power - cycles)
    top_pa = np.exp(heat) * span.high
    inside = float(np.mean(mean_pa <= top_pa))
    found, most = interval_of(mean_pa), interval_of(top_pa)
    limit = Interval(0.5 * most.high, 0.0, most.high)
    outcome = Outcome.CONTRADICTED if inside < TAIL else Outcome.SUPPORTED
    if outcome is Outcome.SUPPORTED and inside < 0.5:
        outcome = Outcome.UNDETERMINED
    at = f"{engine.displacement_l:g} l"
    facts = (
        f"The power of {at} takes a mean effective pressure of {found.value / 1e5:.1f} bar "
        f"({found.low / 1e5:.1f} to {found.high / 1e5:.1f})"
    )
    reach = f"at its pressure such an engine reaches at most {most.high / 1e5:.0f} bar"
    words = {
        Outcome.SUPPORTED: f"{facts}; {reach}.",
        Outcome.UNDETERMINED: f"{facts}; {reach}: doubtful, not excluded.",
        Outcome.CONTRADICTED: f"{facts}, but {reach}: {_IMPOSSIBLE}."
        + _hint(Check.MEAN_EFFECTIVE_PRESSURE, point, found, limit),
    }
    excess = np.log(mean_pa / top_pa)
    shares = point.context.draws.shares(excess)
    unsettled = outcome is not Outcome.SUPPORTED
    yield AuditFinding(
        check=Check.MEAN_EFFECTIVE_PRESSURE,
        subject=point.configuration.name,
        outcome=outcome,
        measured=found,
        expected=limit,
        sentence=words[outcome],
        settle_by=settle_phrase(
            shares, extra="where and in which unit the power was measured" if unsettled else ""
        ),
        unit="Pa",
        budget=shares,
    )


def _ln_speed_or_any(point: Point) -> FloatArray:
    if point.ln_speed is not None:
        return point.ln_speed
    span = prior.SPEED_RPM[point.context.claims.engine.ignition]
    return np.log(_drawn(point, "any speed", span, "the engine speed of each figure"))


def _ln_density_or_any(point: Point) -> FloatArray:
    """Return draws of ln(density at the valves), from any boost where none is printed."""
    p, t = point.p_manifold_pa, point.t_charge_k
    if p is None or t is None:
        p = _drawn(point, "any boost", prior.MANIFOLD_PA, "boost or manifold pressure of both")
        t = _drawn(point, "any charge", prior.CHARGE_K, "the charge temperature behind the cooler")
        low, high = prior.MANIFOLD_PA.low / 1e5, prior.MANIFOLD_PA.high / 1e5
        point.context.assume(
            "manifold pressure", f"{low:g} to {high:g} bar absolute", prior.MANIFOLD_PA.source
        )
    return np.asarray(np.log(p / (R_DRY_AIR_JPKGK * t)))


def _drawn(point: Point, key: str, span: prior.Span, ask: str) -> FloatArray:
    drawn = point.context.draws.uniform(key, Source(key, ask))
    return 0.5 * (span.low + span.high) + 0.5 * (span.high - span.low) * drawn
