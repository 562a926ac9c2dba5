"""From the findings to a verdict per claimed gain, in the words of `compare`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.evidence.claims_change import Pair, ln_skews
from airsense.evidence.claims_context import plain_name
from airsense.evidence.claims_draws import change_interval
from airsense.evidence.claims_findings import AuditFinding, Check, Outcome, between, change
from airsense.evidence.claims_repeat import ln_claimed_change
from airsense.evidence.verdict import DEFAULT_MARGIN, Verdict, inside_margin
from airsense.results import Interval
from airsense.setup.claims import Claim, ClaimedQuantity

FloatArray = NDArray[np.float64]

_AIR = (ClaimedQuantity.MASS_AIR_FLOW, ClaimedQuantity.AIR_PER_STROKE)
_POWER = (ClaimedQuantity.BRAKE_POWER, ClaimedQuantity.BRAKE_TORQUE)
# A contradiction in these leaves a claim of power, or of air, without ground.
_FATAL_FOR_POWER = {Check.FUEL_VS_POWER, Check.BRAKE_EFFICIENCY, Check.POWER_VS_AIRFLOW}
_FATAL_FOR_AIR = {Check.VOLUMETRIC_EFFICIENCY, Check.LAMBDA}
# A verdict needs more than a 95 % interval that misses zero: one in forty would be wrong.
CLAIM_PROBABILITY = 0.995


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimVerdict:
    """What the printed figures support of one claimed gain; `against` says what contradicts it."""

    claim: str
    quantity: str
    from_: str
    to: str
    tune: str
    verdict: Verdict
    change: Interval | None
    sentence: str
    against: tuple[str, ...] = ()


def sign_of(ln_change: FloatArray) -> int:
    """Return the sign of a change that is beyond doubt, else 0."""
    if float(np.mean(ln_change > 0.0)) >= CLAIM_PROBABILITY:
        return 1
    return -1 if float(np.mean(ln_change < 0.0)) >= CLAIM_PROBABILITY else 0


def decide_claim(claim: Claim, pair: Pair, findings: Sequence[AuditFinding]) -> ClaimVerdict:
    """Return the verdict on a claim from the findings on its pair, its rows and its numbers."""
    against = {f.check for f in findings if f.outcome is Outcome.CONTRADICTED}
    ln_change = ln_claimed_change(pair, claim.quantity)
    if claim.quantity in _AIR:
        verdict, sentence = _on_air(pair, against)
    else:
        verdict, sentence = _on_figure(claim, ln_change, against)
    first = pair.before.configuration
    stated = " / ".join(c.text for c in claim.printed_changes())
    says = "no difference beyond scatter" if claim.within_scatter else stated or "a change"
    return ClaimVerdict(
        claim=f"{plain_name(claim.quantity.value)}, {says}",
        quantity=claim.quantity.value,
        from_=claim.from_,
        to=claim.to,
        tune=first.tune,
        verdict=verdict,
        change=None if ln_change is None else change_interval(ln_change),
        sentence=sentence,
        against=tuple(f.sentence for f in findings if f.outcome is Outcome.CONTRADICTED),
    )


def _on_air(pair: Pair, against: set[Check]) -> tuple[Verdict, str]:
    air, skews = pair.ln_change("ln_air"), ln_skews(pair)
    if air is None or not skews:
        return Verdict.UNDETERMINED, (
            "Only the sensor's own reading is printed; without boost, or fuel and lambda, nothing "
            "says whether the air or the sensor changed."
        )
    if against & _FATAL_FOR_AIR:
        return Verdict.UNDETERMINED, "The air figures contradict others, so they show nothing."
    skew = min(skews, key=lambda draws: float(np.var(draws)))
    true = air - skew
    true_sign, skew_sign = sign_of(true), sign_of(skew)
    facts = (
        f"The sensor shows {change(air)}; the engine's air changed by "
        f"{between(change_interval(true))}, the sensor's reading by "
        f"{between(change_interval(skew))}"
    )
    if true_sign > 0:
        verdict = Verdict.PARTLY_SUPPORTED if skew_sign > 0 else Verdict.GAIN_SUPPORTED
    elif true_sign < 0:
        verdict = Verdict.LOSS_SUPPORTED
    elif skew_sign != 0:
        verdict = Verdict.SENSOR_SKEW
    elif inside_margin(change_interval(true), DEFAULT_MARGIN):
        verdict = Verdict.NO_CHANGE
    else:
        verdict = Verdict.UNDETERMINED
    return verdict, facts + "."


def _on_figure(
    claim: Claim, ln_change: FloatArray | None, against: set[Check]
) -> tuple[Verdict, str]:
    if ln_change is None:
        return Verdict.UNDETERMINED, "No check of such a quantity can be made from these figures."
    found = change_interval(ln_change)
    label = plain_name(claim.quantity.value)
    facts = f"The printed {label} changes by {change(ln_change)} ({between(found)})"
    sign = sign_of(ln_change)
    if sign == 0:
        if inside_margin(found, DEFAULT_MARGIN):
            return Verdict.NO_CHANGE, f"{facts}: no change beyond {DEFAULT_MARGIN:.0%}."
        return Verdict.UNDETERMINED, f"{facts}: not a resolved difference without repeats."
    if sign < 0:
        return Verdict.LOSS_SUPPORTED, f"{facts}: a loss."
    verdict, tail = _on_gain(claim, against)
    return verdict, facts + tail


# What else may be the cause of a resolved gain, by the check that says so; the first counts.
_OTHER_CAUSES = (
    (Check.FEEDBACK, Verdict.SENSOR_SKEW, ", and a skew of the sensor alone can have made it."),
    (
        Check.AIRFLOW_VS_PRESSURE,
        Verdict.PARTLY_SUPPORTED,
        ", but the sensor's reading changed as well and can have fuelled part of it.",
    ),
    (
        Check.RESTRICTION_CEILING,
        Verdict.PARTLY_SUPPORTED,
        ", but more than lower restriction can give: the intake is not its only cause.",
    ),
    (
        Check.ARITHMETIC,
        Verdict.PARTLY_SUPPORTED,
        ", but its stated size does not follow from the figures.",
    ),
)


def _on_gain(claim: Claim, against: set[Check]) -> tuple[Verdict, str]:
    """Return the verdict on a resolved gain, and the end of its sentence."""
    if claim.quantity in _POWER and against & _FATAL_FOR_POWER:
        return Verdict.UNDETERMINED, ", but other printed figures contradict it."
    for check, verdict, tail in _OTHER_CAUSES:
        if check in against:
            return verdict, tail
    if against:
        return Verdict.GAIN_SUPPORTED, "; other printed figures are contradicted, not this one."
    return Verdict.GAIN_SUPPORTED, "; nothing printed speaks against it."
