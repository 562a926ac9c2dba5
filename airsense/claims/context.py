"""What an audit works on: configurations with their printed rows, and what they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from airsense.claims.draws import Draws
from airsense.estimates.defaults import Defaults
from airsense.physics.fuel import FuelProperties
from airsense.results import Assumption
from airsense.setup.claims import Claims, Result
from airsense.setup.printed import Printed

_NAMES = {
    "brake_power": "power",
    "brake_torque": "torque",
    "boost_pressure": "boost pressure",
    "manifold_pressure": "manifold pressure",
    "mass_air_flow": "mass air flow",
    "fuel_per_stroke": "fuel per stroke",
    "fuel_mass_flow": "fuel flow",
    "fuel_volume_flow": "fuel flow",
    "air_per_stroke": "air per stroke",
    "charge_temperature": "charge temperature",
    "barometric_pressure": "barometer",
    "engine_speed": "engine speed",
    "ambient_temperature": "ambient temperature",
    "inlet_depression": "intake depression",
}


def plain_name(quantity: str) -> str:
    """Return a channel name in plain words."""
    return _NAMES.get(quantity, quantity.replace("_", " "))


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """An intake at a tune and speed, with the rows that print it (several rows are repeats)."""

    intake: str
    tune: str
    rows: tuple[Result, ...]
    speed_text: str = ""

    @property
    def name(self) -> str:
        """The configuration in words."""
        parts = [self.intake, self.tune, self.speed_text]
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What all configurations of one audit share."""

    claims: Claims
    fuel: FuelProperties
    sizes: Defaults
    power_run_u: float
    draws: Draws = field(default_factory=Draws)
    assumptions: dict[str, Assumption] = field(default_factory=dict)

    @property
    def pressure_ratio(self) -> float:
        """A middling compressor pressure ratio of the printed rows, 2.2 where none prints boost."""
        found = []
        for row in self.claims.result:
            for figure, usual in ((row.manifold_pressure, 0.0), (row.boost_pressure, 98e3)):
                if figure is not None:
                    gauge = {"gauge": 98e3, "absolute": 0.0}.get(figure.reference, usual)
                    found.append((figure.value + gauge) / 98e3)
        return float(np.clip(np.mean(found), 1.2, 4.5)) if found else 2.2

    def assume(self, quantity: str, value: str, source: str) -> None:
        """Record that something was taken for granted."""
        self.assumptions[quantity] = Assumption(quantity=quantity, value=value, source=source)


def mean_figure(figures: Sequence[Printed]) -> Printed:
    """Return repeats of a figure as one: their mean, with the print's share averaged."""
    count = len(figures)
    if count == 1:
        return figures[0]
    first = figures[0]
    return Printed(
        value=float(np.mean([f.value for f in figures])),
        half_width=float(np.sqrt(np.sum([f.half_width**2 for f in figures])) / count),
        explicit=first.explicit,
        text=f"mean of {count} runs",
        unit_text=first.unit_text,
        scale=first.scale,
        reference=first.reference,
        power_at=first.power_at,
    )
