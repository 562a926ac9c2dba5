"""Power and air are judged at one weather; what is not printed of it is a range."""

from __future__ import annotations

import tomllib

import pytest

from airsense.claims.findings import Check, Outcome
from airsense.claims.verdict import Verdict
from airsense.jobs.audit import audit
from airsense.setup.claims import Claims
from tests.faults.audit_publications import honest

NA = {
    "displacement_l": 2.0, "cylinders": 4, "ignition": "spark",
    "induction": "naturally_aspirated",
}  # fmt: skip
DIESEL = {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}
DAY = {"barometric_pressure": "990 mbar", "ambient_temperature": "25 degC"}
HOT = {"barometric_pressure": "960 mbar", "ambient_temperature": "35 degC"}
COLD = {"barometric_pressure": "1020 mbar", "ambient_temperature": "12 degC"}


def audit_of(first, second, change, *, engine=NA, **publication):
    rows = [{"intake": n, **row} for n, row in (("a", first), ("b", second))]
    claim = {"quantity": "brake_power", "from": "a", "to": "b", "change": change}
    return audit(
        Claims.model_validate(
            {"engine": engine, "publication": publication, "result": rows, "claim": [claim]}
        ),
        source="x",
    )


def verdict(result):
    return result.verdicts[0].verdict


def power(kw, **more):
    return {"engine_speed": "6000 rpm", "brake_power": f"{kw} kW", **more}


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, Verdict.UNDETERMINED),
        ({"power_correction": "uncorrected"}, Verdict.UNDETERMINED),
        ({"power_correction": "uncorrected", **DAY}, Verdict.SUPPORTED),
        ({"power_correction": "ISO 1585"}, Verdict.SUPPORTED),
    ],
)
def test_four_per_cent_hang_on_what_is_said_of_the_weather(said, expected):
    assert verdict(audit_of(power("120.0"), power("124.8"), "+4.8 kW", **said)) is expected


def test_a_session_takes_the_weather_out():
    apart = audit_of(power("120.0"), power("127.2"), "+7.2 kW", power_correction="none")
    one = audit_of(
        power("120.0"), power("127.2"), "+7.2 kW", power_correction="none", session="May"
    )
    assert verdict(one) is Verdict.SUPPORTED
    assert one.verdicts[0].change.half_width < 0.6 * apart.verdicts[0].change.half_width


def test_a_gain_in_colder_air_is_contradicted_uncorrected_and_held_corrected():
    said = {"power_correction": "uncorrected"}
    result = audit_of(power("120.0", **HOT), power("131.5", **COLD), "+11.5 kW", **said)
    assert verdict(result) is Verdict.CONTRADICTED
    assert "at the same weather" in result.verdicts[0].sentence
    said = {"power_correction": "ISO 1585"}
    result = audit_of(power("120.0", **HOT), power("131.5", **COLD), "+11.5 kW", **said)
    assert verdict(result) is not Verdict.CONTRADICTED


def test_a_part_of_a_gain_may_be_the_weathers():
    said = {"power_correction": "uncorrected"}
    result = audit_of(power("120.0", **HOT), power("150.0", **COLD), "+30.0 kW", **said)
    assert verdict(result) is Verdict.PARTLY_SUPPORTED
    assert 0.03 < result.verdicts[0].change.low < result.verdicts[0].change.high < 0.2


def test_a_charge_cooled_engine_answers_by_its_boost_control():
    said = {"power_correction": "uncorrected"}
    widths = {}
    for law in ("absolute", "open", "unknown"):
        engine = DIESEL | {"ignition": "spark", "boost_control": law}
        rows = [power("200.0", boost_pressure="1.00 bar", **d) for d in (HOT, COLD)]
        result = audit_of(*rows, "+0.1 kW", engine=engine, **said)
        widths[law] = result.verdicts[0].change
    # Absolute pressure held: a near 0.1 and b near 0.85, so cold air alone is worth 6 to 9 %.
    assert -0.11 < widths["absolute"].value < -0.05
    assert widths["open"].value < widths["absolute"].value
    assert widths["unknown"].half_width > widths["absolute"].half_width


