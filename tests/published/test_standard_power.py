"""Power corrections against the texts: factors, limits, and the text always named."""

import math

import pytest

from airsense.errors import InputError
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.standard_power import (
    CorrectionText,
    correct_power,
    engine_factor,
    specific_fuel_mg_per_l_cycle,
    texts_for,
)

T = CorrectionText


@pytest.mark.parametrize(
    ("qc", "printed"),
    [(30, 0.30), (40, 0.30), (45, 0.48), (50, 0.66), (60, 1.02), (65, 1.20), (80, 1.20)],
)
def test_engine_factor_is_that_of_regulation_85_paragraph_5_4_2_2(qc, printed):
    """fm = 0.036 qc - 1.14 between 40 and 65: UN Regulation 85, annex 5."""
    assert engine_factor(qc) == pytest.approx(printed, abs=1e-9)


@pytest.mark.parametrize(("qc", "expected"), [(30, 0.20), (37.2, 0.199), (38, 0.228)])
def test_engine_factor_of_j1349_starts_at_37_2(qc, expected):
    # SAE J1349, from memory.
    assert engine_factor(qc, qc_low=37.2, fm_low=0.2) == pytest.approx(expected, abs=1e-3)


def test_specific_fuel_is_fuel_per_cycle_and_litre():
    # z * fuel / (V * n), z = 120000 for four strokes: UN Regulation 85, from memory.
    q = specific_fuel_mg_per_l_cycle(8.0e-3, 2.0e-3, speed_rpm=4000.0)
    assert q == pytest.approx(120.0, rel=1e-12)
    two = specific_fuel_mg_per_l_cycle(8.0e-3, 2.0e-3, speed_rpm=4000.0, strokes=2)
    assert two == pytest.approx(60.0, rel=1e-12)


@pytest.mark.parametrize("text", [T.UN_R85_CI_NA, T.ISO_1585_CI_NA])
def test_naturally_aspirated_diesel(text):
    # UN Regulation 85 / ISO 1585; exponents from memory.
    c = correct_power(text, p_dry_pa=95e3, t_intake_k=303.0, q_mg_per_l_cycle=50.0)
    assert c.fa == pytest.approx(1.054314, abs=1e-5)
    assert c.fm == pytest.approx(0.66, abs=1e-9)
    assert c.factor == pytest.approx(1.035524, abs=1e-5)
    assert c.in_range


def test_turbocharged_diesel_by_regulation_85():
    # UN Regulation 85 / Directive 80/1269/EEC; exponents from memory.
    c = correct_power(
        T.UN_R85_CI_TURBO,
        p_dry_pa=95e3,
        t_intake_k=308.0,
        q_mg_per_l_cycle=110.0,
        pressure_ratio=2.0,
    )
    assert c.fm == pytest.approx(0.84, abs=1e-9)
    assert c.fa == pytest.approx(1.081533, abs=1e-5)
    assert c.factor == pytest.approx(1.068055, abs=1e-5)


@pytest.mark.parametrize(
    ("text", "fa"),
    [
        (T.UN_R85_CI_TURBO, 1.08153),
        (T.ISO_1585_CI_TURBO, 1.07088),
        (T.SAE_J1349_CI_AIR_COOLED, 1.07088),
        (T.SAE_J1349_CI_WATER_COOLED, 1.05335),
    ],
)
def test_turbocharged_variants_differ_by_their_temperature_exponent(text, fa):
    # Exponents 1.5 / 1.2 / 0.7 from memory.
    c = correct_power(
        text, p_dry_pa=95e3, t_intake_k=308.0, q_mg_per_l_cycle=110.0, pressure_ratio=2.0
    )
    assert c.fa == pytest.approx(fa, abs=1e-5)


def test_a_factor_beyond_the_limits_is_given_and_flagged():
    """Valid from 0.9 to 1.1: UN Regulation 85, from memory."""
    c = correct_power(T.UN_R85_CI_NA, p_dry_pa=80e3, t_intake_k=298.0, q_mg_per_l_cycle=60.0)
    assert c.factor == pytest.approx(1.2428, abs=1e-4)
    assert not c.in_range


def test_spark_ignition_by_regulation_85_and_iso_1585():
    # Exponents 1.2 and 0.6 from memory.
    for text in (T.UN_R85_SI, T.ISO_1585_SI):
        c = correct_power(text, p_dry_pa=95e3, t_intake_k=303.0)
        assert c.factor == pytest.approx(1.061279, abs=1e-5)
        assert math.isnan(c.fm)


@pytest.mark.parametrize(
    ("p_mbar", "t_c", "factor", "in_range"),
    [
        (990.0, 25.0, 1.00000, True),
        (960.0, 35.0, 1.05712, True),
        (1013.25, 15.0, 0.95341, True),
        (900.0, 30.0, 1.12884, False),
    ],
)
def test_spark_ignition_by_j1349(p_mbar, t_c, factor, in_range):
    # SAE J1349 (Jun 90) as quoted in public, with 273 for the ice point.
    c = correct_power(T.SAE_J1349_SI, p_dry_pa=p_mbar * 100.0, t_intake_k=t_c + 273.0)
    assert c.factor == pytest.approx(factor, abs=1e-5)
    assert c.in_range is in_range


@pytest.mark.parametrize(
    ("t_f", "rh", "p_inhg", "printed"), [(85.0, 0.85, 28.85, 1.1005), (55.0, 0.35, 30.10, 0.994)]
)
def test_older_std_as_explained_in_public(t_f, rh, p_inhg, printed):
    # A public explanation, low grade; it rounds the vapour pressure, hence 1e-3.
    t_k = (t_f + 459.67) / 1.8
    p_pa = p_inhg * 3386.389
    p_dry = p_pa * (1.0 - float(vapour_mole_fraction(p_pa, t_k, rh)))
    c = correct_power(T.SAE_J607_STD, p_dry_pa=p_dry, t_intake_k=t_k)
    assert c.factor == pytest.approx(printed, abs=1e-3)


@pytest.mark.parametrize("compression", [True, False])
@pytest.mark.parametrize("turbo", [True, False])
def test_side_by_side_names_every_text_once(compression, turbo):
    texts = texts_for(compression_ignition=compression, turbocharged=turbo)
    assert len(set(texts)) == len(texts) >= 4
    for body in ("UN Regulation 85", "ISO 1585", "SAE J1349"):
        assert any(body in text.value for text in texts)
    for text in texts:
        wrong = "spark" if compression else "compression"
        assert wrong not in text.value


@pytest.mark.parametrize("text", list(CorrectionText))
def test_thin_hot_air_always_corrects_upwards(text):
    cold = correct_power(text, p_dry_pa=99e3, t_intake_k=290.0, q_mg_per_l_cycle=60.0)
    hot = correct_power(text, p_dry_pa=95e3, t_intake_k=310.0, q_mg_per_l_cycle=60.0)
    assert hot.factor > cold.factor


@pytest.mark.parametrize(
    "kwargs",
    [
        {"p_dry_pa": 0.0, "t_intake_k": 298.0},
        {"p_dry_pa": 99e3, "t_intake_k": -3.0},
        {"p_dry_pa": 99e3, "t_intake_k": 298.0, "q_mg_per_l_cycle": 0.0},
    ],
)
def test_impossible_arguments_are_refused(kwargs):
    with pytest.raises(InputError):
        correct_power(T.UN_R85_CI_TURBO, **kwargs)


def test_three_strokes_are_refused():
    with pytest.raises(InputError, match="strokes"):
        specific_fuel_mg_per_l_cycle(8e-3, 2e-3, speed_rpm=4000.0, strokes=3)
