"""Is the text of the power correction named, and what would each text have given?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from airsense.evidence.claims_findings import AuditFinding, Check, Outcome, percent
from airsense.evidence.claims_point import Point
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.standard_power import (
    CorrectionText,
    correct_power,
    specific_fuel_mg_per_l_cycle,
    texts_for,
)
from airsense.results import Interval
from airsense.setup.claims import Publication
from airsense.setup.engine import Ignition, Induction

SUBJECT = "publication"
ASSUMED_HUMIDITY = 0.5
# Brake efficiency that stands in for an unprinted fuel quantity; it moves a factor by < 0.5 %.
ASSUMED_EFFICIENCY = 0.38
FACTOR_AGREES_WITHIN = 0.005
_NAMES = (
    (re.compile(r"1585"), "ISO 1585"),
    (
        re.compile(r"\bR\s*85\b|regulation\s*(no\.?\s*)?85|80/1269", re.IGNORECASE),
        "UN Regulation 85",
    ),
    (re.compile(r"J\s*-?1349", re.IGNORECASE), "SAE J1349"),
    (re.compile(r"J\s*-?607|\bSTD\b", re.IGNORECASE), "SAE J607"),
)
_UNCORRECTED = re.compile(r"\b(none|uncorrected|no correction|not corrected)\b", re.IGNORECASE)
ASK_TEXT = "the text and variant of the power correction, and its factor"
ASK_WEATHER = "barometer, temperature and humidity at each test"


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionRow:
    """What one text gives for one configuration's weather."""

    configuration: str
    text: CorrectionText
    factor: float
    fa: float
    fm: float
    in_range: bool


def corrections_of(points: Sequence[Point]) -> tuple[CorrectionRow, ...]:
    """Return the factors of all texts for each configuration whose weather is printed."""
    return tuple(row for point in points for row in _rows(point))


def check_correction(
    publication: Publication, points: Sequence[Point], rows: Sequence[CorrectionRow]
) -> Iterator[AuditFinding]:
    """Yield whether the correction is named and, where it can be checked, whether it is right."""
    if all(point.ln_power is None for point in points):
        return
    named = publication.power_correction
    if named is not None and _UNCORRECTED.search(named):
        yield _finding(Outcome.SUPPORTED, "Power is given uncorrected." + _day(rows), "")
        return
    body = None if named is None else next((b for p, b in _NAMES if p.search(named)), None)
    if body is None:
        said = "No power correction is named" if named is None else f"{named!r} names no known text"
        yield _finding(Outcome.UNDETERMINED, f"{said}.{_day(rows)}", ASK_TEXT, rows)
        return
    matching = [row for row in rows if body in row.text.value and _variant(row.text, str(named))]
    if not matching:
        sentence = f"{body} is named, but not the weather, so the factor cannot be checked."
        yield _finding(Outcome.UNDETERMINED, sentence, ASK_WEATHER)
        return
    yield _named(body, publication, matching)


def _named(body: str, publication: Publication, rows: Sequence[CorrectionRow]) -> AuditFinding:
    stated = publication.correction_factor
    texts = {row.text for row in rows}
    listed = "; ".join(f"{row.text.value}: {row.factor:.4f}" for row in rows[: len(texts)])
    if stated is None:
        if len(texts) > 1:
            sentence = f"{body} is named without its variant; in this weather {listed}."
            return _finding(Outcome.UNDETERMINED, sentence, ASK_TEXT, rows)
        outside = "" if all(r.in_range for r in rows) else " The text forbids it in this weather."
        sentence = f"{body} is named; in this weather {listed}.{outside}"
        return _finding(Outcome.SUPPORTED, sentence, "", rows)
    off = min(abs(stated.value / row.factor - 1.0) for row in rows)
    off -= stated.half_width / stated.value
    tail = f"the printed factor is {stated.value:g}; in this weather {listed}."
    if off <= FACTOR_AGREES_WITHIN:
        return _finding(Outcome.SUPPORTED, f"{body} is named and {tail}", "", rows, stated.value)
    sentence = f"{body} is named, but {tail}"
    outcome = Outcome.CONTRADICTED if off > 2 * FACTOR_AGREES_WITHIN else Outcome.UNDETERMINED
    return _finding(outcome, sentence, ASK_TEXT, rows, stated.value)


