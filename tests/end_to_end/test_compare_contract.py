"""What others rely on in a comparison: keys, nulls, parts, logs, and that no log stops another."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from airsense.estimates.segments import Kind
from airsense.jobs.compare import CompareResult, compare_logs
from airsense.logs.log import Log
from airsense.report.as_json import to_json
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, Driving, own_channels
from tests.simulate.engines import TURBO_DIESEL

TOP = {
    "schema", "window", "pairs", "logs", "priors", "findings", "assumptions", "cautions",
    "boost_control", "power_corrections",
}  # fmt: skip
PAIR = {
    "intake", "tune", "baseline", "verdict", "reading_cause", "sentence", "question",
    "airflow_change_indicated", "airflow_change", "airflow_change_weather",
    "airflow_change_demand", "airflow_change_feedback", "airflow_change_intake",
    "indicated_surplus", "sensor_skew", "brake_power_change", "fuel_change", "estimates",
    "causes", "by_speed", "next_measurement",
}  # fmt: skip
OF_THE_ENGINE = [k for k in sorted(PAIR) if k.startswith("airflow_change")] + ["brake_power_change"]
PARTS = ("weather", "demand", "feedback", "intake")
WORDS = {
    "gain_supported", "partly_supported", "loss_supported", "gain_elsewhere", "reading_only",
    "no_change", "undetermined",
}  # fmt: skip


@cache
def campaign(name: str) -> SimulatedCampaign:
    cases = {
        "sweeps": Case(skew=0.05, boost_change=0.04),
        "own": own_channels(Case(skew=0.05)),
        "hold": own_channels(Case(skew=0.06, driving=(Driving.HOLD,))),
        "steps": Case(skew=0.06, driving=(Driving.STEPS,)),
    }
    (made,) = simulate_campaigns(TURBO_DIESEL, [cases[name]], 17)
    return made


@cache
def result(name: str) -> CompareResult:
    made = campaign(name)
    if name == "hold":
        return compare_logs(made.before[:1], made.after[:1], made.setup)
    return compare_logs(made.before, made.after, made.setup)


NAMES = ("sweeps", "own", "hold", "steps")


@pytest.mark.parametrize("name", NAMES)
def test_keys_of_the_contract_are_there(name: str) -> None:
    plain = json.loads(to_json(result(name)))
    assert plain.keys() >= TOP
    assert plain["schema"] == "airsense.compare/2"
    (pair,) = plain["pairs"]
    assert pair.keys() >= PAIR
    assert pair["verdict"] in WORDS
    assert pair["reading_cause"] in {"none", "sensor", "air_lost_behind_sensor", "open"}
    assert pair["question"] == "intake"
    low, high = plain["window"]["engine_speed_rpm"]
    assert 500.0 < low < high < 7000.0
    assert pair["next_measurement"].keys() >= {"key", "cost", "measurement", "reason", "toml"}
    assert pair["next_measurement"]["cost"] in {"free", "cheap", "dear"}
    for row in pair["estimates"]:
        assert row.keys() >= {"method", "change", "used", "reason"}
        assert row["used"] or row["reason"]
    for row in pair["causes"]:
        assert row.keys() >= {"cause", "probability", "not_separable_from"}


@pytest.mark.parametrize("name", NAMES)
def test_intervals_are_in_order_and_plain_fractions(name: str) -> None:
    plain = json.loads(to_json(result(name)))
    found = [v for v in plain["pairs"][0].values() if isinstance(v, dict) and "low" in v]
    assert found
    for v in found:
        assert v["low"] <= v["value"] <= v["high"]
        assert v["low"] > -0.5
        assert v["high"] < 0.5


@pytest.mark.parametrize("name", NAMES)
def test_every_log_lists_its_stretches_with_a_reason_where_unused(name: str) -> None:
    plain = json.loads(to_json(result(name)))
    words = {k.word for k in Kind}
    for log in plain["logs"]:
        assert log.keys() >= {"path", "role", "used", "segments", "odd", "weather"}
        assert log["role"] in {"before", "after"}
        assert log["segments"]
        for s in log["segments"]:
            assert s["kind"] in words
            assert s["start_s"] <= s["stop_s"]
            assert s["used"] or s["reason"]
    assert any(s["used"] for log in plain["logs"] for s in log["segments"])


@pytest.mark.parametrize("name", NAMES)
def test_the_prior_table_is_printed(name: str) -> None:
    rows = json.loads(to_json(result(name)))["priors"]
    assert {r["cause"] for r in rows} == {
        "sensor_scale", "sensor_shape", "pulsation", "leak_after_compressor",
        "leak_before_compressor", "manifold_pressure_gain", "manifold_pressure_offset",
        "charge_temperature", "volumetric_efficiency", "recirculation", "fuel_scale",
        "lambda_scale",
    }  # fmt: skip
    assert all({"probability", "size", "unit", "source"} <= r.keys() for r in rows)


@pytest.mark.parametrize("name", ["hold", "steps"])
def test_without_matched_full_load_nothing_of_the_engine_is_given(name: str) -> None:
    pair = json.loads(to_json(result(name)))["pairs"][0]
    assert {k: pair[k] for k in OF_THE_ENGINE} == dict.fromkeys(OF_THE_ENGINE)
    assert pair["indicated_surplus"] is not None
    assert pair["verdict"] in {"reading_only", "no_change", "undetermined"}
    assert "engine's own change was not looked at" in pair["sentence"]


@pytest.mark.parametrize("name", ["sweeps", "own"])
def test_parts_multiply_to_the_whole(name: str) -> None:
    """By the means of their logarithms: a part's value is exp of it, less one."""
    pair = json.loads(to_json(result(name)))["pairs"][0]
    product = np.prod([1.0 + pair[f"airflow_change_{p}"]["value"] for p in PARTS])
    assert product == pytest.approx(1.0 + pair["airflow_change"]["value"], abs=0.004)


