"""Do stated gains, percentages and restated values follow from the printed figures?

Interval arithmetic: whatever the digits leave open is allowed, so a contradiction here needs no
probability. Figures with a stated `+-` count with that half-width.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from airsense.claims.change import Pair
from airsense.claims.context import plain_name
from airsense.claims.findings import AuditFinding, Check, Outcome
from airsense.claims.point import Point
from airsense.claims.units import Kind, Mix, possible_mix
from airsense.results import Interval
from airsense.setup.claims import UNIT_OF, Claim
from airsense.setup.engine import Induction
from airsense.setup.printed import Printed

_SLACK = 1e-9  # of floating-point conversion between units
# Torque, power and speed of one row may stem from neighbouring samples of a sweep.
ROW_LOOSENESS = 0.015
# A tuned or forward-facing intake; a charge cooled by fuel or water that evaporates.
RAM_EFFECT = 1.05
EVAPORATIVE_K = 20.0


def check_claim_arithmetic(claim: Claim, pair: Pair) -> Iterator[AuditFinding]:
    """Yield whether a claim's numbers follow from the figures of its two rows."""
    name = claim.quantity.value
    before, after = pair.before.printed(name), pair.after.printed(name)
    if before is None or after is None:
        return
    label, unit = plain_name(name), UNIT_OF[claim.quantity]
    for stated in claim.printed_changes():
        found = _relative(before, after) if stated.relative else _absolute(before, after)
        if found is not None:
            what = f"The claimed change of {label} ({stated.text})"
            yield _compare(
                f"{pair.subject}: {label}",
                what,
                stated,
                found,
                unit="fraction" if stated.relative else unit,
            )
    for row, figure, again in zip(
        (pair.before, pair.after), (before, after), claim.restated(), strict=True
    ):
        if again is not None:
            what = f"The {label} of {row.configuration.name} given again as {again.text}"
            subject = f"{row.configuration.name}: {label}"
            yield _compare(subject, what, again, _bounds(figure), unit=unit)


def check_row_arithmetic(point: Point) -> Iterator[AuditFinding]:
    """Yield whether figures of one row that determine each other agree."""
    torque, speed = point.printed("brake_torque"), point.printed("engine_speed")
    power = point.printed("brake_power")
    if torque is not None and speed is not None and power is not None:
        found = _scaled(_product(torque, speed), 2.0 * math.pi / 60.0)
        yield _row(point, "power", "torque and speed", power, found)
    engine = point.context.claims.engine
    for flow, stroke, label in (
        ("mass_air_flow", "air_per_stroke", "mass air flow"),
        ("fuel_mass_flow", "fuel_per_stroke", "fuel flow"),
    ):
        total, each = point.printed(flow), point.printed(stroke)
        if total is not None and each is not None and speed is not None:
            strokes = engine.cylinders * engine.cycles_per_rev / 60.0
            found = _scaled(_product(each, speed), strokes)
            yield _row(point, label, f"{plain_name(stroke)} and speed", total, found)
    yield from _corrected(point)
    yield from _pressures(point)


def _corrected(point: Point) -> Iterator[AuditFinding]:
    """Corrected power is measured power times the factor of its row."""
    measured, again = point.printed("power_measured"), point.printed("power_corrected")
    factor = point.printed("correction_factor")
    if measured is not None and again is not None and factor is not None:
        found = _product(measured, factor)
        yield _row(point, "power", "measured power and its factor", again, found, loose=0.0)


def _pressures(point: Point) -> Iterator[AuditFinding]:
    manifold, boost = point.printed("manifold_pressure"), point.printed("boost_pressure")
    ambient = point.printed("barometric_pressure")
    if manifold is not None and boost is not None and ambient is not None:
        middle = boost.value + ambient.value
        half = boost.half_width + ambient.half_width
        found = Interval(middle, middle - half, middle + half)
        yield _row(point, "manifold pressure", "boost and barometer", manifold, found)

    yield from _limits(point)


def _limits(point: Point) -> Iterator[AuditFinding]:
    """Nothing but a compressor lifts the manifold over the barometer, nor does air cool below it.

    A charge may be cooled by evaporating fuel or water, hence the kelvins.
    """
    engine = point.context.claims.engine
    manifold, ambient = point.printed("manifold_pressure"), point.printed("barometric_pressure")
    turbo = engine.induction is Induction.TURBOCHARGED
    if manifold is not None and ambient is not None and not turbo:
        most = ambient.value * RAM_EFFECT + ambient.half_width
        yield _bound(point, "manifold pressure", manifold, Interval(ambient.value, 0.0, most), "Pa")
    charge, outside = point.printed("charge_temperature"), point.printed("ambient_temperature")
    if charge is not None and outside is not None and turbo and engine.cooler == "air":
        least = outside.value - outside.half_width - EVAPORATIVE_K
        hottest = Interval(outside.value, least, 600.0)
        yield _bound(point, "charge temperature", charge, hottest, "K")


