"""What the weather of the test makes of power and air, and what a correction took out of it.

Power as printed is `ln P = ln P_measured + c ln F`, with F the factor of a correction and c
whether it was applied. The engine's own answer to the weather is
`ln P_measured = ln P_same + a ln(p / p_ref) - b ln(T / T_ref)`; a and b are ranges by kind of
engine, shared by all configurations, and what is common to both tests cancels.
"""

from __future__ import annotations

import math
import re
from enum import Enum
from functools import cache

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims import priors as prior
from airsense.claims.draws import Source
from airsense.claims.row import ASK_WEATHER, Row
from airsense.evidence.parts import laws_of
from airsense.evidence.parts.priors import U_WEATHER_HUMIDITY_FRAC
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.boost_control import VAPOUR_LIGHTER, exponents
from airsense.physics.standard_power import (
    P_REFERENCE_DRY_PA,
    T_REFERENCE_K,
    CorrectionText,
    correct_power,
    texts_for,
)
from airsense.setup.engine import Engine, Ignition, Induction

ASK_TEXT = "the text and variant of the power correction, and its factor"
_NAMES = (
    (re.compile(r"1585"), "ISO 1585"),
    (
        re.compile(r"\bR\s*85\b|regulation\s*(no\.?\s*)?85|80/1269", re.IGNORECASE),
        "UN Regulation 85",
    ),
    (re.compile(r"J\s*-?1349", re.IGNORECASE), "SAE J1349"),
    (re.compile(r"J\s*-?607|\bSTD\b", re.IGNORECASE), "SAE J607"),
)
_UNCORRECTED = re.compile(r"\b(no|none|uncorrected|no correction|not corrected)\b", re.IGNORECASE)


class Corrected(Enum):
    """Whether a printed power was carried to other weather."""

    NO = "no"
    YES = "yes"
    UNSAID = "unsaid"


def corrected(point: Row) -> Corrected:
    """Return whether the power of a configuration is a corrected one."""
    said = point.context.claims.publication
    row = point.configuration.rows[0]
    if row.brake_power is None and row.power_corrected is not None:
        return Corrected.YES
    if row.brake_power is None and row.power_measured is not None:
        return Corrected.NO
    if said.power_correction is not None:
        return Corrected.NO if _UNCORRECTED.search(said.power_correction) else Corrected.YES
    stated = said.correction_factor or row.correction_factor
    return Corrected.UNSAID if stated is None else Corrected.YES


def named_body(named: str | None) -> str | None:
    """Return the known text that a publication names, without its variant."""
    return None if named is None else next((b for p, b in _NAMES if p.search(named)), None)


def texts_of(engine: Engine, named: str | None) -> tuple[CorrectionText, ...]:
    """Return the texts and variants that a name leaves open: all where it names none."""
    every = texts_for(
        compression_ignition=engine.ignition is Ignition.COMPRESSION,
        turbocharged=engine.induction is Induction.TURBOCHARGED,
    )
    body = named_body(named)
    if body is None:
        return every
    return tuple(t for t in every if body in t.value and _variant(t, str(named)))


def _variant(text: CorrectionText, named: str) -> bool:
    """Keep a variant unless the name says another one."""
    words = named.casefold()
    # "Liquid to air" cools the charge air by a liquid.
    by_liquid = "water" in words or "liquid" in words
    if text is CorrectionText.SAE_J1349_CI_AIR_COOLED:
        return not by_liquid
    if text is CorrectionText.SAE_J1349_CI_WATER_COOLED:
        return by_liquid or "air" not in words
    return True


@cache
def _slopes(text: CorrectionText) -> tuple[float, float, float, float, float]:
    """Return ln F at the reference, -d ln F/d ln p, d ln F/d ln T, and the limits of fm."""

    def at(p: float, t: float) -> float:
        found = correct_power(text, p_dry_pa=p, t_intake_k=t, q_mg_per_l_cycle=65.0)
        return math.log(found.factor if math.isnan(found.fa) else found.fa)

    p, t, step = P_REFERENCE_DRY_PA, T_REFERENCE_K, 0.01
    own = at(p, t)
    by_p = (own - at(p * math.exp(step), t)) / step
    by_t = (at(p, t * math.exp(step)) - own) / step
    engine = [
        correct_power(text, p_dry_pa=p, t_intake_k=t, q_mg_per_l_cycle=q).fm for q in (10.0, 90.0)
    ]
    low, high = (1.0 if math.isnan(fm) else fm for fm in engine)
    return own, by_p, by_t, low, high


def _normal(point: Row, key: str, ask: str) -> FloatArray:
    return point.context.draws.normal(key, Source("weather of the tests", ask))


def _uniform(point: Row, key: str, label: str, ask: str) -> FloatArray:
    return 0.5 + 0.5 * point.context.draws.uniform(key, Source(label, ask))


def vapour(point: Row, *, of_site: bool = False) -> FloatArray:
    """Return the mole fraction of vapour in the ambient air, (draws,); of one for all tests."""
    figure = point.printed("relative_humidity")
    if figure is None:
        one = of_site or point.one_weather
        drawn = _normal(point, "humidity" if one else f"humidity:{point.day}", ASK_WEATHER)
        humidity = np.clip(0.5 + U_WEATHER_HUMIDITY_FRAC * drawn, 0.0, 1.0)
    else:
        humidity = np.full(point.context.draws.size, figure.value)
    p_pa = point.p_site_pa if of_site else point.p_ambient_pa
    t_k = point.t_site_k if of_site else point.t_ambient_k
    return vapour_mole_fraction(p_pa, t_k, humidity)