def _day(rows: Sequence[CorrectionRow]) -> str:
    if not rows:
        return " Without text and weather the power of two days cannot be compared."
    factors = [row.factor for row in rows]
    spread = max(factors) / min(factors) - 1.0
    return f" In the printed weather the texts differ by up to {percent(spread, sign=False)}."


def _finding(
    outcome: Outcome,
    sentence: str,
    settle_by: str,
    rows: Sequence[CorrectionRow] = (),
    stated: float | None = None,
) -> AuditFinding:
    factors = [row.factor for row in rows]
    middle = float(np.median(factors)) if factors else float("nan")
    return AuditFinding(
        check=Check.CORRECTION,
        subject=SUBJECT,
        outcome=outcome,
        measured=None if stated is None else Interval(stated, stated, stated),
        expected=Interval(middle, min(factors), max(factors)) if factors else None,
        sentence=sentence,
        settle_by=settle_by,
        unit="1",
    )


def _variant(text: CorrectionText, named: str) -> bool:
    """Keep a variant unless the name says another one."""
    words = named.casefold()
    if text is CorrectionText.SAE_J1349_CI_AIR_COOLED:
        return "water" not in words and "liquid" not in words
    if text is CorrectionText.SAE_J1349_CI_WATER_COOLED:
        return "air" not in words
    return True


def _rows(point: Point) -> Iterator[CorrectionRow]:
    pressure, temperature = (
        point.printed("barometric_pressure"),
        point.printed("ambient_temperature"),
    )
    if pressure is None or temperature is None:
        return
    engine = point.context.claims.engine
    humidity = point.printed("relative_humidity")
    rh = ASSUMED_HUMIDITY if humidity is None else humidity.value
    if humidity is None:
        point.context.assume("relative humidity", f"{rh:.0%}", "not printed")
    vapour = float(vapour_mole_fraction(pressure.value, temperature.value, rh))
    turbo = engine.induction is Induction.TURBOCHARGED
    diesel = engine.ignition is Ignition.COMPRESSION
    q = _specific_fuel(point) if diesel else float("nan")
    for text in texts_for(compression_ignition=diesel, turbocharged=turbo):
        if diesel and q is None and text is not CorrectionText.SAE_J607_STD:
            continue
        found = correct_power(
            text,
            p_dry_pa=pressure.value * (1.0 - vapour),
            t_intake_k=temperature.value,
            q_mg_per_l_cycle=float("nan") if q is None else q,
            pressure_ratio=_pressure_ratio(point, pressure.value) if turbo else 1.0,
        )
        yield CorrectionRow(
            configuration=point.configuration.name,
            text=text,
            factor=found.factor,
            fa=found.fa,
            fm=found.fm,
            in_range=found.in_range,
        )


def _pressure_ratio(point: Point, p_ambient_pa: float) -> float:
    if point.p_manifold_pa is None:
        return 2.0  # a middling boost; with the fuel of full load fm stays at its upper limit
    return max(float(np.median(point.p_manifold_pa)) / p_ambient_pa, 1.0)


def _specific_fuel(point: Point) -> float | None:
    speed, fuel = point.ln_speed, point.ln_fuel
    if fuel is None and point.ln_engine_power is not None:
        heat = ASSUMED_EFFICIENCY * point.context.fuel.lhv_jpkg
        fuel = point.ln_engine_power - np.log(heat)
    if speed is None or fuel is None:
        return None
    engine = point.context.claims.engine
    return specific_fuel_mg_per_l_cycle(
        float(np.exp(np.median(fuel))),
        engine.displacement_m3,
        speed_rpm=float(np.exp(np.median(speed))),
        strokes=engine.strokes,
    )
