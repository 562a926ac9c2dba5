"""From the findings to a verdict per claimed gain, and to what the publisher should be asked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.evidence.claims_change import Pair, ln_skews
from airsense.evidence.claims_context import plain_name
from airsense.evidence.claims_correction import ASK_TEXT, ASK_WEATHER, SUBJECT
from airsense.evidence.claims_draws import change_interval
from airsense.evidence.claims_findings import AuditFinding, Check, Outcome, between, change
from airsense.evidence.claims_point import Point
from airsense.evidence.claims_repeat import ln_claimed_change
from airsense.evidence.verdict import DEFAULT_MARGIN, Verdict, inside_margin
from airsense.results import Interval
from airsense.setup.claims import Claim, ClaimedQuantity, Publication
from airsense.setup.engine import Induction

FloatArray = NDArray[np.float64]

_AIR = (ClaimedQuantity.MASS_AIR_FLOW, ClaimedQuantity.AIR_PER_STROKE)
_POWER = (ClaimedQuantity.BRAKE_POWER, ClaimedQuantity.BRAKE_TORQUE)
# A contradiction in these leaves a claim of power, or of air, without ground.
_FATAL_FOR_POWER = {Check.FUEL_VS_POWER, Check.BRAKE_EFFICIENCY, Check.POWER_VS_AIRFLOW}
_FATAL_FOR_AIR = {Check.VOLUMETRIC_EFFICIENCY, Check.LAMBDA}
# A verdict needs more than a 95 % interval that misses zero: one in forty would be wrong.
CLAIM_PROBABILITY = 0.995
# What a check that could not be made is worth against one that stays open.
NOT_MADE = 1.0
NICE_TO_HAVE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimVerdict:
    """What the printed figures support of one claimed gain."""

    claim: str
    quantity: str
    from_: str
    to: str
    tune: str
    verdict: Verdict
    change: Interval | None
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Something to ask the publisher for, with its worth: open findings that hang on it."""

    request: str
    reason: str
    worth: float


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


