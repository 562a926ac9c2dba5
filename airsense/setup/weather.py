"""[weather] as frozen models: what a wall barometer and a thermometer said."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field

from airsense.setup.declared import Declared


class DeclaredWeather(Declared):
    """Weather that holds where the log has none; None where it was not declared."""

    # Whom the declaration is for: "" means all.
    holds_for: ClassVar[str] = ""

    barometric_pressure_kpa: Annotated[float, Field(ge=45.0, le=115.0, strict=True)] | None = None
    ambient_temperature_c: Annotated[float, Field(ge=-50.0, le=60.0, strict=True)] | None = None
    relative_humidity: Annotated[float, Field(ge=0.0, le=1.0, strict=True)] | None = None

    @property
    def said_by(self) -> str:
        """Where the declaration stands, for provenance."""
        return f"declared for {self.holds_for}" if self.holds_for else "declared"


class BeforeWeather(DeclaredWeather):
    """Weather of the first configuration."""

    holds_for: ClassVar[str] = "before"


class AfterWeather(DeclaredWeather):
    """Weather of the second configuration."""

    holds_for: ClassVar[str] = "after"


class RunWeather(DeclaredWeather):
    """Weather of one run."""

    holds_for: ClassVar[str] = "the run"


class EngineWeather(DeclaredWeather):
    """[weather] of engine.toml: common to all logs, and by configuration.

    In `one_session` both configurations were driven within hours and in one place.
    """

    one_session: Annotated[bool, Field(strict=True)] = False
    before: BeforeWeather = Field(default_factory=BeforeWeather)
    after: AfterWeather = Field(default_factory=AfterWeather)
