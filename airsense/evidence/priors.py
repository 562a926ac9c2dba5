"""The prior table of the causes: how likely, how large, and why. Our choices, in one place.

Probabilities describe a comparison in which someone changed the intake tube. Sizes are standard
deviations (k = 1) of a Gaussian around zero, as fractions of the flow or, for a temperature, in
kelvin. `heavy_share` of the probability has `heavy_size` instead: what happens seldom is then
large.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from airsense.cause import Cause

SENSOR_CAUSES = (Cause.SENSOR_SCALE, Cause.SENSOR_SHAPE, Cause.PULSATION)
LEAK_CAUSES = (Cause.LEAK_AFTER_COMPRESSOR, Cause.LEAK_BEFORE_COMPRESSOR)
PRESSURE_CAUSES = (Cause.MANIFOLD_PRESSURE_GAIN, Cause.MANIFOLD_PRESSURE_OFFSET)
OUR_CHOICE = "our choice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Probability and size of one cause, with the reason."""

    cause: Cause
    probability: float
    size: float
    reason: str
    unit: str = "fraction"
    heavy_share: float = 0.0
    heavy_size: float = 0.0
    source: str = OUR_CHOICE

    @property
    def parts(self) -> tuple[tuple[float, float], ...]:
        """Return (probability, size) of the usual and of the large part."""
        if not self.heavy_share:
            return ((self.probability, self.size),)
        heavy = self.probability * self.heavy_share
        return ((self.probability - heavy, self.size), (heavy, self.heavy_size))


# What happens at the sensor or between it and the engine: one of these, or none.
SENSOR_PRIORS = (
    Prior(
        cause=Cause.SENSOR_SCALE,
        probability=0.50,
        size=0.03,
        heavy_share=0.35,
        heavy_size=0.12,
        reason="a bore or profile change is the usual effect of a new tube; 1 mm in 80 is 2.5 %",
    ),
    Prior(
        cause=Cause.SENSOR_SHAPE,
        probability=0.06,
        size=0.03,
        reason="a bend or filter whose effect changes with flow",
    ),
    Prior(
        cause=Cause.PULSATION,
        probability=0.04,
        size=0.05,
        reason="reverse flow reads as forward flow at low speed; depends on tube length",
    ),
    Prior(
        cause=Cause.LEAK_AFTER_COMPRESSOR,
        probability=0.03,
        size=0.04,
        heavy_share=0.25,
        heavy_size=0.12,
        reason="couplers are opened in the work; leaks grow with boost",
    ),
    Prior(
        cause=Cause.LEAK_BEFORE_COMPRESSOR,
        probability=0.01,
        size=0.025,
        reason="a joint behind the sensor may draw unmetered air, but the depression is small",
    ),
)

# What can shift a route between the configurations without any change of air: at most one.
FAULT_PRIORS = (
    Prior(
        cause=Cause.MANIFOLD_PRESSURE_GAIN,
        probability=0.035,
        size=0.04,
        heavy_share=0.25,
        heavy_size=0.12,
        reason="a drifted sensor; seldom an exchanged one or a wrong unit, then large",
    ),
    Prior(
        cause=Cause.MANIFOLD_PRESSURE_OFFSET,
        probability=0.012,
        size=0.02,
        heavy_share=0.25,
        heavy_size=0.08,
        reason="a shifted zero, as a fraction of 100 kPa: within a data sheet's 1 % of full scale; "
        "seldom a wrong zero",
    ),
    Prior(
        cause=Cause.CHARGE_TEMPERATURE,
        probability=0.025,
        size=3.0,
        unit="K",
        heavy_share=0.08,
        heavy_size=12.0,
        reason="heat soak that the lag correction misses; seldom a sensor that was moved",
    ),
    Prior(
        cause=Cause.VOLUMETRIC_EFFICIENCY,
        probability=0.030,
        size=0.012,
        heavy_share=0.06,
        heavy_size=0.035,
        reason="what an intake does to breathing at one manifold state: back pressure and heat; "
        "seldom a valve train or exhaust that changed with it",
    ),
    Prior(
        cause=Cause.RECIRCULATION,
        probability=0.004,
        size=0.04,
        reason="a valve that leaks under load in one configuration only: it is shut there, and no "
        "intake opens it; at idle and part load more",
    ),
    Prior(
        cause=Cause.FUEL_SCALE,
        probability=0.015,
        size=0.025,
        heavy_share=0.25,
        heavy_size=0.08,
        reason="fuel temperature (30 K are 2.4 % of density), rail pressure, a tank of another "
        "blend; seldom a worn pump, another injector or its map",
    ),
    Prior(
        cause=Cause.LAMBDA_SCALE,
        probability=0.012,
        size=0.04,
        reason="an aged or moved lambda sensor, leak in the exhaust",
    ),
)

