"""Eighteen planted contradictions, which must be found, and two gains inside the scatter."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from airsense.claims.findings import Check, Outcome
from airsense.claims.verdict import Verdict
from airsense.jobs.audit import run
from tests.faults.audit_cases import (
    DIESEL_2,
    DIESEL_3,
    DIESEL_6,
    DIESEL_12,
    METRIC,
    MIXED,
    PETROL_3,
    PETROL_14,
    PETROL_NA,
    US,
    State,
    Style,
    better_intake,
    claim,
    claims_toml,
    noise_of,
    print_row,
    stated_power,
)

pytestmark = pytest.mark.slow

FULL = ("lambda", "charge_temperature")


@dataclass(frozen=True)
class Planted:
    """A comparison with one false figure, and the check that must find it."""

    name: str
    state: State
    style: Style
    check: Check
    gain: float = 0.02
    air: float = 1.0  # factor on the air of the second row
    power: float = 1.0
    fuel: float = 1.0
    both_air: float = 1.0  # factor on the air of both rows
    both_fuel: float = 1.0
    change: str = ""
    more: str = ""
    outcomes: tuple[Outcome, ...] = (Outcome.CONTRADICTED,)


OPEN = (Outcome.UNDETERMINED,)
CASES = (
    Planted("air without pressure", DIESEL_2, METRIC, Check.AIRFLOW_VS_PRESSURE, air=1.08),
    Planted("air without pressure, US", DIESEL_6, US, Check.AIRFLOW_VS_PRESSURE, air=1.07),
    Planted(
        "air without pressure, all printed", DIESEL_3, replace(MIXED, extra=FULL),
        Check.AIRFLOW_VS_PRESSURE, air=1.06,
    ),
    Planted("air without pressure, petrol", PETROL_14, MIXED, Check.AIRFLOW_VS_PRESSURE, air=1.09),
    Planted("air lost at equal pressure", DIESEL_12, US, Check.AIRFLOW_VS_PRESSURE, air=0.92),
    Planted(
        "air against fuel and lambda", DIESEL_3,
        replace(METRIC, extra=FULL, leave_out=("boost_pressure",)), Check.LAMBDA, air=1.08,
    ),
    Planted("power without fuel", DIESEL_6, US, Check.FUEL_VS_POWER, power=1.07),
    Planted("power without fuel, metric", DIESEL_2, METRIC, Check.FUEL_VS_POWER, power=1.08),
    Planted("power without fuel, petrol", PETROL_3, MIXED, Check.FUEL_VS_POWER, power=1.12),
    Planted("fuel without power", DIESEL_12, METRIC, Check.FUEL_VS_POWER, fuel=1.10),
    Planted("power without air", PETROL_NA, US, Check.POWER_VS_AIRFLOW, power=1.15,
            gain=0.0),
    Planted("impossible filling", DIESEL_3, METRIC, Check.VOLUMETRIC_EFFICIENCY, both_air=1.5),
    Planted("impossibly poor filling", DIESEL_6, US, Check.VOLUMETRIC_EFFICIENCY, both_air=0.5),
    Planted("impossible filling, petrol", PETROL_3, US, Check.VOLUMETRIC_EFFICIENCY, both_air=1.6),
    Planted("too rich to burn", DIESEL_2, METRIC, Check.LAMBDA, both_fuel=1.65),
    Planted("too little fuel", DIESEL_12, MIXED, Check.BRAKE_EFFICIENCY, both_fuel=0.5),
    Planted("percentage off", DIESEL_3, US, Check.ARITHMETIC, gain=0.03, change="+6.5 %"),
    Planted("difference off", PETROL_14, METRIC, Check.ARITHMETIC, gain=0.03, change="+9.0 kW"),
    Planted(
        "gain inside its own scatter", DIESEL_2, METRIC, Check.REPEATABILITY, gain=0.0,
        power=1.004, more='run_scatter = "2 %"', outcomes=OPEN,
    ),
    Planted(
        "gain inside usual scatter", PETROL_3, US, Check.REPEATABILITY, gain=0.0, power=1.008,
        outcomes=OPEN,
    ),
)  # fmt: skip


def planted_toml(case, seed=3):
    """Print a planted comparison: small scatter as anywhere, and the one false figure."""
    rng = np.random.default_rng([seed, len(case.name)])
    state = replace(case.state, loss=0.15 if case.style.power_at == "wheels" else 0.0)
    quiet = {key: 0.3 * value for key, value in noise_of(rng).items()}
    before = print_row(state, case.style, _scaled(quiet, air=case.both_air, fuel=case.both_fuel))
    after = print_row(
        better_intake(state, case.gain),
        case.style,
        _scaled(
            {},
            air=case.both_air * case.air,
            fuel=case.both_fuel * case.fuel,
            power=case.power,
        ),
    )
    change = case.change or stated_power(before, after)
    claims = claim("brake_power", change)
    return claims_toml(state, before, after, case.style, claims=claims, more=case.more)


def _scaled(noise, **factors):
    return noise | {
        key: (1.0 + noise.get(key, 0.0)) * factor - 1.0 for key, factor in factors.items()
    }


def test_there_are_twenty():
    assert len({case.name for case in CASES}) == 20


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_planted_contradiction_is_found(case, tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(planted_toml(case), encoding="utf-8")
    result = run(path)
    found = {f.outcome for f in result.findings if f.check is case.check}
    assert found & set(case.outcomes)
    against = case.outcomes == (Outcome.CONTRADICTED,)
    wanted = Verdict.CONTRADICTED if against else Verdict.UNDETERMINED
    assert result.verdicts[0].verdict is wanted


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_only_figures_that_the_fault_touches_are_contradicted(case, tmp_path):
    """A false air figure may contradict pressure and lambda, never the arithmetic, and so on."""
    path = tmp_path / "claims.toml"
    path.write_text(planted_toml(case), encoding="utf-8")
    against = {f.check for f in run(path).findings if f.outcome is Outcome.CONTRADICTED}
    about_air = {
        Check.AIRFLOW_VS_PRESSURE, Check.VOLUMETRIC_EFFICIENCY, Check.LAMBDA,
        Check.POWER_VS_AIRFLOW, Check.FEEDBACK, Check.RESTRICTION_CEILING,
        Check.FUEL_VS_POWER,  # by the efficiency of the lambda that air and fuel imply
    }  # fmt: skip
    about_fuel = {Check.FUEL_VS_POWER, Check.BRAKE_EFFICIENCY, Check.LAMBDA, Check.POWER_VS_AIRFLOW}
    allowed = {case.check}
    if case.air != 1.0 or case.both_air != 1.0:
        allowed |= about_air
    if case.fuel != 1.0 or case.power != 1.0 or case.both_fuel != 1.0:
        allowed |= about_fuel
    assert against <= allowed
