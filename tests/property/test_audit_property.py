"""Audits give one answer: in any unit, any order, each time."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.claims.draws import Draws, Source
from airsense.claims.findings import Check
from airsense.estimates.defaults import BETWEEN_SHARE
from airsense.jobs.audit import audit
from airsense.setup.claims import Claims
from airsense.setup.printed import read_printed

METRIC = {
    "engine_speed": "3000 rpm",
    "brake_power": "200.0 kW",
    "boost_pressure": "150.0 kPa",
    "mass_air_flow": "220.0 g/s",
    "fuel_mass_flow": "11.50 g/s",
}
SAME_IN_US_UNITS = {
    "engine_speed": "3000 rpm",
    "brake_power": "268.20 hp",
    "boost_pressure": "21.756 psi",
    "mass_air_flow": "29.101 lb/min",
    "fuel_mass_flow": "1.5212 lb/min",
}
AFTER = METRIC | {"brake_power": "210.0 kW", "mass_air_flow": "231.0 g/s"}


def claims_of(before, after, **publication):
    return Claims.model_validate(
        {
            "engine": {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"},
            "publication": publication,
            "result": [{"intake": "a", **before}, {"intake": "b", **after}],
            "claim": [{"quantity": "brake_power", "from": "a", "to": "b", "change": "+5 %"}],
        }
    )


def by_check(result):
    return {(f.check, f.subject): f for f in result.findings}


def test_the_answer_is_the_same_each_time():
    assert audit(claims_of(METRIC, AFTER), source="x") == audit(
        claims_of(METRIC, AFTER), source="x"
    )


def test_units_do_not_matter():
    metric = by_check(audit(claims_of(METRIC, AFTER), source="x"))
    mixed = by_check(audit(claims_of(SAME_IN_US_UNITS, AFTER), source="x"))
    assert metric.keys() == mixed.keys()
    for key, finding in metric.items():
        assert finding.outcome is mixed[key].outcome
        if finding.measured is not None and finding.check is not Check.ARITHMETIC:
            assert finding.measured.value == pytest.approx(
                mixed[key].measured.value, rel=2e-3, abs=5e-4
            )


def test_the_order_of_the_rows_does_not_matter():
    claims = claims_of(METRIC, AFTER)
    turned = claims.model_copy(update={"result": claims.result[::-1]})
    first, second = audit(claims, source="x"), audit(turned, source="x")
    assert first.verdicts == second.verdicts


def test_another_figure_does_not_change_the_others():
    """Each unknown has a stream of its own: more print, same draws elsewhere."""
    plain = by_check(audit(claims_of(METRIC, AFTER), source="x"))
    more = by_check(audit(claims_of(METRIC | {"lambda": "1.3"}, AFTER), source="x"))
    key = next(k for k in plain if k[0] is Check.VOLUMETRIC_EFFICIENCY and k[1] == "a")
    assert plain[key].measured == more[key].measured


def test_a_stated_uncertainty_replaces_the_rounding():
    loose = by_check(
        audit(claims_of(METRIC | {"boost_pressure": "150.0 +- 9 kPa"}, AFTER), source="x")
    )
    tight = by_check(audit(claims_of(METRIC, AFTER), source="x"))
    key = next(k for k in tight if k[0] is Check.AIRFLOW_VS_PRESSURE)
    assert loose[key].difference.half_width > 1.3 * tight[key].difference.half_width
    assert any("boost pressure" in line.source.label for line in loose[key].budget)


def test_more_runs_narrow_the_change_but_not_below_the_drift_between():
    widths = [
        next(
            f.measured.half_width
            for f in audit(claims_of(METRIC, AFTER, runs_per_configuration=n), source="x").findings
            if f.check is Check.REPEATABILITY
        )
        for n in (1, 3, 100)
    ]
    assert widths[0] > widths[1] > widths[2]
    assert widths[2] > 1.95 * 0.007 * BETWEEN_SHARE**0.5


@given(value=st.floats(1.0, 900.0), digits=st.integers(0, 3))
def test_rounding_is_half_of_the_last_digit(value, digits):
    text = f"{value:.{digits}f} kW"
    printed = read_printed(text, "W")
    assert printed.half_width == pytest.approx(0.5e3 * 10.0**-digits)
    assert printed.u == pytest.approx(printed.half_width / 3.0**0.5)
    assert printed.value == pytest.approx(float(text.split(maxsplit=1)[0]) * 1e3)


@pytest.mark.parametrize(
    ("text", "u_w"), [("100 +- 2 kW", 2e3 / 1.959964), ("100 kW", 0.5e3 / 3.0**0.5)]
)
def test_plus_minus_is_read_as_95_per_cent(text, u_w):
    assert read_printed(text, "W").u == pytest.approx(u_w, rel=1e-6)


@settings(max_examples=20)
@given(key=st.text(min_size=1, max_size=12))
def test_draws_have_the_moments_of_their_distribution(key):
    draws = Draws()
    source = Source("s", "t")
    assert abs(draws.normal("n" + key, source).mean()) < 1e-3
    assert draws.normal("n" + key, source).std() == pytest.approx(1.0, abs=1e-3)
    assert draws.uniform("u" + key, source).std() == pytest.approx(3.0**-0.5, abs=1e-4)
    assert draws.exponential("e" + key, source).mean() == pytest.approx(1.0, abs=1e-3)


def test_shares_name_the_larger_source_first():
    draws = Draws()
    large, small = Source("large", "a"), Source("small", "b")
    statistic = 3.0 * draws.normal("x", large) + draws.uniform("y", small)
    shares = draws.shares(statistic)
    assert [s.source.label for s in shares] == ["large", "small"]
    # Variances 9 and 1/3.
    assert shares[0].share == pytest.approx(9.0 / (9.0 + 1.0 / 3.0), abs=0.02)
    assert shares[1].share == pytest.approx((1.0 / 3.0) / (9.0 + 1.0 / 3.0), abs=0.02)