def _bound(point: Point, label: str, stated: Printed, allowed: Interval, unit: str) -> AuditFinding:
    said = _bounds(stated)
    apart = said.low > allowed.high or said.high < allowed.low
    verb = "cannot stand beside" if apart else "can stand beside"
    return AuditFinding(
        check=Check.ARITHMETIC,
        subject=f"{point.configuration.name}: {label}",
        outcome=Outcome.CONTRADICTED if apart else Outcome.SUPPORTED,
        measured=said,
        expected=allowed,
        sentence=f"The printed {label} ({stated.text}) {verb} the weather of the test.",
        settle_by=f"where the {label} was measured, and the weather of the test" if apart else "",
        unit=unit,
    )


def _row(
    point: Point,
    label: str,
    source: str,
    stated: Printed,
    found: Interval,
    *,
    loose: float = ROW_LOOSENESS,
) -> AuditFinding:
    near = loose * abs(found.value)
    wide = Interval(found.value, found.low - near, found.high + near)
    unit = {"power": "W", "manifold pressure": "Pa"}.get(label, "kg/s")
    what = f"The printed {label} ({stated.text})"
    subject = f"{point.configuration.name}: {label}"
    return _compare(subject, what, stated, wide, unit=unit, source=source)


def _compare(
    subject: str,
    what: str,
    stated: Printed,
    found: Interval,
    *,
    unit: str,
    source: str = "the printed figures",
) -> AuditFinding:
    said = _bounds(stated)
    slack = _SLACK * max(abs(said.value), abs(found.value))
    apart = said.low > found.high + slack or said.high < found.low - slack
    bounds = f"{_range_text(found, stated.scale)} {stated.unit_text}".rstrip()
    if apart:
        sentence = f"{what} does not follow from {source}, which give {bounds}."
        sentence += _hint(said, found, unit)
    else:
        sentence = f"{what} follows from {source} within their rounding: {bounds}."
    return AuditFinding(
        check=Check.ARITHMETIC,
        subject=subject,
        outcome=Outcome.CONTRADICTED if apart else Outcome.SUPPORTED,
        measured=said,
        expected=found,
        sentence=sentence,
        settle_by="the unrounded figures, or a correction" if apart else "",
        unit=unit,
    )


_KINDS = {"W": Kind.POWER, "Pa": Kind.PRESSURE, "kg/s": Kind.FLOW, "kg": Kind.FLOW}
# What a gauge leaves out, to the digits that are printed.
_ONE_ATMOSPHERE_PA = 1e5


def _range_text(found: Interval, scale: float) -> str:
    """Return value and bounds with as many decimals as the width of the range is worth."""
    width = abs(found.high - found.low) / abs(scale)
    places = min(max(1 - math.floor(math.log10(width)), 0), 6) if width > 0.0 else 2
    middle, low, high = (
        f"{round(x / scale, places):.10g}" for x in (found.value, found.low, found.high)
    )
    return f"{middle} ({low} to {high})"


def _hint(said: Interval, found: Interval, unit: str) -> str:
    """Return the mixes of units that fit what is said over what was found."""
    if unit not in _KINDS or found.low * found.high <= 0.0 or said.low * said.high <= 0.0:
        return ""
    bounds = sorted(s / f for s in (said.low, said.high) for f in (found.low, found.high))
    ratio = Interval(said.value / found.value, bounds[0], bounds[-1])
    if ratio.low <= 0.0:
        return ""
    gauge: tuple[Mix, ...] = ()
    if unit == "Pa":
        gauge = (Mix(1.0 + _ONE_ATMOSPHERE_PA / abs(said.value), "gauge and absolute mixed"),)
    return possible_mix((_KINDS[unit],), ratio, gauge)


def _bounds(figure: Printed) -> Interval:
    return Interval(
        figure.value, figure.value - figure.half_width, figure.value + figure.half_width
    )


def _absolute(before: Printed, after: Printed) -> Interval:
    middle, half = after.value - before.value, after.half_width + before.half_width
    return Interval(middle, middle - half, middle + half)


def _relative(before: Printed, after: Printed) -> Interval | None:
    """Return the relative change; None where a gauge pressure about zero has none."""
    first, second = _bounds(before), _bounds(after)
    if first.low <= 0.0:
        return None
    return Interval(
        second.value / first.value - 1.0,
        second.low / first.high - 1.0,
        second.high / first.low - 1.0,
    )


def _product(first: Printed, second: Printed) -> Interval:
    a, b = _bounds(first), _bounds(second)
    return Interval(a.value * b.value, a.low * b.low, a.high * b.high)


def _scaled(interval: Interval, factor: float) -> Interval:
    return Interval(interval.value * factor, interval.low * factor, interval.high * factor)
