"""`airsense demo` end to end: truth inside the intervals, both causes named, files complete."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ENVIRONMENT = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "200"}
SKEW, GAIN = 0.05, 0.035  # of the scenario: the bore of its tube, and its boost and filter box


def demo(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from airsense.cli.main import main; main()", "demo", *args],
        capture_output=True, text=True, check=False, env=ENVIRONMENT, timeout=300,
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo") / "scenario"
    done = demo("--out", str(out), "--json", str(out.parent / "demo.json"))
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    (out.parent / "text.txt").write_text(done.stdout, encoding="utf-8")
    return out


def test_truth_is_inside_and_not_by_being_vague(folder: Path) -> None:
    result = json.loads((folder.parent / "demo.json").read_text(encoding="utf-8"))
    assert result["schema"] == "airsense.demo/1"
    rows = {row["quantity"]: row for row in result["truth"]}
    assert set(rows) == {"sensor_skew", "airflow_change"}
    for name, truth in (("sensor_skew", SKEW), ("airflow_change", GAIN)):
        row = rows[name]
        assert row["truth"] == pytest.approx(truth, abs=0.005)
        assert row["low"] <= row["truth"] <= row["high"]
        assert row["inside"]
        assert row["high"] - row["low"] < 0.06


def test_both_a_skew_and_a_gain_are_answered(folder: Path) -> None:
    compare = json.loads((folder / "compare.json").read_text(encoding="utf-8"))
    (pair,) = compare["pairs"]
    # The engine's own gain is shown; whose it is stays open without a logged demand.
    assert pair["verdict"] == "reading_only"
    assert pair["reading_cause"] == "sensor"
    assert "Part of it is in the reading only" in pair["sentence"]
    assert pair["causes"][0]["cause"] == "sensor_scale"
    assert pair["causes"][0]["probability"] > 0.5
    assert pair["sensor_skew"]["low"] > 0.0
    assert pair["airflow_change"]["low"] > 0.0
    assert pair["manifold_pressure_change"]["low"] > 0.0, "the boost target was raised"
    parts = [pair[f"airflow_change_{n}"] for n in ("weather", "demand", "feedback", "intake")]
    whole = np.prod([1.0 + part["value"] for part in parts]) - 1.0
    assert whole == pytest.approx(pair["airflow_change"]["value"], abs=0.004)
    indicated = pair["airflow_change_indicated"]["value"]
    product = (1.0 + pair["airflow_change"]["value"]) * (1.0 + pair["sensor_skew"]["value"]) - 1.0
    assert product == pytest.approx(indicated, abs=0.012)


def test_all_files_of_the_scenario_are_there(folder: Path) -> None:
    names = {p.name for p in folder.iterdir()}
    assert {
        "engine.toml", "claims.toml", "maf_table.csv", "maf_table_new.csv", "compare.json",
        "rescale.json", "audit.json",
    } <= names  # fmt: skip
    assert sum(n.startswith("before") for n in names) == 3
    assert sum(n.startswith("after") for n in names) == 3
    assert not [n for n in names if n.startswith(".")]


def test_the_text_says_what_the_simulator_knows(folder: Path) -> None:
    text = (folder.parent / "text.txt").read_text(encoding="utf-8")
    assert "An invented engine" in text
    assert "sensor's reading        +5.0 %" in text
    assert text.count(" yes ") + text.count(" yes\n") >= 2
    assert "certifies nothing" in text


def test_a_second_run_refuses_and_changes_nothing(folder: Path) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    done = demo("--out", str(folder))
    assert done.returncode == 1
    assert "the file exists" in done.stderr
    assert "--force" in done.stderr
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_the_same_seed_gives_the_same_answer(folder: Path, tmp_path: Path) -> None:
    done = demo("--out", str(tmp_path / "again"), "--quiet")
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    for name in ("before_1.csv", "engine.toml", "maf_table_new.csv"):
        if (folder / name).exists():
            assert (tmp_path / "again" / name).read_bytes() == (folder / name).read_bytes()
    first, second = (
        json.loads((f / "compare.json").read_text(encoding="utf-8"))["pairs"][0]
        for f in (folder, tmp_path / "again")
    )
    assert first["sensor_skew"] == second["sensor_skew"]
