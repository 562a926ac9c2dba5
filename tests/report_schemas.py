"""The JSON schemas that ship with airsense, from the result classes and the contract.

`python -m tests.report_schemas [KIND ...]` writes them; a test holds that the shipped files are
these.
"""

from __future__ import annotations

import dataclasses
import importlib
import json
import sys
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

FOLDER = Path(__file__).parents[1] / "airsense" / "report" / "schema"
# Where the class of each kind of result stands; loaded one by one.
RESULTS = {
    "audit": "airsense.jobs.audit:AuditResult",
    "channels": "airsense.jobs.channels:ChannelsResult",
    "check": "airsense.jobs.check:CheckResult",
    "compare": "airsense.jobs.comparison.result:CompareResult",
    "demo": "airsense.jobs.demo:DemoResult",
    "plan": "airsense.jobs.plan:PlanResult",
    "rescale": "airsense.jobs.rescaling.result:RescaleResult",
    "screen": "airsense.jobs.screening.result:ScreenResult",
    "tube": "airsense.transfer.tube:TubeResult",
}
# Keys that scripts outside may rely on: required even where the class has a default.
GUARANTEED = {
    "audit": ("schema", "verdicts", "findings"),
    "channels": ("schema", "channels"),
    "check": ("schema", "verdict", "sensor_error", "estimates", "causes", "findings", "channels"),
    "compare": (
        "schema",
        "window",
        "pairs",
        "logs",
        "priors",
        "findings",
        "assumptions",
        "cautions",
    ),
    "demo": ("schema",),
    "plan": ("schema", "runs_per_configuration", "detectable_change", "budget", "next_measurement"),
    "rescale": (
        "schema",
        "model",
        "scale",
        "cells",
        "residual_before",
        "residual_after",
        "decision",
        "findings",
        "logs",
        "priors",
        "causes",
    ),
    "screen": ("schema",),
    "tube": ("schema",),
}


# Keys of a pair that scripts outside may rely on, though some of them may be null.
PAIR = (
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
)


def make_schema(kind: str) -> dict[str, Any]:
    """Return the schema of a kind of result."""
    module, _, name = RESULTS[kind].partition(":")
    result = getattr(importlib.import_module(module), name)
    made = _plain(TypeAdapter(result).json_schema())
    made["required"] = sorted({*made.get("required", ()), *GUARANTEED[kind]})
    form = next(f.default for f in dataclasses.fields(result) if f.name == "schema")
    made["properties"]["schema"] = {"const": form}
    if kind == "compare":
        pair = made["$defs"]["PairResult"]
        pair["required"] = sorted({*pair["required"], *PAIR})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"airsense {kind}",
        "description": "Numbers are SI units or plain fractions; null stands for no number.",
        **made,
    }


def _plain(schema: Any) -> Any:
    """Name keys as the JSON does, let a number be null, and leave out what says nothing."""
    if isinstance(schema, list):
        return [_plain(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    if schema.get("type") == "number":
        return {"type": ["number", "null"]}
    out: dict[str, Any] = {}
    for key, value in schema.items():
        if key in ("title", "default", "description") and not isinstance(value, dict):
            continue
        if key == "properties":
            out[key] = {name.rstrip("_"): _plain(item) for name, item in value.items()}
        elif key == "required":
            out[key] = [name.rstrip("_") for name in value]
        elif key == "prefixItems":
            out[key] = _plain(value)
        else:
            out[key] = _plain(value)
    return out


def schema_text(kind: str) -> str:
    """Return the file that ships."""
    return json.dumps(make_schema(kind), indent=1, sort_keys=True) + "\n"


def main(*kinds: str) -> None:
    """Write the schemas, or those of some kinds."""
    FOLDER.mkdir(exist_ok=True)
    for kind in kinds or RESULTS:
        (FOLDER / f"{kind}.json").write_text(schema_text(kind), encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
