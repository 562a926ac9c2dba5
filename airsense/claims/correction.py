"""Is the power correction named, and can its factors be those of the printed weather?

What is not printed is a range: humidity 0 to 100 %, any boost, any fuel quantity. A factor is
contradicted only where it lies outside all of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from airsense.claims.findings import AuditFinding, Check, Outcome, percent
from airsense.claims.point import Point
from airsense.claims.row import ASK_WEATHER
from airsense.claims.weather import (
    ASK_TEXT,
    Corrected,
    corrected,
    named_body,
    texts_of,
)
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.standard_power import (
    CorrectionText,
    PowerCorrection,
    correct_power,
    specific_fuel_mg_per_l_cycle,
)
from airsense.results import Interval
from airsense.setup.engine import Induction
from airsense.setup.printed import Printed

SUBJECT = "publication"
# Half a percent: three printed digits of a factor (our choice). Where the page is silent: dry,
# usual and saturated air, and boost from none to a truck engine's.
FACTOR_AGREES_WITHIN = 0.005
ANY_HUMIDITY = (0.0, 0.5, 1.0)
ANY_BOOST = (1.1, 2.0, 4.5)
# Fuel that takes the engine factor to its limits and to its middle. [mg/(l cycle)]
ANY_FUEL = (20.0, 90.0, 180.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionRow:
    """What one text gives for one configuration: its middle, and all that the print leaves open."""

    configuration: str
    text: CorrectionText
    factor: float
    low: float
    high: float
    fa: float
    fm: float
    in_range: bool


def corrections_of(points: Sequence[Point]) -> tuple[CorrectionRow, ...]:
    """Return the factors of all texts for each configuration whose weather is printed."""
    return tuple(row for point in points for row in _rows(point))


def check_correction(
    points: Sequence[Point], rows: Sequence[CorrectionRow]
) -> Iterator[AuditFinding]:
    """Yield whether the correction is named and whether each printed factor can be right."""
    powered = [point for point in points if point.ln_power is not None]
    if not powered:
        return
    named = powered[0].context.claims.publication.power_correction
    body = named_body(named)
    if all(corrected(point) is Corrected.NO for point in powered):
        yield _finding(Outcome.SUPPORTED, "Power is given uncorrected." + _day(rows))
        return
    if body is None:
        said = f"{named!r} names no known text" if named else "No power correction is named"
        yield _finding(Outcome.UNDETERMINED, f"{said}.{_day(rows)}", ASK_TEXT)
        return
    texts = texts_of(powered[0].context.claims.engine, named)
    own = [row for row in rows if row.text in texts]
    if not own:
        sentence = f"{body} is named, but not the weather, so the factor cannot be checked."
        yield _finding(Outcome.UNDETERMINED, sentence, ASK_WEATHER)
        return
    stated = [(point, factor) for point in powered if (factor := _factor(point)) is not None]
    if not stated:
        yield _unstated(body, own, len(texts))
    for point, factor in stated:
        mine = [row for row in own if row.configuration == point.configuration.name]
        if mine:
            yield _judged(body, point.configuration.name, factor, mine)


def _factor(point: Point) -> Printed | None:
    return point.printed("correction_factor")


def _unstated(body: str, rows: Sequence[CorrectionRow], variants: int) -> AuditFinding:
    if variants > 1:
        sentence = f"{body} is named without its variant; in this weather {_listed(rows)}."
        return _finding(Outcome.UNDETERMINED, sentence, ASK_TEXT, rows)
    outside = "" if all(r.in_range for r in rows) else " The text forbids it in this weather."
    sentence = f"{body} is named; in this weather {_listed(rows)}.{outside}"
    return _finding(Outcome.SUPPORTED, sentence, "", rows)


def _judged(
    body: str, subject: str, stated: Printed, rows: Sequence[CorrectionRow]
) -> AuditFinding:
    low = min(row.low for row in rows)
    high = max(row.high for row in rows)
    off = max(low - stated.value - stated.half_width, stated.value - stated.half_width - high)
    facts = f"{body} is named and the printed factor is {stated.value:g}"
    if off <= FACTOR_AGREES_WITHIN:
        sharp = high - low <= 4.0 * FACTOR_AGREES_WITHIN
        outcome = Outcome.SUPPORTED if sharp else Outcome.UNDETERMINED
        tail = f"in this weather {_listed(rows)}."
    else:
        outcome = Outcome.CONTRADICTED if off > 2 * FACTOR_AGREES_WITHIN else Outcome.UNDETERMINED
        tail = f"but in this weather it can only be {low:.3f} to {high:.3f}."
    asks = "" if outcome is Outcome.SUPPORTED else f"{ASK_TEXT}; {ASK_WEATHER}"
    return _finding(outcome, f"{facts}; {tail}", asks, rows, stated, subject)


def _listed(rows: Sequence[CorrectionRow]) -> str:
    ranges = {row.text: (row.low, row.high) for row in reversed(rows)}
    return "; ".join(
        f"{text.value}: {low:.4f}" + (f" to {high:.4f}" if high - low > 5e-4 else "")
        for text, (low, high) in reversed(ranges.items())
    )


def _day(rows: Sequence[CorrectionRow]) -> str:
    if not rows:
        return " Without text and weather the power of two days cannot be compared."
    factors = [row.factor for row in rows]
    spread = max(factors) / min(factors) - 1.0
    return f" In the printed weather the texts differ by up to {percent(spread, sign=False)}."


def _finding(
    outcome: Outcome,
    sentence: str,
    settle_by: str = "",
    rows: Sequence[CorrectionRow] = (),
    stated: Printed | None = None,
    subject: str = SUBJECT,
) -> AuditFinding:
    expected = None
    if rows:
        middle = float(np.median([row.factor for row in rows]))
        expected = Interval(middle, min(r.low for r in rows), max(r.high for r in rows))
    measured = None
    if stated is not None:
        value, half = stated.value, stated.half_width
        measured = Interval(value, value - half, value + half)
    return AuditFinding(
        check=Check.CORRECTION,
        subject=subject,
        outcome=outcome,
        measured=measured,
        expected=expected,
        sentence=sentence,
        settle_by=settle_by,
        unit="1",
    )


def _rows(point: Point) -> Iterator[CorrectionRow]:
    pressure = point.printed("barometric_pressure")
    temperature = point.printed("ambient_temperature")
    if pressure is None or temperature is None:
        return
    for text in texts_of(point.context.claims.engine, None):
        found = [
            _corrected(text, point, pressure.value, temperature.value, *given)
            for given in product(_humidities(point), _boosts(point, pressure.value), _fuels(point))
        ]
        factors = [one.factor for one in found]
        middle = found[len(found) // 2]
        yield CorrectionRow(
            configuration=point.configuration.name,
            text=text,
            factor=middle.factor,
            low=min(factors),
            high=max(factors),
            fa=middle.fa,
            fm=middle.fm,
            in_range=middle.in_range,
        )


def _corrected(
    text: CorrectionText,
    point: Point,
    p_pa: float,
    t_k: float,
    humidity: float,
    ratio: float,
    fuel: float,
) -> PowerCorrection:
    turbo = point.context.claims.engine.induction is Induction.TURBOCHARGED
    vapour = float(vapour_mole_fraction(p_pa, t_k, humidity))
    return correct_power(
        text,
        p_dry_pa=p_pa * (1.0 - vapour),
        t_intake_k=t_k,
        q_mg_per_l_cycle=fuel,
        pressure_ratio=ratio if turbo else 1.0,
    )


def _humidities(point: Point) -> tuple[float, ...]:
    figure = point.printed("relative_humidity")
    if figure is not None:
        return (figure.value,)
    point.context.assume("relative humidity", "0 to 100 %", "not printed: all that is possible")
    return ANY_HUMIDITY


def _boosts(point: Point, p_ambient_pa: float) -> tuple[float, ...]:
    if point.p_manifold_pa is None:
        return ANY_BOOST
    return (max(float(np.median(point.p_manifold_pa)) / p_ambient_pa, 1.0),)


def _fuels(point: Point) -> tuple[float, ...]:
    """Return the fuel per litre and cycle, or all that takes the engine factor to its limits."""
    speed, fuel = point.ln_speed, point.ln_fuel
    if speed is None or fuel is None:
        return ANY_FUEL
    engine = point.context.claims.engine
    return (
        specific_fuel_mg_per_l_cycle(
            float(np.exp(np.median(fuel))),
            engine.displacement_m3,
            speed_rpm=float(np.exp(np.median(speed))),
            strokes=engine.strokes,
        ),
    )
