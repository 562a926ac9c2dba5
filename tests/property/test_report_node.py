"""The view of a result: what the schema does not know is an error, not an empty place."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from airsense.errors import InputError
from airsense.report.as_json import to_plain
from airsense.report.kinds import KINDS, kind_named, name_of, schema_of
from airsense.report.node import Node, UnknownKeyError, node_of
from airsense.report.says import blocks
from airsense.results import Interval
from tests.report_results import COMPARE, UNMATCHED, campaign


def test_an_unknown_key_is_an_error_that_names_key_and_kind() -> None:
    node = node_of(COMPARE)
    for wrong in (node, node.pairs[0], node.pairs[0].by_speed[0], node.logs[0].weather):
        with pytest.raises(UnknownKeyError, match=r"compare.*'sentense'"):
            _ = wrong.sentense
        with pytest.raises(UnknownKeyError, match=r"compare.*'of it'"):
            _ = wrong["of it"]


def test_a_key_that_the_data_hold_and_the_schema_does_not_is_unknown_too() -> None:
    plain = to_plain(COMPARE)
    plain["extra"] = 1
    with pytest.raises(UnknownKeyError):
        _ = node_of(plain).extra


def test_a_required_key_that_is_missing_is_an_error() -> None:
    plain = to_plain(COMPARE)
    del plain["pairs"][0]["sentence"]
    with pytest.raises(UnknownKeyError, match="lacks"):
        _ = node_of(plain).pairs[0].sentence


def test_what_is_optional_may_be_none() -> None:
    assert node_of(UNMATCHED).pairs[0].airflow_change is None
    plain = to_plain(COMPARE)
    del plain["curves"]
    assert node_of(plain).curves is None


def test_values_keep_their_kind() -> None:
    pair = node_of(COMPARE).pairs[0]
    assert pair.airflow_change == Interval(0.05, 0.05 - 0.011, 0.05 + 0.011)
    assert isinstance(pair.estimates, tuple) and isinstance(pair.estimates[0], Node)
    assert node_of(COMPARE).window.engine_speed_rpm == (1650.0, 3950.0)


def test_the_schema_says_whether_a_key_exists() -> None:
    node = node_of(COMPARE)
    assert "logs" in node and "cells" not in node


@pytest.mark.parametrize("form", ["0", "1"])
def test_an_older_result_has_to_be_made_again(form: str) -> None:
    with pytest.raises(InputError, match="made again") as raised:
        node_of({**to_plain(COMPARE), "schema": f"airsense.compare/{form}"})
    assert "airsense compare" in raised.value.fix


@pytest.mark.parametrize("name", [None, 3, "", "compare/2", "airsense.other/1", "other.compare/2"])
def test_what_is_no_result_is_refused(name: object) -> None:
    with pytest.raises(InputError, match="no result"):
        kind_named(name)


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_found_by_its_name(kind: str) -> None:
    assert kind_named(name_of(kind)) == kind


# Kept for scripts, or said by another key of the same row.
UNSHOWN = {
    "CompareResult": {"version", "schema"},
    "PairResult": set(),
    "LogUse": set(),
    "SpeedRow": set(),
    "EstimateRow": set(),
    "SpoolUp": {"verdict", "step", "engine_speed_before_rpm", "engine_speed_after_rpm"},
    "NextMeasurement": {"worth"},
    "Finding": set(),
}


def test_nothing_of_a_comparison_is_left_unsaid(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every key of a comparison is looked at by what it says, but for those named above."""
    shapes = {
        frozenset(d.get("properties", ())): n for n, d in schema_of("compare")["$defs"].items()
    }
    shapes[frozenset(schema_of("compare")["properties"])] = "CompareResult"
    seen: dict[str, set[str]] = {}
    original = Node.__getitem__

    def watched(self: Node, name: str) -> Any:
        seen.setdefault(shapes[frozenset(self._properties)], set()).add(name)
        return original(self, name)

    monkeypatch.setattr(Node, "__getitem__", watched)
    # One with laws and power of its own pairs, one with those of the whole.
    blocks(replace(COMPARE, boost_control=(), power_corrections=()))
    blocks(campaign(1))
    for keys, name in shapes.items():
        if name in UNSHOWN:
            assert keys - seen[name] == UNSHOWN[name], name
