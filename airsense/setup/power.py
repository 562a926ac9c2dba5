"""[power] as a frozen model: where power was measured and whether it was corrected."""

from __future__ import annotations

from enum import Enum
from typing import Annotated

from pydantic import Field

from airsense.setup.declared import Declared


class PowerAt(Enum):
    """Where power was measured."""

    WHEELS = "wheels"
    ENGINE = "engine"


class DeclaredPower(Declared):
    """What the log's power is; None where the header has to tell.

    `corrected` is "no", "unknown", or the correction's name, such as "ISO 1585".
    """

    at: PowerAt | None = None
    corrected: Annotated[str, Field(min_length=1)] | None = None
