"""Is a printed difference larger than the scatter of repeated runs?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims.change import Pair
from airsense.claims.context import Configuration, plain_name
from airsense.claims.draws import change_interval
from airsense.claims.findings import (
    AuditFinding,
    Check,
    Outcome,
    between,
    change,
    percent,
    settle_phrase,
    sign_of,
)
from airsense.estimates.defaults import DEFAULT_DOF, Size
from airsense.results import K_95, Interval
from airsense.setup.claims import Claim, ClaimedQuantity, Claims

_DRAWN_AS = {
    ClaimedQuantity.BRAKE_POWER: "ln_power",
    ClaimedQuantity.BRAKE_TORQUE: "ln_power",
    ClaimedQuantity.MASS_AIR_FLOW: "ln_air",
    ClaimedQuantity.AIR_PER_STROKE: "ln_air",
    ClaimedQuantity.FUEL_PER_STROKE: "ln_fuel",
    ClaimedQuantity.FUEL_MASS_FLOW: "ln_fuel",
    ClaimedQuantity.FUEL_VOLUME_FLOW: "ln_fuel",
    ClaimedQuantity.LAMBDA: "ln_lambda",
}
PRESSURES = (ClaimedQuantity.BOOST_PRESSURE, ClaimedQuantity.MANIFOLD_PRESSURE)


def ln_claimed_change(pair: Pair, quantity: ClaimedQuantity) -> FloatArray | None:
    """Return draws of the logarithmic change of a claimed quantity; None where it has none.

    A boost is compared as absolute pressure, the only form in which a ratio has a meaning.
    """
    if quantity in PRESSURES:
        return pair.ln_pressure_change()
    return pair.ln_change(_DRAWN_AS[quantity]) if quantity in _DRAWN_AS else None


def power_run_u(
    claims: Claims, size: Size, configurations: Sequence[Configuration]
) -> tuple[float, bool]:
    """Return the run-to-run standard uncertainty of power, and whether the publication shows it.

    A stated scatter is taken as it is (a 95 % half-width). Repeated rows update the default by
    their own degrees of freedom, as a scaled inverse chi-square prior is.
    """
    default = size.run * math.sqrt(1.0 - size.between)
    stated = claims.publication.scatter()
    if stated is not None:
        powers = [p.value for r in claims.result if (p := r.figure("brake_power")) is not None]
        scale = 1.0 if stated.relative or not powers else float(np.mean(powers))
        return abs(stated.value) / scale / K_95, True
    squares, dof = 0.0, 0
    for configuration in configurations:
        figures = [row.figure("brake_power") for row in configuration.rows]
        logs = np.log([figure.value for figure in figures if figure is not None])
        if logs.size > 1:
            squares += float(np.sum((logs - logs.mean()) ** 2))
            dof += logs.size - 1
    pooled = (DEFAULT_DOF * default**2 + squares) / (DEFAULT_DOF + dof)
    return math.sqrt(pooled), dof > 0


def check_repeatability(pair: Pair, claim: Claim | None, *, shown: bool) -> AuditFinding | None:
    """Return whether a difference is resolved; `shown`: the publication itself gives scatter."""
    quantity = ClaimedQuantity.BRAKE_POWER if claim is None else claim.quantity
    ln_change = ln_claimed_change(pair, quantity)
    if ln_change is None:
        return None
    outcome = _judge(ln_change, claim)
    shares = pair.before.context.draws.shares(ln_change)
    found = change_interval(ln_change)
    half = found.half_width
    label = plain_name(quantity.value)
    source = "the scatter shown" if shown else "the usual run-to-run scatter"
    facts = f"{label[0].upper()}{label[1:]} differs by {change(ln_change)}; {source} is worth "
    facts += f"+-{percent(half, sign=False)} on such a difference"
    unsettled = outcome is not Outcome.SUPPORTED
    return AuditFinding(
        check=Check.REPEATABILITY,
        subject=f"{pair.subject}: {label}",
        outcome=outcome,
        measured=found,
        expected=Interval(0.0, -half, half),
        sentence=f"{facts}: {_words(outcome, claim, found)}.",
        settle_by=settle_phrase(
            shares, extra="repeat runs of each configuration, in ABA order" if unsettled else ""
        ),
        budget=shares,
    )


def _judge(ln_change: FloatArray, claim: Claim | None) -> Outcome:
    """What is not resolved is open, not excluded, however small the scatter."""
    sign = sign_of(ln_change)
    if claim is not None and claim.within_scatter:
        return Outcome.CONTRADICTED if sign else Outcome.SUPPORTED
    if sign == 0:
        return Outcome.UNDETERMINED
    wanted = 0 if claim is None else claimed_sign(claim)
    return Outcome.CONTRADICTED if wanted * sign < 0 else Outcome.SUPPORTED


def claimed_sign(claim: Claim) -> int:
    """Return the sign of a stated change, 0 where none is stated."""
    return next((int(np.sign(c.value)) for c in claim.printed_changes() if c.value), 0)


def _words(outcome: Outcome, claim: Claim | None, found: Interval) -> str:
    if claim is not None and claim.within_scatter:
        return {
            Outcome.SUPPORTED: "within scatter, as said",
            Outcome.CONTRADICTED: "outside of scatter, though said to be within",
        }[outcome]
    if outcome is Outcome.SUPPORTED:
        return f"a resolved difference ({between(found)})"
    if outcome is Outcome.UNDETERMINED:
        return f"not resolved ({between(found)}); it needs repeats"
    return f"the other way than claimed ({between(found)})"
