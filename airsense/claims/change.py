"""Checks of a pair: do the printed changes of air, pressure, fuel and power go together?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.claims import priors as prior
from airsense.claims.absolute import ln_ideal_flow, ln_implied_lambda
from airsense.claims.draws import Source, change_interval
from airsense.claims.findings import (
    TAIL,
    AuditFinding,
    Check,
    Outcome,
    between,
    change,
    judge_zero,
    settle_phrase,
)
from airsense.claims.point import Point
from airsense.claims.priors import VE_PER_PRESSURE
from airsense.claims.units import Kind, possible_mix
from airsense.results import Interval
from airsense.setup.engine import Ignition

# Agreement is worth a word if the 95 % interval is no wider than this on either side.
USEFUL_CHANGE = 0.05
USEFUL_POWER_PER_AIR = 0.15
# A smaller difference is no mix of units.
LARGE = 0.2
_MADE_OF = {
    Check.AIRFLOW_VS_PRESSURE: (Kind.FLOW, Kind.PRESSURE),
    Check.LAMBDA: (Kind.FLOW,),
    Check.FUEL_VS_POWER: (Kind.POWER, Kind.FLOW),
    Check.POWER_VS_AIRFLOW: (Kind.POWER, Kind.FLOW),
}
# Full-load mixture of a diesel may move this much (k = 1) when only the tune's limits hold it.
DIESEL_LAMBDA_CHANGE_U = 0.05


@dataclass(frozen=True, slots=True)
class Pair:
    """Two configurations at one tune."""

    before: Point
    after: Point

    @property
    def intakes(self) -> str:
        """The two intakes and their tune in words."""
        first, second = self.before.configuration, self.after.configuration
        tail = f" ({first.tune})" if first.tune else ""
        return f"{first.intake} -> {second.intake}{tail}"

    @property
    def subject(self) -> str:
        """The pair in words."""
        speeds = {p.configuration.speed_text for p in (self.before, self.after)} - {""}
        at = f" at {' / '.join(sorted(speeds))}" if speeds else ""
        return f"{self.intakes}{at}"

    def ln_change(self, quantity: str) -> FloatArray | None:
        """Return draws of the logarithm of after / before, None unless both are printed.

        `quantity` names a property of `Point`: "ln_air", "ln_fuel", "ln_lambda", "ln_power".
        """
        first, second = getattr(self.before, quantity), getattr(self.after, quantity)
        return None if first is None or second is None else second - first

    def ln_pressure_change(self) -> FloatArray | None:
        """Return draws of the logarithm of the ratio of absolute manifold pressures."""
        first, second = self.before.p_manifold_pa, self.after.p_manifold_pa
        return None if first is None or second is None else np.log(second / first)

    @property
    def u_of_speed(self) -> float:
        """What breathing and efficiency differ by where the two were run at different speeds."""
        first, second = (p.printed("engine_speed") for p in (self.before, self.after))
        if first is None or second is None:
            return 0.0
        return prior.BREATHING_PER_SPEED * abs(math.log(second.value / first.value))

    def normal(self, key: str, source: Source) -> FloatArray:
        """Return standard normal draws that belong to this pair."""
        return self.before.context.draws.normal(f"{key}:{self.subject}", source)


def check_pair(pair: Pair) -> Iterator[AuditFinding]:
    """Yield the checks of change that the printed figures of a pair allow."""
    for check in (_airflow_vs_pressure, _lambda_change, _fuel_vs_power, _power_vs_airflow):
        finding = check(pair)
        if finding is not None:
            yield finding


def ln_pressure_route(pair: Pair) -> FloatArray | None:
    """Return draws of the logarithmic change of air that pressure, temperature, speed explain."""
    first, second = ln_ideal_flow(pair.before), ln_ideal_flow(pair.after)
    pressure = pair.ln_pressure_change()
    shown = pair.before.prints_pressure and pair.after.prints_pressure
    if first is None or second is None or pressure is None or not shown:
        return None
    ask = Source("volumetric efficiency", "intake and exhaust pressure at the engine")
    own = math.hypot(pair.before.context.sizes.volumetric_efficiency.run, pair.u_of_speed)
    u = np.hypot(own, VE_PER_PRESSURE * pressure)
    return np.asarray(second - first + u * pair.normal("breathing", ask))


def ln_lambda_route(pair: Pair) -> FloatArray | None:
    """Return draws of the logarithmic change of air that fuel and printed lambda explain."""
    fuel, lambda_ = pair.ln_change("ln_fuel"), pair.ln_change("ln_lambda")
    return None if fuel is None or lambda_ is None else fuel + lambda_


def ln_skews(pair: Pair) -> tuple[FloatArray, ...]:
    """Return draws of ln(indicated / true change of air) by each route that can be had."""
    air = pair.ln_change("ln_air")
    return () if air is None else tuple(air - route for route in ln_routes(pair))


def ln_routes(pair: Pair) -> tuple[FloatArray, ...]:
    """Return draws of the logarithmic change of the engine's air, by each route that can be had."""
    routes = (ln_pressure_route(pair), ln_lambda_route(pair))
    return tuple(route for route in routes if route is not None)


