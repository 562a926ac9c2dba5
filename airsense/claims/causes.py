"""What can have made a gain: lower restriction, or the sensor through the fuelling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims import priors as prior
from airsense.claims.change import Pair, ln_skews
from airsense.claims.draws import Source, change_interval
from airsense.claims.findings import (
    TAIL,
    AuditFinding,
    Check,
    Outcome,
    between,
    change,
    percent,
    settle_phrase,
    sign_of,
)

ASK_DEPRESSION = Source("intake depression", "the intake depression of both at full load")
# The sensor can have made a gain if most of the skew that this takes fits the figures.
FEEDBACK_SHARE = 0.8
# ... and cannot have made it if the largest skew that fits makes less than this part of it.
NO_FEEDBACK_SHARE = 0.5


def check_causes(pair: Pair) -> Iterator[AuditFinding]:
    """Yield the checks of causes for a pair that shows a gain."""
    for check in (_restriction_ceiling, _feedback):
        finding = check(pair)
        if finding is not None:
            yield finding


def _restriction_ceiling(pair: Pair) -> AuditFinding | None:
    """At one compressor pressure ratio the manifold follows the pressure at the inlet."""
    gain, label = pair.ln_pressure_change(), "manifold pressure"
    if gain is None or not (pair.before.prints_pressure and pair.after.prints_pressure):
        gain, label = pair.ln_change("ln_air"), "indicated air"
    if gain is None or not (sign_of(gain) > 0):
        return None
    ceiling, printed = _ln_ceiling(pair)
    excess = gain - ceiling
    outcome = _judge_ceiling(excess)
    shares = pair.before.context.draws.shares(excess)
    top = change_interval(ceiling)
    most = percent(top.value) if printed else f"{percent(top.low)} to {percent(top.high)}"
    facts = (
        f"At an unchanged compressor pressure ratio, removing intake restriction can raise "
        f"{label} by at most {most}; it changed by {change(gain)}"
    )
    words = {
        Outcome.SUPPORTED: f"{facts}: lower restriction can explain it.",
        Outcome.UNDETERMINED: f"{facts}: whether restriction explains it is open.",
        Outcome.CONTRADICTED: f"{facts}: restriction alone cannot explain it; boost control or "
        "fuelling changed as well.",
    }
    extra = "" if printed or outcome is Outcome.SUPPORTED else ASK_DEPRESSION.settle_by
    if outcome is Outcome.CONTRADICTED:
        extra = "boost target, boost-control duty and fuel quantity of both"
    return AuditFinding(
        check=Check.RESTRICTION_CEILING,
        subject=pair.subject,
        outcome=outcome,
        measured=change_interval(gain),
        expected=top,
        sentence=words[outcome],
        settle_by=settle_phrase(shares, extra=extra),
        difference=change_interval(excess),
        budget=shares,
    )


def _judge_ceiling(excess: FloatArray) -> Outcome:
    above = float(np.mean(excess > 0.0))
    if above > 1.0 - TAIL:
        return Outcome.CONTRADICTED
    return Outcome.SUPPORTED if above < 0.05 else Outcome.UNDETERMINED


def _ln_ceiling(pair: Pair) -> tuple[FloatArray, bool]:
    """Return draws of the largest ln gain, and whether depressions are printed."""
    ambient = pair.before.p_ambient_pa
    first, second = pair.before.depression_pa, pair.after.depression_pa
    printed = first is not None
    if first is None:
        span = prior.RESTRICTION_PA
        drawn = pair.before.context.draws.uniform(f"depression:{pair.subject}", ASK_DEPRESSION)
        first = 0.5 * (span.low + span.high) + 0.5 * (span.high - span.low) * drawn
    left = np.zeros_like(first) if second is None else second
    return np.log((ambient - left) / (ambient - first)), printed


def _feedback(pair: Pair) -> AuditFinding | None:
    """Could an over-reading sensor, through fuelling, have made the power?"""
    power, fuel = pair.ln_change("ln_power_measured"), pair.ln_change("ln_fuel")
    if power is None or not (sign_of(power) > 0):
        return None
    if fuel is not None and float(np.mean(fuel > NO_FEEDBACK_SHARE * power)) < 0.025:
        return _said(
            pair,
            Outcome.SUPPORTED,
            power,
            sentence=f"Fuel changes by {change(fuel)} while power changes by {change(power)}: "
            "the sensor did not make this power through the fuelling.",
        )
    needed = power if fuel is None else fuel
    skews = ln_skews(pair)
    if not skews:
        return _said(
            pair,
            Outcome.UNDETERMINED,
            power,
            sentence=f"A sensor that reads {change(needed)} high would fuel for this power by "
            "itself; nothing printed excludes that.",
            settle="boost, or fuel with a measured lambda, beside the indicated air",
        )
    skew = min(skews, key=lambda draws: float(np.var(draws)))
    return _weigh(pair, power, needed, skew)


def _weigh(pair: Pair, power: FloatArray, needed: FloatArray, skew: FloatArray) -> AuditFinding:
    found = change_interval(skew)
    facts = (
        f"A sensor that reads {change(needed)} high would fuel for this power by itself; "
        f"the figures allow a skew of {between(found)}"
    )
    if found.high < NO_FEEDBACK_SHARE * float(np.expm1(np.median(needed))):
        outcome, tail = Outcome.SUPPORTED, ": the gain is not the sensor's own doing."
    elif (
        float(np.mean(skew <= 0.0)) < TAIL and float(np.mean(skew >= FEEDBACK_SHARE * needed)) > 0.5
    ):
        outcome, tail = Outcome.CONTRADICTED, ": the skew alone can have made the power."
    else:
        outcome, tail = Outcome.UNDETERMINED, ": part or all of the gain may be its doing."
    shares = pair.before.context.draws.shares(skew)
    return _said(
        pair,
        outcome,
        needed,
        sentence=facts + tail,
        settle=settle_phrase(shares, extra="lambda from a wide-band sensor of both"),
        skew=skew,
    )


def _said(
    pair: Pair,
    outcome: Outcome,
    needed: FloatArray,
    *,
    sentence: str,
    settle: str = "",
    skew: FloatArray | None = None,
) -> AuditFinding:
    return AuditFinding(
        check=Check.FEEDBACK,
        subject=pair.subject,
        outcome=outcome,
        measured=None if skew is None else change_interval(skew),
        expected=change_interval(needed),
        sentence=sentence,
        settle_by=settle,
        budget=() if skew is None else pair.before.context.draws.shares(skew),
    )
