"""From the findings to a verdict per claim. First match: contradicted, partly, supported, open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims.change import Pair, ln_routes
from airsense.claims.context import plain_name
from airsense.claims.draws import change_interval
from airsense.claims.findings import (
    TAIL,
    AuditFinding,
    Check,
    Outcome,
    between,
    change,
    settle_phrase,
    sign_of,
)
from airsense.claims.repeat import PRESSURES, claimed_sign, ln_claimed_change
from airsense.claims.row import ASK_WEATHER
from airsense.claims.weather import Corrected, corrected
from airsense.results import Interval
from airsense.setup.claims import Claim, ClaimedQuantity

_AIR = (ClaimedQuantity.MASS_AIR_FLOW, ClaimedQuantity.AIR_PER_STROKE)
POWERS = (ClaimedQuantity.BRAKE_POWER, ClaimedQuantity.BRAKE_TORQUE)
# Causes of a gain that is there: they take a part of a claim, not its ground.
_CAUSES = (Check.FEEDBACK, Check.RESTRICTION_CEILING)
# Which of several contradictions is told first: the one that needs least to be believed.
_DECISIVE = (
    Check.ARITHMETIC,
    Check.MEAN_EFFECTIVE_PRESSURE,
    Check.VOLUMETRIC_EFFICIENCY,
    Check.LAMBDA,
    Check.BRAKE_EFFICIENCY,
    Check.CORRECTION,
    Check.FUEL_VS_POWER,
    Check.AIRFLOW_VS_PRESSURE,
    Check.POWER_VS_AIRFLOW,
    Check.REPEATABILITY,
    Check.WEATHER,
)
# "No difference" needs more than a scatter that would hide one.
NO_DIFFERENCE_WITHIN = 0.02
# A claim of uncorrected power stands if at least this share of it is more than weather.
SHARE_SHOWN = 0.5
# What two tests in one weather may still differ by in power (k = 1).
WEATHER_OF_ONE_DAY = 0.01
_OF_CAUSE = {
    Check.FEEDBACK: "a skew of the sensor alone can have made it, through the fuelling",
    Check.RESTRICTION_CEILING: "it is more than lower restriction can give: the intake is not its "
    "only cause",
}


class Verdict(Enum):
    """What printed figures say of a claim."""

    SUPPORTED = "supported"
    PARTLY_SUPPORTED = "partly_supported"
    CONTRADICTED = "contradicted"
    UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimVerdict:
    """What the printed figures support of one claim; `against` says what contradicts it.

    `change` is the change at the same weather where the claim is one of power or air.
    """

    claim: str
    quantity: str
    from_: str
    to: str
    tune: str
    verdict: Verdict
    change: Interval | None
    sentence: str
    against: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Weighed:
    """A claim with what is known of its change: as claimed, and at the same weather."""

    claim: Claim
    pair: Pair
    printed: FloatArray | None
    same: FloatArray | None

    @property
    def stated(self) -> float:
        """ln of the stated change, else of the printed one; pressures by their absolute values."""
        if self.claim.quantity in PRESSURES and self.printed is not None:
            return float(np.median(self.printed))
        first = self.pair.before.printed(self.claim.quantity.value)
        for figure in self.claim.printed_changes():
            base = 1.0 if figure.relative or first is None else first.value
            if base > 0.0 and 1.0 + figure.value / base > 0.0:
                return math.log1p(figure.value / base)
        return 0.0 if self.printed is None else float(np.median(self.printed))

    @property
    def sign(self) -> int:
        """Sign of the claimed change."""
        return claimed_sign(self.claim) or int(np.sign(self.stated)) or 1

    def reaches(self, share: float) -> float:
        """Return the probability that at least a share of the claim is there."""
        if self.same is None:
            return 0.0
        return float(np.mean(self.sign * self.same >= share * abs(self.stated)))


def weigh(claim: Claim, pair: Pair) -> Weighed:
    """Return what is known of a claimed change.

    Air is that of the engine, by the routes beside the sensor; None without one.
    """
    printed = ln_claimed_change(pair, claim.quantity)
    if claim.quantity in POWERS:
        return Weighed(claim, pair, printed, pair.ln_change("ln_power_same_weather"))
    if claim.quantity in _AIR:
        air = _ln_engine_air(pair)
        weather = pair.after.ln_air_weather - pair.before.ln_air_weather
        return Weighed(claim, pair, printed, None if air is None else air - weather)
    return Weighed(claim, pair, printed, printed)


def _ln_engine_air(pair: Pair) -> FloatArray | None:
    """Return draws of the change of the engine's air: routes beside the sensor, by their worth."""
    routes = ln_routes(pair)
    if not routes:
        return None
    worth = [1.0 / max(float(np.var(route)), 1e-12) for route in routes]
    total = sum(w * route for w, route in zip(worth, routes, strict=True))
    return np.asarray(total / sum(worth))


