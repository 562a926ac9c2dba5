"""Twenty sound comparisons, in metric and US units: not one may be accused of anything."""

from dataclasses import replace

import numpy as np
import pytest

from airsense.claims.findings import Outcome
from airsense.claims.verdict import Verdict
from airsense.jobs.audit import run
from tests.faults.audit_cases import (
    ENGINES,
    STYLES,
    better_intake,
    claim,
    claims_toml,
    noise_of,
    print_row,
    stated_power,
)

EXTRAS = ((), ("lambda",), ("charge_temperature",), ("lambda", "charge_temperature"))


def sound_case(number, seed=0):
    """Return a sound comparison: engine, units and what is printed differ from case to case."""
    rng = np.random.default_rng([seed, number])
    engine = ENGINES[number % len(ENGINES)]
    style = replace(STYLES[number % len(STYLES)], extra=EXTRAS[number % len(EXTRAS)])
    if number % 5 == 4:
        style = replace(style, leave_out=("fuel_per_stroke", "fuel_mass_flow"))
    state = replace(
        engine,
        ve=engine.ve * rng.uniform(0.96, 1.03),
        lambda_=engine.lambda_ * rng.uniform(0.97, 1.05),
        p_ambient_kpa=rng.uniform(94.0, 102.0),
        loss=rng.uniform(0.12, 0.2) if style.power_at == "wheels" else 0.0,
    )
    gain = rng.uniform(0.0, 0.045)
    if state.induction == "naturally_aspirated":
        gain = 0.4 * gain
    before = print_row(state, style, noise_of(rng))
    after = print_row(better_intake(state, gain), style, noise_of(rng))
    return claims_toml(
        state, before, after, style, claims=claim("brake_power", stated_power(before, after))
    )


@pytest.mark.parametrize("number", range(20))
def test_a_sound_comparison_is_not_accused(number, tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(sound_case(number), encoding="utf-8")
    result = run(path)
    accused = [f for f in result.findings if f.outcome is Outcome.CONTRADICTED]
    assert accused == []
    assert result.verdicts[0].verdict is not Verdict.CONTRADICTED


@pytest.mark.slow
def test_false_accusations_stay_rare_over_many_sound_comparisons(tmp_path):
    path = tmp_path / "claims.toml"
    accused = 0
    for number in range(30):
        path.write_text(sound_case(number, seed=1), encoding="utf-8")
        accused += any(f.outcome is Outcome.CONTRADICTED for f in run(path).findings)
    assert accused <= 1


@pytest.mark.parametrize("number", [0, 7, 14])
def test_a_large_sound_gain_is_called_a_gain(number, tmp_path):
    rng = np.random.default_rng(number)
    state = replace(ENGINES[number % len(ENGINES)], loss=0.0)
    before = print_row(state, STYLES[0], {})
    after = print_row(better_intake(state, 0.045), STYLES[0], noise_of(rng))
    path = tmp_path / "claims.toml"
    claims = claim("brake_power", stated_power(before, after)) + claim("mass_air_flow", "+4 %")
    day = 'power_correction = "ISO 1585"\nbarometric_pressure = "990 mbar"\n'
    day += 'ambient_temperature = "24 degC"'
    path.write_text(
        claims_toml(state, before, after, STYLES[0], claims=claims, more=day), encoding="utf-8"
    )
    verdicts = [v.verdict for v in run(path).verdicts]
    assert verdicts == [Verdict.SUPPORTED, Verdict.SUPPORTED]
