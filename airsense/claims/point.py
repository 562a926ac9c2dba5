"""One printed configuration as draws of what the engine did: ln of air, pressure, fuel, power.

A drawn figure is the printed one, moved by its rounding, by the calibration error that all
configurations share, and by what differs from configuration to configuration. Where a figure is
missing, a prior stands in, shared between configurations where it would cancel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from airsense.arrays import FloatArray
from airsense.claims import priors as prior
from airsense.claims import weather
from airsense.claims.draws import Source
from airsense.claims.row import Row
from airsense.estimates.defaults import Size
from airsense.physics.charge import (
    COMPRESSOR_EFFICIENCY,
    COOLER_EFFECTIVENESS,
    after_cooler_temperature_k,
    compressor_outlet_temperature_k,
)
from airsense.physics.constants import CELSIUS_ZERO_K
from airsense.setup.engine import Induction
from airsense.setup.power import PowerAt

# A full scale is chosen with this reserve over the highest reading.
FULL_SCALE_RESERVE = 1.25
# Below any idling engine; a deep vacuum at a high place must not be drawn below nothing.
LEAST_MANIFOLD_PA = 5e3


@dataclass(frozen=True)
class Point(Row):
    """A configuration as draws; every property has shape (draws,), or is None if not printed."""

    @cached_property
    def ln_speed(self) -> FloatArray | None:
        """ln(engine speed / rpm)."""
        return self._reading("engine_speed", self.context.sizes.engine_speed, prior.SPEED_SHARED_U)

    @cached_property
    def ln_speed_or_shared(self) -> FloatArray:
        """ln(engine speed / rpm); where it is not printed, a speed common to all, 3000 rpm."""
        if self.ln_speed is not None:
            return self.ln_speed
        ask = Source("engine speed of the figures", "the engine speed of each figure")
        drift = self._normal(f"speed:{self._key}", ask)
        self.context.assume(
            "engine speed",
            f"the same in both configurations within {100 * prior.SPEED_MISSING_U:g} % (k = 1)",
            "not printed",
        )
        return math.log(3000.0) + prior.SPEED_MISSING_U / math.sqrt(2.0) * drift

    @cached_property
    def ln_air(self) -> FloatArray | None:
        """ln(indicated air flow / (kg/s))."""
        flow = self._reading("mass_air_flow", self.context.sizes.mass_air_flow)
        if flow is not None:
            return flow
        stroke = self._reading("air_per_stroke", self.context.sizes.mass_air_flow)
        return None if stroke is None else stroke + self._ln_strokes_per_s

    @cached_property
    def ln_fuel(self) -> FloatArray | None:
        """ln(fuel flow / (kg/s))."""
        size = self.context.sizes.fuel
        flow = self._reading("fuel_mass_flow", size)
        if flow is not None:
            return flow
        stroke = self._reading("fuel_per_stroke", size)
        if stroke is not None:
            return stroke + self._ln_strokes_per_s
        volume = self._reading("fuel_volume_flow", size)
        if volume is None:
            return None
        ask = Source("density of the fuel", "fuel as a mass")
        density = self.context.fuel.density_kgpm3
        return volume + math.log(density) + prior.FUEL_DENSITY_U * self._normal("density", ask)

    @cached_property
    def ln_lambda(self) -> FloatArray | None:
        """ln(lambda) as printed."""
        return self._reading("lambda", self.context.sizes.lambda_)

    @cached_property
    def ln_power(self) -> FloatArray | None:
        """ln(power / W) as printed: at the wheels or at the engine, corrected or not."""
        power = self.printed("brake_power")
        if power is not None:
            return self._reading("brake_power", self._power_size)
        torque = self._reading("brake_torque", self._power_size)
        if torque is None or self.ln_speed is None:
            return None
        return torque + self.ln_speed + math.log(2.0 * math.pi / 60.0)

    @cached_property
    def ln_power_measured(self) -> FloatArray | None:
        """ln(power / W) as run, for the figures of its table: a correction is taken out."""
        if self.ln_power is None:
            return None
        return self.ln_power - weather.ln_factor(self, of_one_table=True)

    @cached_property
    def ln_power_same_weather(self) -> FloatArray | None:
        """ln(power / W) in the reference air, by the engine's own answer to weather."""
        if self.ln_power is None:
            return None
        return self.ln_power - weather.ln_factor(self) - self.ln_power_weather

    @cached_property
    def ln_power_weather(self) -> FloatArray:
        """ln of what the day's weather makes of power as run."""
        return weather.ln_power_response(self)

    @cached_property
    def ln_air_weather(self) -> FloatArray:
        """ln of what the day's weather makes of the air."""
        return weather.ln_air_response(self)

    @cached_property
    def ln_engine_power(self) -> FloatArray | None:
        """ln(power / W) as run at the crankshaft: the driveline's loss added where there is one."""
        if self.ln_power_measured is None:
            return None
        return self.ln_power_measured - np.log1p(-self._driveline_loss)

    @cached_property
    def p_manifold_pa(self) -> FloatArray | None:
        """Absolute manifold pressure. [Pa]"""
        read = self._p_manifold_as_printed()
        if read is None:
            return None
        size = self.context.sizes.manifold_pressure
        ask = Source("calibration of the manifold pressure", "a check of the boost gauge")
        shared = size.absolute * FULL_SCALE_RESERVE * self._normal("abs:pressure", ask)
        return np.asarray(read * np.exp(shared + self._own("manifold_pressure", size)))

    @cached_property
    def t_charge_k(self) -> FloatArray | None:
        """Charge temperature [K]: printed, or estimated from compressor and cooler."""
        figure = self.printed("charge_temperature")
        if figure is not None:
            size = self.context.sizes.charge_temperature
            ask = Source("calibration of the charge temperature", "a check of that sensor")
            shared = size.absolute * self._normal("abs:charge_temperature", ask)
            own = self._own("charge_temperature", size)
            return self._as_printed("charge_temperature", figure) + shared + own
        return self._t_charge_estimated_k()

    def _t_charge_estimated_k(self) -> FloatArray | None:
        ask = Source("charge temperature", "the charge temperature behind the cooler")
        if self.p_manifold_pa is None:
            return None
        shared = prior.CHARGE_ABSOLUTE_U_K * self._normal("heat", ask)
        own = prior.CHARGE_CHANGE_U_K / math.sqrt(2.0) * self._normal(f"heat:{self._key}", ask)
        if self.context.claims.engine.induction is Induction.NATURALLY_ASPIRATED:
            base = self.t_table_k + prior.NATURAL_PICK_UP_K
        else:
            ratio = np.maximum(self.p_manifold_pa / self.p_table_pa, 1.0)
            eta = self._spread(
                "efficiency", ask, COMPRESSOR_EFFICIENCY.low, COMPRESSOR_EFFICIENCY.high
            )
            eps = self._spread("cooler", ask, COOLER_EFFECTIVENESS.low, COOLER_EFFECTIVENESS.high)
            hot = compressor_outlet_temperature_k(self.t_table_k, ratio, eta)
            base = after_cooler_temperature_k(hot, self.t_table_k, eps)
        self.context.assume(
            "charge temperature",
            f"about {np.mean(base) - CELSIUS_ZERO_K:.0f} degC, changes good to "
            f"{prior.CHARGE_CHANGE_U_K:g} K (k = 1)",
            "not printed: from pressure ratio, compressor and cooler with ranges",
        )
        return np.asarray(base + shared + own)

    @property
    def _power_size(self) -> Size:
        own, size = self.context.power_run_u, self.context.sizes.brake_power
        between = size.run**2 * size.between
        total = between + own**2
        return Size(
            label=size.label, absolute=size.absolute, run=total**0.5, between=between / total
        )

    @property
    def _ln_strokes_per_s(self) -> FloatArray:
        engine = self.context.claims.engine
        return self.ln_speed_or_shared + math.log(engine.cylinders * engine.cycles_per_rev / 60.0)

    @property
    def _driveline_loss(self) -> FloatArray:
        stated = self.context.claims.publication.driveline_loss
        if stated is not None:
            return np.full(self.context.draws.size, stated.value)
        place = self.power_at
        if place is PowerAt.ENGINE:
            return np.zeros(self.context.draws.size)
        ask = Source("driveline loss", "whether power is at the wheels, and the coast-down loss")
        loss = self._spread("loss", ask, prior.DRIVELINE_LOSS.low, prior.DRIVELINE_LOSS.high)
        value = f"{prior.DRIVELINE_LOSS.low:.2f} to {prior.DRIVELINE_LOSS.high:.2f} at the wheels"
        if place is None:
            at_wheels = self._spread("wheels", ask, 0.0, 1.0) < 0.5
            loss = np.where(at_wheels, loss, 0.0)
            value += ", or none at the engine: not said which"
        self.context.assume("driveline loss", value, prior.DRIVELINE_LOSS.source)
        return loss

    @property
    def power_at(self) -> PowerAt | None:
        """Where the power was measured, if the row or the publication says so."""
        figure = self.printed("brake_power")
        named = figure.power_at if figure is not None else None
        return named or self.context.claims.publication.power_at

    def _p_manifold_as_printed(self) -> FloatArray | None:
        for name in ("manifold_pressure", "boost_pressure"):
            figure = self.printed(name)
            if figure is None:
                continue
            draws = self._as_printed(name, figure)
            usual = "gauge" if name == "boost_pressure" else "absolute"
            gauge = (figure.reference or usual) == "gauge"
            absolute = draws + self.p_table_pa if gauge else draws
            return np.maximum(absolute, LEAST_MANIFOLD_PA)
        if self.context.claims.engine.induction is Induction.NATURALLY_ASPIRATED:
            ask = Source("manifold pressure", "the manifold pressure")
            return self.p_table_pa * self._spread("throttle", ask, 0.93, 1.0)
        return None

    def _reading(self, name: str, size: Size, loose: float = 0.0) -> FloatArray | None:
        figure = self.printed(name)
        if figure is None:
            return None
        ask = Source(f"calibration of {size.label}", f"a calibration of {size.label}")
        u_shared = math.hypot(size.absolute, loose)
        shared = u_shared * self._normal(f"abs:{size.label}", ask)
        return np.log(self._as_printed(name, figure)) + shared + self._own(name, size)

    def _own(self, name: str, size: Size) -> FloatArray:
        """Return what differs between configurations: half-shared drift and run scatter."""
        u = size.run * math.sqrt(0.5 * size.between + (1.0 - size.between) / self.runs)
        ask = Source(
            f"run-to-run scatter of {size.label}", "repeat runs of each configuration, in ABA order"
        )
        return np.asarray(u * self._normal(f"own:{name}:{self._key}", ask))
