"""What a name leaves open of a power correction, and what fuel makes of its engine factor."""

from __future__ import annotations

import pytest

from airsense.claims.weather import texts_of
from airsense.jobs.audit import audit
from airsense.physics.standard_power import (
    CorrectionText,
    correct_power,
    specific_fuel_mg_per_l_cycle,
)
from airsense.setup.claims import Claims
from airsense.setup.engine import Engine

T = CorrectionText
ENGINE = {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}
DAY = {
    "barometric_pressure": "970 mbar",
    "ambient_temperature": "35 degC",
    "relative_humidity": "0 %",
}


@pytest.mark.parametrize(
    ("named", "left"),
    [
        ("SAE J1349", {T.SAE_J1349_CI_AIR_COOLED, T.SAE_J1349_CI_WATER_COOLED}),
        ("SAE J1349, air to air", {T.SAE_J1349_CI_AIR_COOLED}),
        ("SAE J1349 water cooled charge", {T.SAE_J1349_CI_WATER_COOLED}),
        ("SAE J1349, liquid to air", {T.SAE_J1349_CI_WATER_COOLED}),
        ("ISO 1585", {T.ISO_1585_CI_TURBO}),
        ("UN R85", {T.UN_R85_CI_TURBO}),
    ],
)
def test_a_variant_is_left_out_where_the_name_says_another(
    named: str, left: set[CorrectionText]
) -> None:
    engine = Engine.model_validate({**ENGINE, "induction": "turbocharged"})
    assert set(texts_of(engine, named)) == left


def test_no_name_leaves_every_text_of_the_engines_kind_open() -> None:
    engine = Engine.model_validate({**ENGINE, "induction": "turbocharged"})
    assert set(texts_of(engine, None)) == set(texts_of(engine, "the usual one"))
    assert len(texts_of(engine, None)) >= 4


def rows_of(**figures: str):
    row = {"intake": "a", "engine_speed": "3600 rpm", "brake_power": "150.0 kW", **DAY, **figures}
    claims = Claims.model_validate(
        {"engine": {**ENGINE, "induction": "naturally_aspirated"}, "result": [row]}
    )
    result = audit(claims, source="x")
    return {r.text: r for r in result.corrections if r.text in (T.UN_R85_CI_NA, T.ISO_1585_CI_NA)}


def test_printed_fuel_makes_the_engine_factor_one_number() -> None:
    """fm by fuel per litre and cycle: UN Regulation 85, annex 5, 5.4.2.2."""
    silent, told = rows_of(), rows_of(fuel_mass_flow="5.40 g/s")
    q = specific_fuel_mg_per_l_cycle(5.40e-3, 3.0e-3, speed_rpm=3600.0)
    assert q == pytest.approx(60.0)
    exact = correct_power(T.UN_R85_CI_NA, p_dry_pa=97e3, t_intake_k=308.15, q_mg_per_l_cycle=q)
    row = told[T.UN_R85_CI_NA]
    assert row.fm == pytest.approx(exact.fm, abs=2e-3)
    assert row.factor == pytest.approx(exact.factor, rel=1e-3)
    wide = silent[T.UN_R85_CI_NA]
    assert wide.high - wide.low > 3.0 * (row.high - row.low)
    assert wide.low < row.factor < wide.high
