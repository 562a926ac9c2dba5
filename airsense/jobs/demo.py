"""The demo: write our own scenario, run the main jobs on it, and hold them against its truth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import airsense
from airsense.jobs import audit, compare, rescale
from airsense.jobs.audit import AuditResult
from airsense.jobs.comparison.result import CompareResult
from airsense.jobs.rescaling.result import RescaleResult
from airsense.report.as_json import to_json
from airsense.report.files import refuse_overwrite, write_text
from airsense.results import CAUTIONS, Presented
from airsense.simulate.demo import DemoScenario, write_demo

NEW_TABLE = "maf_table_new.csv"


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
    new_table = folder / NEW_TABLE
    results = {name: folder / f"{name}.json" for name in ("compare", "rescale", "audit")}
    for path in (new_table, *results.values()):
        refuse_overwrite(path, force=force)
    scenario = write_demo(folder, lambda path, text: write_text(path, text, force=force))
    compared = compare.run(scenario.engine_toml, scenario.before, scenario.after)
    rescaled = rescale.run(
        scenario.engine_toml, scenario.after, scenario.table, baseline=scenario.baseline
    )
    audited = audit.run(scenario.claims_toml)
    for name, result in (("compare", compared), ("rescale", rescaled), ("audit", audited)):
        write_text(results[name], to_json(result), force=force)
    rescale.write_table(rescaled, scenario.table, new_table, force=force)
    return DemoResult(
        folder=str(folder),
        files=tuple(sorted(p.name for p in folder.iterdir() if p.is_file())),
        compare=compared,
        rescale=rescaled,
        audit=audited,
        truth=_truth(scenario, compared),
    )


def _truth(scenario: DemoScenario, compared: CompareResult) -> tuple[TruthRow, ...]:
    pair = compared.pairs[0]
    low, high = compared.window.engine_speed_rpm
    rows = (
        ("sensor_skew", scenario.truth.skew(low, high), pair.sensor_skew),
        ("airflow_change", scenario.truth.airflow_change(low, high), pair.airflow_change),
    )
    return tuple(
        TruthRow(
            quantity=name,
            truth=float(truth),
            low=interval.low,
            high=interval.high,
            inside=interval.contains(float(truth)),
        )
        for name, truth, interval in rows
        if interval is not None
    )