@pytest.mark.parametrize(
    ("factor", "expected"),
    [
        ("1.055", Outcome.CONTRADICTED),
        ("0.995", Outcome.UNDETERMINED),
        ("0.96", Outcome.CONTRADICTED),
    ],
)
def test_a_factor_is_held_against_all_humidities(factor, expected):
    """990 mbar, 25 C: 0.9996 dry and 1.038 saturated by ISO 1585."""
    said = {"power_correction": "ISO 1585", "correction_factor": factor, **DAY}
    result = audit_of(power("120.0"), power("124.8"), "+4.8 kW", **said)
    assert {f.outcome for f in result.findings if f.check is Check.CORRECTION} == {expected}
    assert (verdict(result) is Verdict.CONTRADICTED) is (expected is Outcome.CONTRADICTED)


def test_a_factor_without_boost_and_fuel_is_not_accused():
    rows = [{"engine_speed": "3000 rpm", "brake_power": f"{p} kW"} for p in ("150.0", "157.5")]
    for factor in ("1.01", "1.05", "1.09"):
        said = {"power_correction": "ISO 1585", "correction_factor": factor, **HOT}
        result = audit_of(*rows, "+7.5 kW", engine=DIESEL, **said)
        against = [f for f in result.findings if f.outcome is Outcome.CONTRADICTED]
        assert against == []


def test_measured_power_times_its_factor_is_corrected_power():
    rows = [
        {
            "engine_speed": "6000 rpm", "power_measured": f"{m} kW",
            "power_corrected": f"{c} kW", "correction_factor": "1.050",
        }
        for m, c in (("120.0", "126.0"), ("125.0", "131.3"))
    ]  # fmt: skip
    good = audit_of(*rows, "+5.3 kW")
    assert verdict(good) is not Verdict.CONTRADICTED
    bad = audit_of(rows[0], rows[1] | {"power_corrected": "136.0 kW"}, "+10.0 kW")
    assert verdict(bad) is Verdict.CONTRADICTED
    assert "measured power and its factor" in bad.verdicts[0].sentence


def test_no_air_cools_a_charge_below_itself():
    row = power("200.0", boost_pressure="1.00 bar", charge_temperature="30 degC")
    engine = DIESEL | {"ignition": "spark"}
    for ambient, expected in (("25 degC", 0), ("60 degC", 2)):
        rows = [row | {"ambient_temperature": ambient}] * 2
        result = audit_of(*rows, "+0.0 kW", engine=engine)
        against = [f for f in result.findings if f.outcome is Outcome.CONTRADICTED]
        assert len(against) == expected


def test_a_boost_in_psi_under_bar_is_named():
    row = power("150.0", boost_pressure="14 bar", mass_air_flow="165 g/s")
    result = audit_of(row, row, "+0.0 kW", engine=NA | {"induction": "turbocharged"})
    against = [f for f in result.findings if f.outcome is Outcome.CONTRADICTED]
    assert any("psi printed as bar" in f.sentence for f in against)


def test_every_assumed_range_is_listed():
    result = audit_of(power("120.0"), power("124.8"), "+4.8 kW")
    assumed = {a.quantity for a in result.assumptions}
    assert {"barometer", "ambient temperature"} <= assumed


@pytest.mark.parametrize("seed", [59, 63, 127, 136])
def test_two_days_that_are_not_printed_are_no_accusation(seed):
    """Neither charge temperature nor weather is printed, and the days are some kelvin apart."""
    made, _ = honest(seed, unsaid_days=True)
    result = audit(Claims.model_validate(tomllib.loads(made.toml())), source="claims.toml")
    assert not [f for f in result.findings if f.outcome is Outcome.CONTRADICTED]
    assert verdict(result) is not Verdict.CONTRADICTED
