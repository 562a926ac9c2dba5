"""Three invented engines for the forward model, from `reference_data/simulated_engines.toml`."""

from __future__ import annotations

import tomllib

from pydantic import TypeAdapter

from airsense.reference import reference_path
from airsense.simulate.engine_model import EngineModel

__all__ = ["ENGINES", "LARGE_TURBO_DIESEL", "TURBO_DIESEL", "TURBO_PETROL", "EngineModel"]


def _engines() -> tuple[EngineModel, ...]:
    text = reference_path("simulated_engines.toml").read_text(encoding="utf-8")
    return TypeAdapter(tuple[EngineModel, ...]).validate_python(tomllib.loads(text)["engine"])


ENGINES = _engines()
TURBO_DIESEL, LARGE_TURBO_DIESEL, TURBO_PETROL = ENGINES
