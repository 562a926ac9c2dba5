"""Sixty-six publications: every contradiction is named, nobody is accused falsely, open is open."""

from __future__ import annotations

import io
import tomllib
from functools import cache

import pytest
from rich.console import Console

from airsense.claims.findings import Check, Outcome
from airsense.claims.verdict import Verdict
from airsense.jobs.audit import AuditResult, audit
from airsense.report.text import render
from airsense.setup.claims import Claims
from tests.faults.audit_publications import contradiction, honest
from tests.faults.audit_sets import contradictions, open_ones, sound

SETS = {"against": contradictions(), "sound": sound(), "open": open_ones()}
NAMED = [(kind, name) for kind, made in SETS.items() for name in made]
MOST_LINES = 40


@cache
def result_of(kind: str, name: str) -> AuditResult:
    """Return the audit of a publication."""
    text = SETS[kind][name].toml()
    return audit(Claims.model_validate(tomllib.loads(text)), source="claims.toml")


def audit_of(publication):
    return audit(Claims.model_validate(tomllib.loads(publication.toml())), source="claims.toml")


def shown(result, width=80):
    file = io.StringIO()
    render(result, Console(file=file, width=width))
    return file.getvalue()


def test_there_are_twenty_of_each():
    assert all(len(made) >= 20 for made in SETS.values())
    assert len(NAMED) >= 60


@pytest.mark.parametrize("name", SETS["against"])
def test_a_contradiction_is_called_one_in_the_first_line(name):
    result = result_of("against", name)
    assert {v.verdict for v in result.verdicts} == {Verdict.CONTRADICTED}
    assert shown(result).startswith("Contradicted: old to new")
    assert result.verdicts[0].against


@pytest.mark.parametrize("name", SETS["sound"])
def test_a_sound_publication_is_not_accused(name):
    result = result_of("sound", name)
    assert Verdict.CONTRADICTED not in {v.verdict for v in result.verdicts}
    assert [f.sentence for f in result.findings if f.outcome is Outcome.CONTRADICTED] == []


@pytest.mark.parametrize("name", [n for n in SETS["sound"] if "large gain" in n])
def test_a_large_gain_in_one_weather_is_supported(name):
    assert {v.verdict for v in result_of("sound", name).verdicts} == {Verdict.SUPPORTED}


@pytest.mark.parametrize("name", SETS["open"])
def test_what_cannot_be_proven_is_open_with_a_request(name):
    result = result_of("open", name)
    assert {v.verdict for v in result.verdicts} == {Verdict.UNDETERMINED}
    assert result.ask_the_publisher_for
    assert "Ask the publisher for: (1)" in shown(result)


@pytest.mark.parametrize(("kind", "name"), NAMED)
@pytest.mark.parametrize("width", [60, 100])
def test_the_answer_fits_one_screen(kind, name, width):
    assert len(shown(result_of(kind, name), width).splitlines()) <= MOST_LINES


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("PS in a kW column against torque", "PS and kW"),
        ("hp in a kW column against torque", "hp and kW"),
        ("air in kg/h beside g/s", "kg/h and g/s"),
        ("air in lb/min as g/s", "lb/min and g/s"),
        ("gauge pressure as absolute", "gauge pressure printed as absolute"),
    ],
)
def test_a_mix_of_units_is_named_as_a_possibility(name, words):
    against = [f for f in result_of("against", name).findings if f.outcome is Outcome.CONTRADICTED]
    assert any("Possible:" in f.sentence and words in f.sentence for f in against)


@pytest.mark.parametrize("name", ["26 bar without a turbocharger", "330 kW at 1.05 bar"])
def test_mean_effective_pressure_is_shown_in_bar(name):
    found = [
        f for f in result_of("against", name).findings if f.check is Check.MEAN_EFFECTIVE_PRESSURE
    ]
    assert all(f.outcome is Outcome.CONTRADICTED for f in found)
    # 120 P / (V n): 260 kW in 2.0 l at 6000 rpm is 26.0 bar, 330 kW is 33.0.
    middle = 26.0e5 if name.startswith("26") else 33.0e5
    assert found[0].measured.value == pytest.approx(middle, rel=0.02)
    assert "bar" in found[0].sentence


def test_uncorrected_power_of_two_printed_days_is_judged_at_one_weather():
    """960 mbar, 35 C to 1020 mbar, 12 C: (1020/960)^1.2 (308/285)^0.6 = 1.127 against 1.096."""
    result = result_of("against", "weather made it")
    finding = next(f for f in result.findings if f.check is Check.WEATHER)
    assert finding.measured.value == pytest.approx(131.5 / 120.0 - 1.0, abs=1e-3)
    assert finding.expected.high < 0.01
    assert finding.expected.value == pytest.approx(1.096 / 1.127 - 1.0, abs=0.025)


@pytest.mark.slow
def test_bars_on_a_small_draw_of_publications():
    """The bench has thousands; these few keep the suite from drifting."""
    accused = decidable = supported = 0
    for seed in range(60):
        made, decided = honest(seed)
        verdict = audit_of(made).verdicts[0].verdict
        accused += verdict is Verdict.CONTRADICTED
        decidable += decided
        supported += decided and verdict is Verdict.SUPPORTED
    assert accused <= 1
    assert decidable >= 4
    assert supported >= 0.8 * decidable
    found = sum(
        audit_of(contradiction(seed)).verdicts[0].verdict is Verdict.CONTRADICTED
        for seed in range(30)
    )
    assert found >= 25