def _finding(
    check: Check,
    pair: Pair,
    measured: FloatArray,
    expected: FloatArray,
    *,
    useful: float,
    words: dict[Outcome, str],
    settle: str,
    part: str = "",
) -> AuditFinding:
    difference = measured - expected
    outcome = judge_zero(difference, useful=useful)
    of_the_day = check is Check.AIRFLOW_VS_PRESSURE and _may_be_the_day(difference, pair)
    if outcome is Outcome.CONTRADICTED and of_the_day:
        outcome = Outcome.UNDETERMINED
    hint = ""
    if outcome is Outcome.CONTRADICTED:
        gap = change_interval(difference)
        ratio = Interval(1.0 + gap.value, 1.0 + gap.low, 1.0 + gap.high)
        hint = possible_mix(_MADE_OF[check], ratio) if abs(gap.value) > LARGE else ""
    shares = pair.before.context.draws.shares(difference)
    return AuditFinding(
        check=check,
        subject=pair.subject + part,
        outcome=outcome,
        measured=change_interval(measured),
        expected=change_interval(expected),
        sentence=words[outcome] + hint,
        settle_by=settle_phrase(shares, extra=settle if outcome is Outcome.CONTRADICTED else ""),
        difference=change_interval(difference),
        budget=shares,
    )


def _may_be_the_day(difference: FloatArray, pair: Pair) -> bool:
    """Return whether charge of another day explains a gap, were such days as likely as may be."""
    if pair.before.printed("charge_temperature"):
        return False
    other_days: BoolArray = pair.before.of_two_days
    if not other_days.any() or other_days.all():
        return False
    against = np.sign(difference) != np.sign(np.median(difference))
    share = prior.ACCUSED_OF_TWO_DAYS
    tail = share * np.mean(against[other_days]) + (1.0 - share) * np.mean(against[~other_days])
    return bool(tail >= TAIL)


def _airflow_vs_pressure(pair: Pair) -> AuditFinding | None:
    air, route = pair.ln_change("ln_air"), ln_pressure_route(pair)
    if air is None or route is None:
        return None
    gap = change_interval(air - route)
    facts = (
        f"Indicated air changes by {change(air)}; absolute pressure and charge temperature "
        f"explain {change(route)}"
    )
    words = {
        Outcome.SUPPORTED: f"{facts}: no sensor skew shows; one would lie within {between(gap)}.",
        Outcome.UNDETERMINED: f"{facts}; a sensor skew of {between(gap)} fits the figures.",
        Outcome.CONTRADICTED: f"{facts}: {between(gap)} is left over, so the sensor's reading "
        "changed, or a pressure or temperature is not what it seems.",
    }
    return _finding(
        Check.AIRFLOW_VS_PRESSURE,
        pair,
        air,
        route,
        useful=USEFUL_CHANGE,
        words=words,
        settle="lambda from a wide-band sensor with the fuel quantity; the bore at the sensor",
    )


def _lambda_change(pair: Pair) -> AuditFinding | None:
    air, route = pair.ln_change("ln_air"), ln_lambda_route(pair)
    if air is None or route is None:
        return None
    gap = change_interval(air - route)
    facts = f"Indicated air changes by {change(air)}; fuel and lambda explain {change(route)}"
    words = {
        Outcome.SUPPORTED: f"{facts}: they agree, if lambda is measured in the exhaust.",
        Outcome.UNDETERMINED: f"{facts}; a sensor skew of {between(gap)} fits the figures.",
        Outcome.CONTRADICTED: f"{facts}: {between(gap)} is left over, so the sensor's reading, "
        "the fuel scale or the lambda changed.",
    }
    return _finding(
        Check.LAMBDA,
        pair,
        air,
        route,
        useful=USEFUL_CHANGE,
        words=words,
        settle="whether lambda is measured or calculated; boost and charge temperature",
        part=", air against fuel and lambda",
    )


