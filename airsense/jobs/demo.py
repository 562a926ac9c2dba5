"""The demo: copy our own scenario, run the main jobs on it, and hold them against its truth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

import airsense
from airsense.jobs import audit, compare, rescale
from airsense.jobs.audit import AuditResult
from airsense.jobs.comparison.result import CompareResult
from airsense.jobs.rescaling.result import RescaleResult
from airsense.reference import shipped_path
from airsense.report.as_json import to_json
from airsense.report.files import refuse_overwrite, write_text
from airsense.results import CAUTIONS, Presented

SCENARIO = "examples/two_boxes"
ENGINE, CLAIMS, TRUTH = "engine.toml", "claims.toml", "truth.csv"
TABLE, NEW_TABLE = "maf_table.csv", "maf_table_new.csv"
BEFORE, AFTER = (tuple(f"{side}_{k}.csv" for k in (1, 2, 3)) for side in ("before", "after"))
FILES = (ENGINE, CLAIMS, TRUTH, TABLE, *BEFORE, *AFTER)


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthRow:
    """A quantity of the scenario: what the simulator made, and whether the interval holds it."""

    quantity: str
    truth: float
    low: float
    high: float
    inside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoResult(Presented):
    """The answers of the main jobs on the scenario, and the scenario's truth."""

    schema: str = "airsense.demo/1"
    version: str = airsense.__version__
    folder: str
    files: tuple[str, ...]
    compare: CompareResult
    rescale: RescaleResult
    audit: AuditResult
    truth: tuple[TruthRow, ...]
    cautions: tuple[str, ...] = CAUTIONS


def run(folder: Path, *, force: bool = False) -> DemoResult:
    """Write the scenario into `folder` and run compare, rescale and audit on it.

    Raises
    ------
    InputError
        If a file of the scenario exists already and `force` is not given.
    """
    folder.mkdir(parents=True, exist_ok=True)
    results = {name: folder / f"{name}.json" for name in ("compare", "rescale", "audit")}
    for name in (*FILES, NEW_TABLE, *(path.name for path in results.values())):
        refuse_overwrite(folder / name, force=force)
    scenario = shipped_path(SCENARIO)
    for name in FILES:
        write_text(folder / name, (scenario / name).read_bytes().decode("utf-8"), force=force)
    before, after = ([folder / name for name in names] for names in (BEFORE, AFTER))
    engine, table = folder / ENGINE, folder / TABLE
    compared = compare.run(engine, before, after)
    rescaled = rescale.run(engine, after, table, baseline=before)
    audited = audit.run(folder / CLAIMS)
    for name, result in (("compare", compared), ("rescale", rescaled), ("audit", audited)):
        write_text(results[name], to_json(result), force=force)
    rescale.write_table(rescaled, table, folder / NEW_TABLE, force=force)
    return DemoResult(
        folder=str(folder),
        files=tuple(sorted(p.name for p in folder.iterdir() if p.is_file())),
        compare=compared,
        rescale=rescaled,
        audit=audited,
        truth=_truth(folder / TRUTH, compared),
    )


def _truth(table: Path, compared: CompareResult) -> tuple[TruthRow, ...]:
    pair = compared.pairs[0]
    low, high = compared.window.engine_speed_rpm
    speed_rpm, *changes = np.loadtxt(table, delimiter=",", skiprows=1, unpack=True)
    inside = (speed_rpm >= low) & (speed_rpm <= high)
    names = ("sensor_skew", "airflow_change")
    intervals = (pair.sensor_skew, pair.airflow_change)
    truths = (float(np.mean(percent[inside])) / 100.0 for percent in changes)
    return tuple(
        TruthRow(
            quantity=name,
            truth=truth,
            low=interval.low,
            high=interval.high,
            inside=interval.contains(truth),
        )
        for name, truth, interval in zip(names, truths, intervals, strict=True)
        if interval is not None
    )
