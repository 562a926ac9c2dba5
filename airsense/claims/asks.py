"""What a sound comparison would also have printed, and what to ask the publisher for first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from airsense.claims.correction import SUBJECT
from airsense.claims.findings import AuditFinding, Check, Outcome
from airsense.claims.point import Point
from airsense.claims.row import ASK_WEATHER
from airsense.claims.weather import ASK_TEXT
from airsense.setup.claims import Publication
from airsense.setup.engine import Induction

# What a check that could not be made is worth against one that stays open.
NOT_MADE = 1.0
NICE_TO_HAVE = 0.3
# A verdict hangs on the finding that leaves its claim open.
OF_A_CLAIM = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Something to ask the publisher for, with its worth: open findings that hang on it."""

    request: str
    reason: str
    worth: float


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
    weather = ("barometric_pressure", "ambient_temperature", "relative_humidity")
    if not all(p.printed(name) for name in weather for p in points):
        yield Ask(
            request=ASK_WEATHER,
            reason="boost is a gauge pressure, and air and power follow the weather",
            worth=NICE_TO_HAVE,
        )
    if all(point.ln_power is None for point in points):
        return
    if publication.power_correction is None:
        yield Ask(
            request=ASK_TEXT, reason="the texts differ by a per cent and more", worth=NICE_TO_HAVE
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
        weight = OF_A_CLAIM if finding.check is Check.WEATHER else 1.0
        for share in finding.budget:
            request = share.source.settle_by
            worth[request] = worth.get(request, 0.0) + weight * share.share
            reason.setdefault(request, f"{share.source.label} leaves findings open")
    ranked = sorted(worth, key=lambda request: (-worth[request], request))
    return tuple(
        Ask(request=request, reason=reason[request], worth=round(worth[request], 3))
        for request in ranked
        if worth[request] >= 0.1
    )