def check_weather(weighed: Weighed) -> AuditFinding | None:
    """Return what is left of a claim of power or air at the same weather."""
    claim, printed, same = weighed.claim, weighed.printed, weighed.same
    if claim.quantity not in (*POWERS, *_AIR) or printed is None or same is None:
        return None
    if claim.within_scatter:
        return None
    outcome = Outcome.UNDETERMINED
    if weighed.reaches(0.0) < TAIL or (
        sign_of(same) != weighed.sign and weighed.reaches(SHARE_SHOWN) < TAIL
    ):
        outcome = Outcome.CONTRADICTED
    elif sign_of(same) == weighed.sign and weighed.reaches(1.0) >= TAIL:
        outcome = Outcome.SUPPORTED
    label = plain_name(claim.quantity.value)
    found = change_interval(same)
    whose = "of the engine " if claim.quantity in _AIR else ""
    facts = (
        f"The printed {label} changes by {change(printed)}; at the same weather the {label} "
        f"{whose}changes by {change(same)} ({between(found)})"
    )
    tails = {
        Outcome.SUPPORTED: "",
        Outcome.UNDETERMINED: ": not beyond what weather and scatter can make",
        Outcome.CONTRADICTED: ": the claimed change is not there",
    }
    shares = weighed.pair.before.context.draws.shares(same)
    return AuditFinding(
        check=Check.WEATHER,
        subject=f"{weighed.pair.subject}: {label}",
        outcome=outcome,
        measured=change_interval(printed),
        expected=found,
        sentence=f"{facts}{tails[outcome]}.",
        settle_by="" if outcome is Outcome.SUPPORTED else settle_phrase(shares, extra=ASK_WEATHER),
        budget=shares,
    )


def decide_claim(weighed: Weighed, findings: Sequence[AuditFinding]) -> ClaimVerdict:
    """Return the verdict on a claim from the findings on its pair, its rows and its numbers."""
    claim = weighed.claim
    against = [f for f in findings if f.outcome is Outcome.CONTRADICTED]
    deciding = sorted(
        (f for f in against if f.check in _DECISIVE), key=lambda f: _DECISIVE.index(f.check)
    )
    causes = [f for f in against if f.check in _CAUSES]
    if deciding:
        verdict, sentence = Verdict.CONTRADICTED, deciding[0].sentence
    elif claim.within_scatter:
        verdict, sentence = _within(weighed)
    else:
        verdict, sentence = _on_change(weighed, causes)
    stated = " / ".join(c.text for c in claim.printed_changes())
    says = "no difference beyond scatter" if claim.within_scatter else stated or "a change"
    return ClaimVerdict(
        claim=f"{plain_name(claim.quantity.value)}, {says}",
        quantity=claim.quantity.value,
        from_=claim.from_,
        to=claim.to,
        tune=weighed.pair.before.configuration.tune,
        verdict=verdict,
        change=None if weighed.same is None else change_interval(weighed.same),
        sentence=sentence,
        against=tuple(f.sentence for f in (*deciding, *causes)),
    )


def _within(weighed: Weighed) -> tuple[Verdict, str]:
    if weighed.printed is None:
        return Verdict.UNDETERMINED, "No check of such a quantity can be made from these figures."
    found = change_interval(weighed.printed)
    sharp = max(abs(found.low), abs(found.high)) <= NO_DIFFERENCE_WITHIN
    facts = f"The printed figures leave a difference of {between(found)}"
    if sharp:
        return Verdict.SUPPORTED, f"{facts}: none beyond scatter, as said."
    return Verdict.UNDETERMINED, f"{facts}: too wide to call it none."


def _on_change(weighed: Weighed, causes: Sequence[AuditFinding]) -> tuple[Verdict, str]:
    claim, same = weighed.claim, weighed.same
    if same is None:
        return Verdict.UNDETERMINED, _without(claim)
    judged = claim.quantity in (*POWERS, *_AIR)
    label = plain_name(claim.quantity.value)
    whose = " of the engine" if claim.quantity in _AIR else ""
    where = "At the same weather the" if judged else "The printed"
    facts = f"{where} {label}{whose} changes by {change(same)} ({between(change_interval(same))})"
    if sign_of(same) != weighed.sign:
        return Verdict.UNDETERMINED, f"{facts}: not resolved."
    if causes:
        return Verdict.PARTLY_SUPPORTED, f"{facts}, but {_OF_CAUSE[causes[0].check]}."
    if weighed.reaches(1.0) < TAIL:
        return Verdict.PARTLY_SUPPORTED, f"{facts}: less than claimed."
    open_air = claim.quantity in POWERS and not _same_air(weighed.pair)
    if open_air and weighed.reaches(SHARE_SHOWN) < 1.0 - TAIL:
        return Verdict.PARTLY_SUPPORTED, f"{facts}; the rest may be the weather's."
    return Verdict.SUPPORTED, f"{facts}; nothing printed speaks against it."


def _same_air(pair: Pair) -> bool:
    """Whether two powers may be compared as printed: corrected, or of nearly one weather."""
    if all(corrected(p) is Corrected.YES for p in (pair.before, pair.after)):
        return True
    by_weather = pair.after.ln_power_weather - pair.before.ln_power_weather
    return float(np.sqrt(np.mean(by_weather**2))) < WEATHER_OF_ONE_DAY


def _without(claim: Claim) -> str:
    if claim.quantity in _AIR:
        return (
            "Only the sensor's own reading is printed; without boost, or fuel and lambda, nothing "
            "says whether the air or the sensor changed."
        )
    return "No check of such a quantity can be made from these figures."