# A leak that the work made is likelier than one that the work mended.
NEW_LEAK_SHARE = 0.85
# A factor beside a shape, pulsation or leak.
COMPANION_SIZE = 0.03
# A tube that fits by one factor may still bend the curve a little, in proportion to it: profile
# models differ by that.
FACTOR_BEND = 0.08
# Nothing is known beforehand about the level of one configuration's reading: nearly flat.
LEVEL_SIZE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PriorTable:
    """The priors in force: causes at the sensor or behind it, and faults of the routes."""

    sensor: tuple[Prior, ...] = SENSOR_PRIORS
    fault: tuple[Prior, ...] = FAULT_PRIORS

    def rows(self) -> tuple[Prior, ...]:
        """Return all rows in the order in which they are printed."""
        return (*self.sensor, *self.fault)

    def of(self, cause: Cause) -> Prior:
        """Return the row of a cause."""
        return next(p for p in self.rows() if p.cause is cause)

    def of_level(self) -> PriorTable:
        """Return the table for a level without a baseline: the reading's factor is wide open."""
        scale = replace(
            self.of(Cause.SENSOR_SCALE),
            size=LEVEL_SIZE,
            heavy_share=0.0,
            heavy_size=0.0,
            reason="nothing is known beforehand about the level of one configuration's reading",
        )
        return self.changed({Cause.SENSOR_SCALE: scale})

    def changed(self, replaced: Mapping[Cause, Prior]) -> PriorTable:
        """Return the table with some rows replaced."""
        return PriorTable(
            sensor=tuple(replaced.get(p.cause, p) for p in self.sensor),
            fault=tuple(replaced.get(p.cause, p) for p in self.fault),
        )

    def without(self, causes: Sequence[Cause]) -> PriorTable:
        """Return the table in which some causes cannot be."""
        return PriorTable(
            sensor=tuple(p for p in self.sensor if p.cause not in causes),
            fault=tuple(p for p in self.fault if p.cause not in causes),
        )

    def with_odds(self, factor: float, causes: Sequence[Cause] = tuple(Cause)) -> PriorTable:
        """Return the table with the odds of some causes against the others times a factor."""
        return PriorTable(
            sensor=_with_odds(self.sensor, factor, causes),
            fault=_with_odds(self.fault, factor, causes),
        )

    def with_sizes(self, factor: float) -> PriorTable:
        """Return the table with all sizes times a factor."""
        return PriorTable(
            sensor=tuple(_sized(p, factor) for p in self.sensor),
            fault=tuple(_sized(p, factor) for p in self.fault),
        )


def _sized(prior: Prior, factor: float) -> Prior:
    return replace(prior, size=prior.size * factor, heavy_size=prior.heavy_size * factor)


def _with_odds(
    rows: tuple[Prior, ...], factor: float, causes: Sequence[Cause]
) -> tuple[Prior, ...]:
    raised = [p.probability * (factor if p.cause in causes else 1.0) for p in rows]
    total = 1.0 - sum(p.probability for p in rows) + sum(raised)
    return tuple(replace(p, probability=r / total) for p, r in zip(rows, raised, strict=True))
