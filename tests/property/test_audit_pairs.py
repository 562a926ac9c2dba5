"""Which rows of a publication are one configuration, and what is held against what."""

from __future__ import annotations

import re

import pytest

from airsense.claims.findings import Check
from airsense.jobs.audit import audit
from airsense.setup.claims import Claims

ENGINE = {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}


def audited(*rows: dict[str, str], change: str = "+5.0 %"):
    claim = {"quantity": "mass_air_flow", "from": "a", "to": "b", "change": change}
    return audit(
        Claims.model_validate({"engine": ENGINE, "result": list(rows), "claim": [claim]}),
        source="x",
    )


def row(intake: str, speed: str, air: str, **more: str) -> dict[str, str]:
    return {"intake": intake, "engine_speed": speed, "mass_air_flow": air, **more}


@pytest.mark.parametrize(
    ("speed", "subject", "low", "high"),
    [
        # 214 over the mean of 200 and 204 is +5.94 %; over 200 alone +7.0 %.
        ("3050 rpm", "a -> b: mass air flow", 5.2, 6.7),
        ("3100 rpm", "a -> b at 3000 rpm: mass air flow", 6.1, 7.9),
    ],
)
def test_rows_within_two_percent_of_speed_repeat_one_configuration(
    speed: str, subject: str, low: float, high: float
) -> None:
    result = audited(
        row("a", "3000 rpm", "200.0 g/s"),
        row("a", speed, "204.0 g/s"),
        row("b", "3000 rpm", "214.0 g/s"),
    )
    (found,) = (f for f in result.findings if f.check is Check.REPEATABILITY)
    assert found.subject == subject
    assert f"(+{low} % to +{high} %)" in found.sentence


def lambda_of(result):
    return next(f for f in result.findings if f.check is Check.LAMBDA and f.measured is not None)


def test_what_fuel_and_lambda_leave_of_the_air_is_the_surplus() -> None:
    """10 % more air shown, fuel and lambda explain 4 %: 1.10/1.04 is left over, +5.8 %."""
    rows = (
        row("a", "3000 rpm", "200.0 g/s", fuel_mass_flow="10.00 g/s", **{"lambda": "1.375"}),
        row("b", "3000 rpm", "220.0 g/s", fuel_mass_flow="10.40 g/s", **{"lambda": "1.375"}),
    )
    found = lambda_of(audited(*rows, change="+10.0 %"))
    assert "air changes by +10 %; fuel and lambda explain +4.0 %" in found.sentence
    low, high = re.findall(r"([+-][\d.]+) % to ([+-][\d.]+) % is left over", found.sentence)[0]
    assert float(low) < 5.77 < float(high)
    assert 0.5 * (float(low) + float(high)) == pytest.approx(5.77, abs=0.2)
