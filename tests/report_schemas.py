"""The JSON schemas that ship with airsense, from the result classes and the contract.

`python -m tests.report_schemas` writes them; a test holds that the shipped files are these.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from airsense.jobs.audit import AuditResult
from airsense.jobs.channels import ChannelsResult
from airsense.jobs.check import CheckResult
from airsense.jobs.compare import CompareResult
from airsense.jobs.demo import DemoResult
from airsense.jobs.plan import PlanResult
from airsense.jobs.screen_result import ScreenResult
from airsense.transfer.result import RescaleResult
from airsense.transfer.tube import TubeResult

FOLDER = Path(__file__).parents[1] / "airsense" / "report" / "schema"
RESULTS: dict[str, type[Any]] = {
    "audit": AuditResult,
    "channels": ChannelsResult,
    "check": CheckResult,
    "compare": CompareResult,
    "demo": DemoResult,
    "plan": PlanResult,
    "rescale": RescaleResult,
    "screen": ScreenResult,
    "tube": TubeResult,
}
# Keys that scripts outside may rely on: required even where the class has a default.
GUARANTEED = {
    "audit": ("schema", "findings"),
    "channels": ("schema", "channels"),
    "check": ("schema", "verdict", "sensor_error", "estimates", "causes", "findings", "channels"),
    "compare": ("schema", "window", "pairs", "findings", "assumptions", "cautions"),
    "demo": ("schema",),
    "plan": ("schema", "runs_per_configuration", "detectable_change", "budget", "next_measurement"),
    "rescale": (
        "schema",
        "model",
        "scale",
        "cells",
        "residual_before",
        "residual_after",
        "findings",
    ),
    "screen": ("schema",),
    "tube": ("schema",),
}


def make_schema(kind: str) -> dict[str, Any]:
    """Return the schema of a kind of result."""
    made = _plain(TypeAdapter(RESULTS[kind]).json_schema())
    made["required"] = sorted({*made.get("required", ()), *GUARANTEED[kind]})
    made["properties"]["schema"] = {"const": f"airsense.{kind}/1"}
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


def main() -> None:
    """Write the schemas."""
    FOLDER.mkdir(exist_ok=True)
    for kind in RESULTS:
        (FOLDER / f"{kind}.json").write_text(schema_text(kind), encoding="utf-8")


if __name__ == "__main__":
    main()
