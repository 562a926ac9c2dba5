"""The schemas that ship: kept in step with the results, and the contract's keys required."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from airsense.errors import InputError
from airsense.report.as_json import to_plain
from airsense.report.kinds import KINDS, schema_of
from airsense.report.validate import validate
from tests.report_results import UNMATCHED, result_of
from tests.report_schemas import FOLDER, schema_text

pytestmark = pytest.mark.slow

# Written from the contract, not from the classes: what scripts outside rely on.
PAIR = [
    "intake",
    "tune",
    "baseline",
    "question",
    "verdict",
    "reading_cause",
    "sentence",
    "airflow_change_indicated",
    "airflow_change",
    "airflow_change_weather",
    "airflow_change_demand",
    "airflow_change_feedback",
    "airflow_change_intake",
    "indicated_surplus",
    "sensor_skew",
    "brake_power_change",
    "fuel_change",
    "estimates",
    "causes",
    "by_speed",
    "next_measurement",
]
CELL = ["signal", "flow_old", "flow_new", "correction", "low", "high", "samples", "support"]
TOP = {
    "compare": [
        "schema",
        "window",
        "pairs",
        "logs",
        "priors",
        "findings",
        "assumptions",
        "cautions",
    ],
    "check": ["schema", "verdict", "sensor_error", "estimates", "causes", "findings", "channels"],
    "rescale": [
        "schema",
        "model",
        "scale",
        "cells",
        "residual_before",
        "residual_after",
        "findings",
    ],
    "audit": ["schema", "findings"],
    "plan": ["schema", "runs_per_configuration", "detectable_change", "budget", "next_measurement"],
}
INNER = {
    "PairResult": PAIR,
    "EstimateRow": ["method", "change", "used", "reason"],
    "CauseResult": ["cause", "probability", "not_separable_from"],
    "NextMeasurement": ["key", "cost", "measurement", "reason", "toml"],
    "LogUse": ["path", "role", "used", "segments", "weather"],
    "SegmentUse": ["kind", "start_s", "stop_s", "used", "reason"],
    "PriorRow": ["cause", "probability", "size", "unit", "source"],
    "LawRow": ["law", "probability", "source"],
    "PowerRow": ["text", "factor_before", "factor_after", "change", "in_range"],
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_shipped_schema_is_that_of_the_result(kind: str) -> None:
    shipped = (FOLDER / f"{kind}.json").read_text(encoding="utf-8")
    assert shipped == schema_text(kind), "run python -m tests.report_schemas"


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_is_a_schema(kind: str) -> None:
    Draft202012Validator.check_schema(schema_of(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_a_result_fits_its_schema(kind: str) -> None:
    validate(to_plain(result_of(kind)), where="result")


@pytest.mark.parametrize(("kind", "keys"), TOP.items())
def test_keys_of_the_contract_are_required(kind: str, keys: list[str]) -> None:
    assert set(keys) <= set(schema_of(kind)["required"])
    plain = to_plain(result_of(kind))
    for key in keys:
        with pytest.raises(InputError):
            validate({k: v for k, v in plain.items() if k != key}, where="result")


@pytest.mark.parametrize(("name", "keys"), INNER.items())
def test_inner_keys_of_a_comparison_are_required(name: str, keys: list[str]) -> None:
    assert set(keys) <= set(schema_of("compare")["$defs"][name]["required"])


def test_inner_keys_of_cells_and_findings_are_required() -> None:
    assert set(CELL) <= set(schema_of("rescale")["$defs"]["Cell"]["required"])
    finding = schema_of("audit")["$defs"]["AuditFinding"]["required"]
    assert {"check", "subject", "outcome", "measured", "expected", "sentence", "settle_by"} <= set(
        finding
    )


def test_verdicts_are_those_of_the_contract() -> None:
    verdicts = schema_of("compare")["$defs"]["Verdict"]["enum"]
    assert set(verdicts) == {
        "gain_supported",
        "partly_supported",
        "loss_supported",
        "gain_elsewhere",
        "reading_only",
        "no_change",
        "tune_gain_supported",
        "tune_no_gain",
        "undetermined",
    }
    causes = schema_of("compare")["$defs"]["ReadingCause"]["enum"]
    assert set(causes) == {"none", "sensor", "air_lost_behind_sensor", "open"}
    assert set(schema_of("rescale")["$defs"]["Support"]["enum"]) == {
        "measured",
        "interpolated",
        "held",
    }


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("pairs", 0, "verdict"), "maybe"),
        (("pairs", 0, "airflow_change"), 0.1),
        (("pairs", 0, "reading_cause"), "perhaps"),
        (("logs", 0, "segments", 1, "used"), "no"),
        (("pairs", 0, "airflow_change", "low"), "0.1"),
        (("pairs", 0, "by_speed", 3, "samples"), 1.5),
        (("window",), None),
        (("findings",), {}),
    ],
)
def test_a_wrong_value_is_named_with_its_place(path: tuple[Any, ...], value: Any) -> None:
    plain = copy.deepcopy(to_plain(result_of("compare")))
    at = plain
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    with pytest.raises(InputError) as raised:
        validate(plain, where="r.json")
    assert str(path[0]) in raised.value.where


def test_null_is_a_value_where_full_load_was_not_matched() -> None:
    validate(to_plain(UNMATCHED), where="result")


@pytest.mark.parametrize("plain", [None, [], {}, {"schema": 3}, {"schema": "other/1"}, "x"])
def test_what_is_no_result_is_refused(plain: Any) -> None:
    with pytest.raises(InputError, match="no result"):
        validate(plain, where="r.json")
