"""Brake power: fuel from power and efficiency, air from fuel and measured lambda. A weak route."""

from __future__ import annotations

import numpy as np

from airsense.arrays import BoolArray
from airsense.estimates.combustion import fuel_of
from airsense.estimates.defaults import Defaults
from airsense.estimates.driven import Driven
from airsense.estimates.estimate import Estimate, Influence, influence_of, largest_first
from airsense.estimates.fuel_lambda import lambda_influence
from airsense.estimates.humidity import OF_DRY_AIR, humidity_influence, moist_over_dry
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind
from airsense.setup.engine import EngineSetup, Ignition

METHOD = "brake_power"
# Full-load brake efficiency without driveline loss told apart: 195 to 240 g/kWh of diesel; common
# practice, no source.
EFFICIENCY_PRIOR = {Ignition.COMPRESSION: 0.36, Ignition.SPARK: 0.29}


def missing_for_brake_power(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    if run.lambda_excluded:
        return run.lambda_excluded
    if run.power_w is None:
        return "no brake power or torque was logged"
    if run.lambda_ is None:
        return "no measured lambda was logged"
    return ""


def holds(driven: Driven) -> BoolArray:
    """Return where load is high: at part load friction and windage rule, (n,)."""
    return np.asarray(driven.pulled | (driven.kind == Kind.HOLD))


def brake_power(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate the air flow from brake power, an efficiency prior and measured lambda.

    ``m = P / (eta min(1, lambda) LHV) lambda AFR_st (1 + W)``: of a rich charge only the share
    lambda of the fuel finds air to burn. Only the change between configurations says something,
    since the absolute efficiency is hardly known [1]_.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), ch. 2.8.
    """
    assert run.power_w is not None
    assert run.lambda_ is not None
    assert run.air is not None
    fuel, _ = fuel_of(setup)
    efficiency = EFFICIENCY_PRIOR[setup.engine.ignition]
    humid = moist_over_dry(run.air)
    useful = efficiency * np.minimum(run.lambda_, 1.0) * fuel.lhv_jpkg
    burnt = np.where(run.power_w > 0.0, run.power_w, np.nan) / useful
    eta = sizes.brake_efficiency
    budget = [
        influence_of(sizes.brake_power, key="brake_power"),
        Influence(
            key="brake_efficiency", label=eta.label, absolute=eta.absolute, run=0.0, between=eta.run
        ),
        humidity_influence(run.air, OF_DRY_AIR),
    ]
    # In a rich charge the air burns whatever fuel there is: lambda drops out.
    if float(np.nanmedian(run.lambda_)) > 1.0:
        budget.append(lambda_influence(run, sizes))
    return Estimate(
        method=METHOD,
        mdot_kgps=burnt * run.lambda_ * fuel.afr_stoich * humid + run.filling_kgps,
        budget=largest_first(budget),
    )