def _on_gain(claim: Claim, against: set[Check]) -> tuple[Verdict, str]:
    """Return the verdict on a resolved gain, and the end of its sentence."""
    if claim.quantity in _POWER and against & _FATAL_FOR_POWER:
        return Verdict.UNDETERMINED, ", but other printed figures contradict it."
    if Check.FEEDBACK in against:
        return Verdict.SENSOR_SKEW, ", and a skew of the sensor alone can have made it."
    if Check.AIRFLOW_VS_PRESSURE in against:
        return Verdict.PARTLY_SUPPORTED, (
            ", but the sensor's reading changed as well and can have fuelled part of it."
        )
    if Check.RESTRICTION_CEILING in against:
        return Verdict.PARTLY_SUPPORTED, (
            ", but more than lower restriction can give: the intake is not its only cause."
        )
    if Check.ARITHMETIC in against:
        return Verdict.PARTLY_SUPPORTED, ", but its stated size does not follow from the figures."
    if against:
        return Verdict.GAIN_SUPPORTED, "; other printed figures are contradicted, not this one."
    return Verdict.GAIN_SUPPORTED, "; nothing printed speaks against it."


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A figure that a sound comparison prints, and the checks that hang on it."""

    request: str
    reason: str
    names: tuple[str, ...]
    worth: float = NOT_MADE


_WANTED = (
    _Wanted(
        "the fuel quantity of both",
        "without it power cannot be held against fuel, nor air against fuel and lambda",
        ("fuel_per_stroke", "fuel_mass_flow", "fuel_volume_flow"),
    ),
    _Wanted(
        "the mass air flow of both",
        "without it nothing can be said of the sensor",
        ("mass_air_flow", "air_per_stroke"),
    ),
    _Wanted(
        "the engine speed of each figure",
        "without it neither volumetric efficiency nor fuel per stroke can be judged",
        ("engine_speed",),
    ),
    _Wanted(
        "power or torque of both",
        "without it neither fuel nor air can be held against it",
        ("brake_power", "brake_torque"),
        NICE_TO_HAVE,
    ),
    _Wanted(
        "lambda from a wide-band sensor in the exhaust",
        "with fuel it is a second route to the air that no intake part can touch",
        ("lambda",),
        NICE_TO_HAVE,
    ),
    _Wanted(
        "the barometer at each test",
        "boost is a gauge pressure; air follows the absolute one",
        ("barometric_pressure",),
        NICE_TO_HAVE,
    ),
    _Wanted(
        "the intake depression of both at full load",
        "it bounds what lower restriction can explain",
        ("inlet_depression",),
        NICE_TO_HAVE,
    ),
)
_WANTED_TURBO = (
    _Wanted(
        "boost or manifold pressure of both",
        "air that really enters must show as pressure",
        ("boost_pressure", "manifold_pressure"),
    ),
    _Wanted(
        "the charge temperature behind the cooler",
        "the same pressure holds less air when it is hotter",
        ("charge_temperature",),
        NICE_TO_HAVE,
    ),
)


def missing_of(points: Sequence[Point]) -> tuple[Ask, ...]:
    """Return what a sound comparison would have printed and this one does not."""
    claims = points[0].context.claims
    turbo = claims.engine.induction is Induction.TURBOCHARGED
    wanted = (*_WANTED, *_WANTED_TURBO) if turbo else _WANTED
    asks = [
        Ask(request=w.request, reason=w.reason, worth=w.worth)
        for w in wanted
        if not all(any(p.printed(name) for name in w.names) for p in points)
    ]
    return (*asks, *_said_once(claims.publication, points))


def _said_once(publication: Publication, points: Sequence[Point]) -> Iterator[Ask]:
    repeated = any(len(point.configuration.rows) > 1 for point in points)
    if publication.runs_per_configuration is None and not repeated:
        yield Ask(
            request="repeat runs of each configuration, in ABA order",
            reason="a difference means nothing without the scatter of repeats",
            worth=NICE_TO_HAVE,
        )
    if all(point.ln_power is None for point in points):
        return
    if publication.power_correction is None:
        yield Ask(
            request=ASK_TEXT, reason="the texts differ by a per cent and more", worth=NICE_TO_HAVE
        )
    weather = ("ambient_temperature", "relative_humidity")
    if not all(p.printed(name) for name in weather for p in points):
        yield Ask(
            request=ASK_WEATHER, reason="air and power follow the weather", worth=NICE_TO_HAVE
        )
    if any(p.power_at is None for p in points):
        yield Ask(
            request="whether power is at the wheels, and the coast-down loss",
            reason="the driveline takes 10 to 25 %",
            worth=NICE_TO_HAVE,
        )


def missing_finding(missing: Sequence[Ask]) -> AuditFinding:
    """Return the finding that lists what is not printed."""
    listed = "; ".join(ask.request for ask in missing)
    return AuditFinding(
        check=Check.MISSING,
        subject=SUBJECT,
        outcome=Outcome.UNDETERMINED if missing else Outcome.SUPPORTED,
        measured=None,
        expected=None,
        sentence=f"A sound comparison would also have printed: {listed}."
        if missing
        else "All that a sound comparison needs is printed.",
        settle_by=missing[0].request if missing else "",
    )


def rank_asks(findings: Sequence[AuditFinding], missing: Sequence[Ask]) -> tuple[Ask, ...]:
    """Return what to ask for, by the open findings that hang on it.

    Each open or contradicted finding spreads one point over what would narrow it, by share of
    its variance; a missing figure adds the checks that it would make possible.
    """
    worth: dict[str, float] = {ask.request: ask.worth for ask in missing}
    reason: dict[str, str] = {ask.request: ask.reason for ask in missing}
    for finding in findings:
        if finding.outcome is Outcome.SUPPORTED:
            continue
        for share in finding.budget:
            request = share.source.settle_by
            worth[request] = worth.get(request, 0.0) + share.share
            reason.setdefault(request, f"{share.source.label} leaves findings open")
    ranked = sorted(worth, key=lambda request: (-worth[request], request))
    return tuple(
        Ask(request=request, reason=reason[request], worth=round(worth[request], 3))
        for request in ranked
        if worth[request] >= 0.1
    )