def _fuel_vs_power(pair: Pair) -> AuditFinding | None:
    power, fuel = pair.ln_change("ln_power_measured"), pair.ln_change("ln_fuel")
    if power is None or fuel is None:
        return None
    efficiency = _ln_efficiency_change(pair, _ln_lambda_change(pair))
    needed = change_interval(power - fuel)
    facts = (
        f"Power changes by {change(power)} on {change(fuel)} fuel, "
        f"an efficiency change of {change(power - fuel)} ({between(needed)})"
    )
    allowed = f"the intake can give {between(change_interval(efficiency))}"
    words = {
        Outcome.SUPPORTED: f"{facts}: power follows the fuel.",
        Outcome.UNDETERMINED: f"{facts}; {allowed}.",
        Outcome.CONTRADICTED: f"{facts}, but {allowed}: the power or the fuel figures are not "
        "of the same operating point, or one of them is wrong.",
    }
    return _finding(
        Check.FUEL_VS_POWER,
        pair,
        power,
        fuel + efficiency,
        useful=USEFUL_CHANGE,
        words=words,
        settle="fuel by weight or meter at the power peak",
    )


def _power_vs_airflow(pair: Pair) -> AuditFinding | None:
    power, air = pair.ln_change("ln_power_measured"), pair.ln_change("ln_air")
    if power is None or air is None:
        return None
    mixture = _ln_lambda_change(pair, with_air=False)
    if mixture is None:
        spark = pair.before.context.claims.engine.ignition is Ignition.SPARK
        u = prior.SPARK_LAMBDA_CHANGE_U if spark else DIESEL_LAMBDA_CHANGE_U
        ask = Source("change of lambda", "lambda from a wide-band sensor in the exhaust")
        mixture = math.hypot(u, pair.u_of_speed) * pair.normal("mixture", ask)
    expected = air - mixture + _ln_efficiency_change(pair, mixture)
    facts = f"Power changes by {change(power)} on {change(air)} indicated air"
    words = {
        Outcome.SUPPORTED: f"{facts}, which go together.",
        Outcome.UNDETERMINED: f"{facts}; too open to say whether they go together.",
        Outcome.CONTRADICTED: f"{facts}; air would give {between(change_interval(expected))}: "
        "mixture, timing or one of the readings changed as well.",
    }
    return _finding(
        Check.POWER_VS_AIRFLOW,
        pair,
        power,
        expected,
        useful=USEFUL_POWER_PER_AIR,
        words=words,
        settle="fuel quantity and lambda of both",
    )


def _ln_lambda_change(pair: Pair, *, with_air: bool = True) -> FloatArray | None:
    """Return the change of lambda: as printed, or (with_air) as air and fuel imply it."""
    printed = pair.ln_change("ln_lambda")
    if printed is not None or not with_air:
        return printed
    first, second = ln_implied_lambda(pair.before), ln_implied_lambda(pair.after)
    return None if first is None or second is None else second - first


def _ln_efficiency_change(pair: Pair, ln_lambda_change: FloatArray | None) -> FloatArray:
    """Return draws of the change of brake efficiency that an intake change can bring."""
    context = pair.before.context
    spark = context.claims.engine.ignition is Ignition.SPARK
    ask = Source("brake efficiency", "exhaust temperature and ignition or injection timing")
    u = math.hypot(context.sizes.brake_efficiency.run, pair.u_of_speed)
    if spark:
        u = float(np.hypot(u, prior.SPARK_EFFICIENCY_CHANGE_U))
    own = u * pair.normal("efficiency", ask)
    slope = prior.EFFICIENCY_PER_LAMBDA_LEAN
    if spark and not _is_lean(pair):
        slope = prior.EFFICIENCY_PER_LAMBDA_RICH
    if ln_lambda_change is None:
        mixture_u = prior.SPARK_LAMBDA_CHANGE_U if spark else DIESEL_LAMBDA_CHANGE_U
        lambda_ask = Source("change of lambda", "lambda from a wide-band sensor in the exhaust")
        ln_lambda_change = mixture_u * pair.normal("mixture", lambda_ask)
    drawn = context.draws.uniform("efficiency per lambda", ask)
    per_lambda = 0.5 * (slope.low + slope.high) + 0.5 * (slope.high - slope.low) * drawn
    return np.asarray(own + per_lambda * ln_lambda_change)


def _is_lean(pair: Pair) -> bool:
    for ln_lambda in (pair.before.ln_lambda, ln_implied_lambda(pair.before)):
        if ln_lambda is not None:
            return float(np.median(ln_lambda)) > 0.0
    return False
