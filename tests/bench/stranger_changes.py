"""The strangers' campaigns with a known change laid over them: is the new truth still held?

Run as `python -m tests.bench.stranger_changes [DIR]`. A factor on the reading after the change
moves the truth by just that factor; exchanged sides turn it round; two sets of the first sides'
logs hold no change at all; channels that are taken away change nothing. None of it needs a
simulator, so the truth stays the stranger's.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pandas as pd

import airsense
from airsense.errors import InputError
from tests.bench.answers import GAIN_WORDS, Answer, answer_of
from tests.bench.strangers import FIGURE_BY_WEIGHT, FOLDER, campaigns, logs_of

READING = ("Mass Air Flow", "Air Mass per Stroke")
TAKEN_AWAY = {
    "lambda": ("Lambda",),
    "humidity and demand": ("Intake Air Relative Humidity", "Boost Pressure Demand"),
    "barometer": ("Barometric Pressure",),
}
KEYS = ("sensor_skew", "indicated_surplus", "airflow_change", "airflow_change_intake")
FACTORS = (0.93, 1.0, 1.05)
# Below these a truth is none; from this a surplus is one that a word has to own up to.
NO_SKEW, SURELY_THERE = 0.002, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is laid over a campaign; `logs` is "all", "one" each, or "no change" at all."""

    factor: float = 1.0
    exchanged: bool = False
    without: str = ""
    logs: str = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What was said of a changed campaign, beside its truth."""

    name: str
    change: Change
    truth: dict[str, float]
    answer: Answer | None
    refused: str = ""

    def missed(self) -> list[str]:
        """Return the quantities whose interval does not hold the truth."""
        return [k for k in self.judged() if not self.answer.intervals[k].contains(self.truth[k])]

    def judged(self) -> list[str]:
        """Return the quantities with a truth and an interval; a figure by weight judges nothing."""
        by_weight = self.name in FIGURE_BY_WEIGHT and self.change.logs != "no change"
        found = [] if self.answer is None else [k for k in self.truth if k in self.answer.intervals]
        return [k for k in found if not (by_weight and k == "indicated_surplus")]

    def wrong(self) -> str:
        """Return the word that claims what is not there, or an empty text."""
        if self.answer is None:
            return ""
        verdict, cause = self.answer.verdict, self.answer.reading_cause
        surplus = abs(self.truth["indicated_surplus"])
        gain = self.truth.get("airflow_change_intake", self.truth.get("airflow_change", 0.0))
        if cause == "sensor" and abs(self.truth["sensor_skew"]) < NO_SKEW:
            return cause
        if cause == "air_lost_behind_sensor" and self.name != "drive_leak":
            return cause
        if (cause == "none" or verdict == "no_change") and surplus > SURELY_THERE:
            return "no change"
        return verdict if verdict in GAIN_WORDS and gain < NO_SKEW else ""


def changes() -> Iterator[Change]:
    """Yield the changes: all logs in any way, few logs with every channel."""
    for factor, exchanged in product(FACTORS, (False, True)):
        yield Change(factor=factor, exchanged=exchanged)
        yield Change(factor=factor, exchanged=exchanged, logs="one")
        yield Change(factor=factor, exchanged=exchanged, without="lambda")
    for factor in FACTORS:
        yield Change(factor=factor, logs="no change")
    for exchanged, without in product((False, True), ("humidity and demand", "barometer")):
        yield Change(exchanged=exchanged, without=without)


def tell(folder: Path, change: Change) -> Told | None:
    """Change a campaign, compare it, and return what was said; None where nothing is changed."""
    before, after = ([pd.read_csv(p) for p in side] for side in logs_of(folder))
    gone = _columns(before[0], TAKEN_AWAY.get(change.without, ()))
    if change.without and not gone:
        return None
    planted = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    truth = {k: planted[k] for k in KEYS if k in planted}
    if change.logs == "no change":
        before, after = before[: len(before) // 2], before[len(before) // 2 :]
        truth = {"sensor_skew": 0.0, "indicated_surplus": 0.0}
    if change.exchanged:
        before, after = after, before
        truth.pop("airflow_change_intake", None)  # its order among the parts turns round too
        truth = {k: 1.0 / (1.0 + v) - 1.0 for k, v in truth.items()}
    if change.logs == "one":
        before, after = before[-1:], after[:1]
    for key in ("sensor_skew", "indicated_surplus"):
        truth[key] = (1.0 + truth[key]) * change.factor - 1.0
    for log in after:
        log[_columns(log, READING)] *= change.factor
    sides = ([log.drop(columns=gone, errors="ignore") for log in side] for side in (before, after))
    try:
        answer, refused = answer_of(airsense.compare(*sides, folder / "engine.toml")), ""
    except InputError as error:
        answer, refused = None, error.what
    return Told(name=folder.name, change=change, truth=truth, answer=answer, refused=refused)


def _columns(log: pd.DataFrame, names: Sequence[str]) -> list[str]:
    return [c for c in log.columns if c.startswith(tuple(names))] if names else []


def summary(rows: Sequence[Told]) -> str:
    """Return the shares of intervals that hold, and how many words were wrong."""
    shares = []
    for key in KEYS:
        held = [key not in r.missed() for r in rows if key in r.judged()]
        shares.append(f"{key} {sum(held)} of {len(held)}")
    refused, wrong = sum(bool(r.refused) for r in rows), sum(bool(r.wrong()) for r in rows)
    return f"{len(rows)} campaigns, {refused} refused, {wrong} wrong words; " + ", ".join(shares)


def main() -> None:
    """Run on all cores and print what was missed, was wrong, or was refused."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    given = parser.parse_args()
    tasks = list(product(campaigns(given.folder), changes()))
    with ProcessPoolExecutor() as pool:
        told = pool.map(tell, *zip(*tasks, strict=True), chunksize=4)
        rows = [row for row in told if row is not None]
    for row in rows:
        said = [*row.missed(), row.wrong(), row.refused]
        if any(said):
            print(row.name, row.change, row.truth, said, row.answer, flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main()
