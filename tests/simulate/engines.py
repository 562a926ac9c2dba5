"""Three invented engines for the forward model, from `engines.toml` beside this file."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import TypeAdapter

from tests.simulate.engine_model import EngineModel

__all__ = ["ENGINES", "LARGE_TURBO_DIESEL", "TURBO_DIESEL", "TURBO_PETROL", "EngineModel"]


def _engines() -> tuple[EngineModel, ...]:
    text = Path(__file__).with_name("engines.toml").read_text(encoding="utf-8")
    return TypeAdapter(tuple[EngineModel, ...]).validate_python(tomllib.loads(text)["engine"])


ENGINES = _engines()
TURBO_DIESEL, LARGE_TURBO_DIESEL, TURBO_PETROL = ENGINES