def ln_factor(point: Row, *, of_one_table: bool = False) -> FloatArray:
    """Return draws of ln(printed power / measured power), shape (draws,).

    With `of_one_table` rows whose weather is not printed are mostly of one session, as the rows of
    a table are: for figures that are held against each other, where a factor that differs would
    excuse what is wrong. The claim itself is judged in the weather of two tests.
    """
    size, status = point.context.draws.size, corrected(point)
    row = point.configuration.rows[0]
    if status is Corrected.NO:
        return np.zeros(size)
    stated = row.correction_factor or point.context.claims.publication.correction_factor
    if stated is not None:
        return np.full(size, math.log(stated.value))
    measured, again = row.power_measured, row.figure("brake_power")
    if measured is not None and again is not None:
        return np.full(size, math.log(again.value / measured.value))
    factor = _ln_computed(point, _ln_weather(point))
    if of_one_table:
        site = _ln_computed(point, _ln_weather(point, of_site=True))
        factor = np.where(point.of_two_days, factor, site)
    if status is Corrected.YES:
        return factor
    applied = _uniform(point, "corrected", "whether power is corrected", ASK_TEXT) < 0.5
    return np.where(applied, factor, 0.0)


def _ln_computed(point: Row, ln_weather: tuple[FloatArray, FloatArray]) -> FloatArray:
    claims = point.context.claims
    texts = texts_of(claims.engine, claims.publication.power_correction)
    ln_p, ln_t = ln_weather
    which = _uniform(point, "text", "text of the correction", ASK_TEXT)
    load = _uniform(point, "fm", "text of the correction", ASK_TEXT)
    total = np.zeros(point.context.draws.size)
    for k, text in enumerate(texts):
        own, by_p, by_t, low, high = _slopes(text)
        value = (own - by_p * ln_p + by_t * ln_t) * (low + (high - low) * load)
        chosen = (which >= k / len(texts)) & (which < (k + 1) / len(texts))
        total = np.where(chosen, value, total)
    return total


def _ln_weather(point: Row, *, of_site: bool = False) -> tuple[FloatArray, FloatArray]:
    p_pa = point.p_site_pa if of_site else point.p_ambient_pa
    t_k = point.t_site_k if of_site else point.t_ambient_k
    dry = p_pa * (1.0 - vapour(point, of_site=of_site))
    return np.log(dry / P_REFERENCE_DRY_PA), np.log(t_k / T_REFERENCE_K)


def ln_power_response(point: Row) -> FloatArray:
    """Return draws of ln of what the day's weather makes of measured power."""
    engine = point.context.claims.engine
    spark = engine.ignition is Ignition.SPARK
    ln_p, ln_t = _ln_weather(point)
    share = _uniform(point, "response", prior.ENGINE_IN_WEATHER, ASK_WEATHER)
    if engine.induction is Induction.NATURALLY_ASPIRATED:
        if spark:
            a, b = _between(prior.SPARK_PER_PRESSURE, share), _between(prior.SPARK_PER_COLD, share)
            return np.asarray(a * ln_p - b * ln_t)
        fm = _between(prior.DIESEL_FACTOR, share)
        return np.asarray(fm * (ln_p - prior.DIESEL_PER_COLD * ln_t))
    follows = prior.SPARK_POWER_PER_AIR if spark else prior.DIESEL_POWER_PER_AIR
    return np.asarray(_between(follows, share) * ln_air_response(point))


def ln_air_response(point: Row) -> FloatArray:
    """Return draws of ln of what the day's weather makes of the air that the engine breathes."""
    engine = point.context.claims.engine
    moist = np.log(point.p_ambient_pa / P_REFERENCE_DRY_PA)
    ln_t = np.log(point.t_ambient_k / T_REFERENCE_K)
    wet = VAPOUR_LIGHTER * vapour(point)
    if engine.induction is Induction.NATURALLY_ASPIRATED:
        share = _uniform(point, "response", prior.ENGINE_IN_WEATHER, ASK_WEATHER)
        return np.asarray(moist - _between(prior.AIR_PER_COLD, share) * ln_t - wet)
    a, b, r = _by_law(point)
    return np.asarray(a * moist - b * ln_t - r * wet)


def _between(span: prior.Span, share: FloatArray) -> FloatArray:
    return span.low + (span.high - span.low) * share


def _by_law(point: Row) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return draws of the exponents over the laws of boost control."""
    engine = point.context.claims.engine
    pick = _uniform(point, "law", prior.ENGINE_IN_WEATHER, ASK_WEATHER)
    spread = _normal(point, "character", ASK_WEATHER)
    a, b, r = (np.zeros_like(pick) for _ in range(3))
    floor = 0.0
    for belief in laws_of(engine.boost_control.value):
        at = exponents(belief.law, point.context.pressure_ratio, cooler=engine.cooler)
        chosen = (pick >= floor) & (pick <= floor + belief.probability)
        # Both grow together: an engine that answers to pressure answers to cold.
        a = np.where(chosen, at.a + at.u_a * spread, a)
        b = np.where(chosen, at.b + at.u_b * spread, b)
        r = np.where(chosen, at.r, r)
        floor += belief.probability
    return a, b, r