@pytest.mark.parametrize("name", ["sweeps", "own"])
def test_indicated_is_the_engines_air_times_the_surplus(name: str) -> None:
    pair = json.loads(to_json(result(name)))["pairs"][0]
    product = (1.0 + pair["airflow_change"]["value"]) * (1.0 + pair["indicated_surplus"]["value"])
    assert product - 1.0 == pytest.approx(pair["airflow_change_indicated"]["value"], abs=0.003)


# Everything that was driven counts, and nothing stops the rest


def cut_to(log: Log, start_s: float, stop_s: float, name: str) -> Log:
    channels = {}
    for key, c in log.channels.items():
        keep = (c.time_s >= start_s) & (c.time_s < stop_s)
        channels[key] = replace(c, time_s=c.time_s[keep], value=c.value[keep])
    return replace(log, path=name, sha256=name, channels=channels)


def span_of(result: CompareResult, kind: str) -> tuple[float, float]:
    segments = [s for s in result.logs[0].segments if s.kind == kind]
    return min(s.start_s for s in segments), max(s.stop_s for s in segments)


@pytest.mark.parametrize("side", ["before", "after"])
def test_an_idle_log_beside_three_sweeps_moves_the_answer_by_little(side: str) -> None:
    made, plain = campaign("own"), result("own")
    start, stop = span_of(plain, "idle")
    idle = cut_to(made.before[0] if side == "before" else made.after[0], start, stop, "idle.csv")
    before: Sequence[Log] = [*made.before, idle] if side == "before" else made.before
    after: Sequence[Log] = [*made.after, idle] if side == "after" else made.after
    got = compare_logs(before, after, made.setup)
    own, old = got.pairs[0].indicated_surplus, plain.pairs[0].indicated_surplus
    assert own is not None
    assert old is not None
    assert abs(own.value - old.value) < 0.005
    assert got.pairs[0].airflow_change is not None
    assert got.pairs[0].verdict is plain.pairs[0].verdict
    (log,) = [row for row in got.logs if row.path == "idle.csv"]
    assert {s.kind for s in log.segments} == {"idle"}


def test_a_single_hold_before_and_after_is_answered() -> None:
    pair = result("hold").pairs[0]
    truth = campaign("hold").truth
    assert pair.indicated_surplus is not None
    assert pair.indicated_surplus.contains(0.06), truth
    assert pair.indicated_surplus.half_width < 0.04
    kinds = {s.kind for log in result("hold").logs for s in log.segments if s.used}
    assert "hold" in kinds


def test_a_copied_barometer_proves_nothing() -> None:
    """The same logs, but the barometer is the sensor's own reading at key-on: still is no row."""
    made = campaign("own")

    def copied(logs: Sequence[Log]) -> list[Log]:
        out = []
        for log in logs:
            p, speed = log["manifold_pressure"], log["engine_speed"]
            running = speed.time_s[np.flatnonzero(speed.value > 100.0)[0]]
            still = float(np.median(p.value[p.time_s < running - 0.5]))
            barometer = replace(p, name="barometric_pressure", value=np.full(p.value.size, still))
            out.append(replace(log, channels={**log.channels, "barometric_pressure": barometer}))
        return out

    got = compare_logs(copied(made.before), copied(made.after), made.setup).pairs[0]
    still = next(f for f in got.free_evidence if "still" in f.kind)
    assert still.found == 0
    assert "the same sensor, and proves nothing" in still.sentence
    plain = result("own").pairs[0]
    assert next(f for f in plain.free_evidence if "still" in f.kind).found == 6


def test_the_same_logs_give_the_same_answer() -> None:
    made = campaign("sweeps")
    again = compare_logs(made.before, made.after, made.setup)
    assert to_json(again) == to_json(result("sweeps"))
