"""Whatever is printed, an audit answers or names the bad figure; it never fails."""

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.jobs.audit import audit
from airsense.report.as_json import to_json
from airsense.setup.claims import Claims


def _text(low, high, unit, digits=2):
    return st.floats(low, high).map(lambda x: f"{x:.{digits}f} {unit}")


FIGURES = {
    "engine_speed": _text(60, 20_000, "rpm", 0),
    "brake_power": _text(1, 3000, "hp", 1),
    "brake_torque": _text(5, 9000, "N*m", 0),
    "boost_pressure": _text(-0.85, 5.0, "bar"),
    "manifold_pressure": _text(15, 800, "kPa", 1),
    "barometric_pressure": _text(50, 110, "kPa", 1),
    "charge_temperature": _text(-30, 200, "degC", 0),
    "ambient_temperature": _text(-30, 55, "degC", 0),
    "relative_humidity": _text(0, 100, "%", 0),
    "mass_air_flow": _text(0.1, 4000, "g/s", 1),
    "air_per_stroke": _text(1, 9000, "mg", 0),
    "fuel_per_stroke": _text(0.1, 900, "mg", 1),
    "fuel_mass_flow": _text(0.01, 200, "g/s"),
    "fuel_volume_flow": _text(0.1, 300, "l/h", 1),
    "lambda": st.floats(0.3, 20).map(lambda x: f"{x:.2f}"),
    "inlet_depression": _text(0, 25, "kPa", 1),
}
ROW = st.fixed_dictionaries({}, optional=FIGURES)
ENGINE = st.fixed_dictionaries(
    {
        "displacement_l": st.sampled_from([0.05, 1.4, 3.0, 12.7, 60.0]),
        "cylinders": st.sampled_from([1, 4, 8]),
        "ignition": st.sampled_from(["compression", "spark"]),
        "strokes": st.sampled_from([2, 4]),
        "induction": st.sampled_from(["turbocharged", "naturally_aspirated"]),
    }
)
CLAIM = st.fixed_dictionaries(
    {"quantity": st.sampled_from(["brake_power", "mass_air_flow", "boost_pressure", "lambda"])},
    optional={"change": st.sampled_from(["+3 %", "-1.5 %"]), "within_scatter": st.booleans()},
)


@example(
    engine={"displacement_l": 1.4, "cylinders": 4, "ignition": "spark"},
    before={},
    after={"boost_pressure": "-0.90 bar"},
    claims=[],
)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(engine=ENGINE, before=ROW, after=ROW, claims=st.lists(CLAIM, max_size=2))
@pytest.mark.slow
def test_any_figures_get_an_answer_or_a_five_part_error(engine, before, after, claims):
    claims = Claims.model_validate(
        {
            "engine": engine,
            "result": [{"intake": "a", **before}, {"intake": "b", **after}],
            "claim": [{"from": "a", "to": "b", **claim} for claim in claims],
        }
    )
    try:
        result = audit(claims, source="claims.toml")
    except InputError as error:
        assert "which its result does not print" in error.what
        return
    assert to_json(result)
    for finding in result.findings:
        assert finding.sentence
        assert "nan" not in finding.sentence
