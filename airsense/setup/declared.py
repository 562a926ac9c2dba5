"""The base of everything that a user declares."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Declared(BaseModel):
    """Base of everything that a user declares: frozen, unknown keys are errors."""

    # Built on first use: a section inside another is then built once, not twice.
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)
