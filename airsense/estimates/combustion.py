"""Fuel mass flow, lambda and brake power on a run's grid, from whatever form was logged."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.estimates.run import on_grid
from airsense.logs.log import Log
from airsense.physics.exhaust import lambda_from_carbon_dioxide_dry, lambda_from_oxygen_dry
from airsense.physics.fuel import FuelProperties, fuel_from_composition, fuel_named
from airsense.results import Assumption
from airsense.setup.engine import Engine, EngineSetup, Fuel, Ignition

# Incomplete mixing leaves this much oxygen in the exhaust of a rich mixture (mole fraction): our
# choice.
LEAST_OXYGEN = 0.003

PUMP_PETROL, PUMP_RANGE = "petrol", ("petrol_e0", "petrol_e10")
_BY_IGNITION = {Ignition.COMPRESSION: "diesel", Ignition.SPARK: "petrol_e10"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelFlow:
    """Fuel mass flow on the grid [kg/s], and whether it came as mass per stroke."""

    mdot_kgps: FloatArray | None
    per_stroke: bool
    assumptions: tuple[Assumption, ...] = ()


def u_afr_unknown_blend(fuel: FuelProperties) -> float:
    """Return the relative standard uncertainty of the stoichiometric ratio of a pump fuel.

    Petrol of unknown ethanol lies anywhere between none and a tenth: half of the range over the
    root of three (JCGM 100:2008, 4.3.7). Other fuels have none of it.
    """
    if fuel.name != PUMP_PETROL:
        return 0.0
    ends = [fuel_named(name).afr_stoich for name in PUMP_RANGE]
    return float(abs(ends[1] - ends[0]) / (2.0 * np.sqrt(3.0) * fuel.afr_stoich))


def fuel_of(setup: EngineSetup) -> tuple[FuelProperties, tuple[Assumption, ...]]:
    """Return the declared fuel, or the usual one for the ignition as an assumption.

    Raises
    ------
    InputError
        If the fuel is unknown and no composition is given.
    """
    declared = setup.fuel
    if declared.hydrogen_to_carbon is not None:
        own = fuel_from_composition(
            declared.hydrogen_to_carbon,
            declared.oxygen_to_carbon or 0.0,
            lower_heating_value_mj_kg=declared.lower_heating_value_mj_kg,
            density_kg_l=declared.density_kg_l,
        )
        return own, ()
    name = declared.name or _BY_IGNITION[setup.engine.ignition]
    assumed = (
        ()
        if declared.name
        else (Assumption(quantity="fuel", value=name, source="from the ignition; see [fuel]"),)
    )
    return _with_declared(fuel_named(name), declared), assumed


def _with_declared(named: FuelProperties, declared: Fuel) -> FuelProperties:
    """Return a fuel of the table with what the user measured of it."""
    lhv, density = declared.lower_heating_value_mj_kg, declared.density_kg_l
    return replace(
        named,
        lhv_jpkg=named.lhv_jpkg if lhv is None else lhv * 1e6,
        density_kgpm3=named.density_kgpm3 if density is None else density * 1e3,
    )


def per_stroke_to_flow_kgps(m_kg: FloatArray, speed_rpm: FloatArray, engine: Engine) -> FloatArray:
    """Return the flow of a mass per cylinder and working cycle. [kg/s]"""
    return m_kg * engine.cylinders * engine.cycles_per_rev * speed_rpm / 60.0


def find_fuel_flow(
    log: Log, setup: EngineSetup, fuel: FuelProperties, time_s: FloatArray, speed_rpm: FloatArray
) -> FuelFlow:
    """Return the fuel mass flow: mass flow, else volume flow, else mass or volume per stroke."""
    mass = on_grid(log, "fuel_mass_flow", time_s)
    if mass is not None:
        return FuelFlow(mdot_kgps=mass, per_stroke=False)
    density = fuel.density_kgpm3
    note = Assumption(
        quantity="fuel density", value=f"{density:.0f} kg/m3", source=f"fuel {fuel.name}"
    )
    volume = on_grid(log, "fuel_volume_flow", time_s)
    if volume is not None:
        _require_density(fuel, log)
        return FuelFlow(mdot_kgps=volume * density, per_stroke=False, assumptions=(note,))
    stroke = on_grid(log, "fuel_per_stroke", time_s)
    if stroke is not None:
        flow = per_stroke_to_flow_kgps(stroke, speed_rpm, setup.engine)
        return FuelFlow(mdot_kgps=flow, per_stroke=True)
    shot = on_grid(log, "fuel_volume_per_stroke", time_s)
    if shot is not None:
        _require_density(fuel, log)
        flow = per_stroke_to_flow_kgps(shot * density, speed_rpm, setup.engine)
        return FuelFlow(mdot_kgps=flow, per_stroke=True, assumptions=(note,))
    return FuelFlow(mdot_kgps=None, per_stroke=False)


def _require_density(fuel: FuelProperties, log: Log) -> None:
    if np.isfinite(fuel.density_kgpm3):
        return
    raise InputError(
        "the density of the fuel is not known, but fuel is logged as a volume",
        where=f"engine.toml, [fuel]; {log.path}",
        got=f"fuel {fuel.name} without a density",
        allowed="a fuel of the table, or [fuel] density_kg_l",
        fix="add density_kg_l to [fuel], or log fuel as a mass",
    )


def find_lambda(log: Log, fuel: FuelProperties, time_s: FloatArray) -> FloatArray | None:
    """Return lambda: measured, else from dry exhaust oxygen, else from dry carbon dioxide.

    NaN where the exhaust holds no oxygen: that tells a rich mixture, not how rich it is.
    """
    direct = on_grid(log, "lambda", time_s)
    if direct is not None:
        return direct
    h_c, o_c = fuel.hydrogen_to_carbon, fuel.oxygen_to_carbon
    oxygen = on_grid(log, "exhaust_oxygen", time_s)
    if oxygen is not None:
        lean = np.where(oxygen > LEAST_OXYGEN, oxygen, np.nan)
        return lambda_from_oxygen_dry(lean, h_c, o_c)
    dioxide = on_grid(log, "exhaust_carbon_dioxide", time_s)
    return None if dioxide is None else lambda_from_carbon_dioxide_dry(dioxide, h_c, o_c)


def find_power_w(log: Log, time_s: FloatArray, speed_rpm: FloatArray) -> FloatArray | None:
    """Return brake power, logged or torque times speed. [W]"""
    power = on_grid(log, "brake_power", time_s)
    if power is not None:
        return power
    torque = on_grid(log, "brake_torque", time_s)
    return None if torque is None else torque * speed_rpm * (2.0 * np.pi / 60.0)
