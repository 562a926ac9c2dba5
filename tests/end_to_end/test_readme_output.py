"""The output that README shows is what the commands print."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import airsense

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
BOXES = ROOT / "examples" / "two_boxes"
NUMBER = r"[+−-]?\d+(?:\.\d+)?"
# Another processor may round the last digit the other way.
LAST_DIGIT = 0.11


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```", README, re.M | re.S)


def same(shown: str, printed: str) -> None:
    """Compare word by word, and numbers to the last digit shown."""
    texts = [" ".join(t.split()) for t in (shown, printed)]
    words, all_words = (re.sub(NUMBER, "#", t) for t in texts)
    numbers = [[float(n.replace("−", "-")) for n in re.findall(NUMBER, t)] for t in texts]
    assert words in all_words
    before = all_words[: all_words.index(words)].count("#")
    own = numbers[1][before : before + len(numbers[0])]
    assert numbers[0] == pytest.approx(own, abs=LAST_DIGIT)


def test_the_demo_prints_what_readme_shows(tmp_path: Path) -> None:
    command = "from airsense.cli.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", command, "demo", "--out", str(tmp_path / "demo")],
        capture_output=True, encoding="utf-8", check=True, timeout=120,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    same(blocks("text")[0], done.stdout)


def test_the_loop_is_what_readme_tells(tmp_path: Path) -> None:
    """Open without lambda; readings at rest show the surplus; a pressure test shows whose it is."""
    logs = {}
    for part in ("before", "after"):
        frames = [pd.read_csv(p) for p in sorted(BOXES.glob(f"{part}_*.csv"))]
        logs[part] = [f.drop(columns="lambda (-)") for f in frames]
    rest_before_and_after, pressure_test = blocks("toml")[:2]
    engine = tmp_path / "engine.toml"
    answers = []
    for measured in ("", rest_before_and_after, rest_before_and_after + pressure_test):
        engine.write_text((BOXES / "engine.toml").read_text("utf-8") + "\n" + measured)
        answers.append(airsense.compare(logs["before"], logs["after"], engine).pairs[0])

    first, rest, tested = answers
    move = first.next_measurement
    same(blocks("text")[1].split("Measure next")[0].removeprefix("NOT DECIDED\n"), first.sentence)
    assert move is not None and "Switch the ignition on" in move.measurement
    assert (rest.verdict.value, rest.reading_cause.value) == ("reading_only", "open")
    assert rest.indicated_surplus is not None
    told = re.search(r"settles that ([\d.]+) % \(([\d.]+) to ([\d.]+)\)", README)
    assert told is not None
    found = rest.indicated_surplus
    values = [100.0 * v for v in (found.value, found.low, found.high)]
    assert [float(n) for n in told.groups()] == pytest.approx(values, abs=LAST_DIGIT)
    assert tested.reading_cause.value == "sensor"
