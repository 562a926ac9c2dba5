"""Fuel x lambda: the air that the exhaust shows was there to burn the fuel."""

from __future__ import annotations

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.combustion import fuel_of, u_afr_unknown_blend
from airsense.estimates.defaults import Defaults
from airsense.estimates.driven import Driven
from airsense.estimates.estimate import Estimate, Influence, influence_of, largest_first
from airsense.estimates.humidity import OF_DRY_AIR, humidity_influence, moist_over_dry
from airsense.estimates.prepare import smoothed
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind
from airsense.setup.engine import EngineSetup

METHOD = "fuel_lambda"
LAMBDA_KEY = "lambda"
COMMANDED_NOTE = "fuel quantity is taken as commanded by the controller, not as measured"
# Hydrogen-to-carbon ratio of pump fuels moves the stoichiometric ratio by about this (FU-9, FU-10).
U_AFR_ABS = 0.006
# The tank may have been filled with another blend between the configurations: our choice.
REFILLED = 0.5
# Wide-band sensors lose accuracy in very lean gas.
LEAN_LAMBDA = 2.0
LEAN_FACTOR = 2.5
# A fuel x lambda beyond this mixture says nothing: the sensor's range, and fuel that is cut; away
# from idle, which is a state of its own, a wide-band sensor is not good for so much. Gas has to
# reach the sensor, and this to follow: where lambda has just moved, it is that of another state.
# Our choice.
MOST_LAMBDA, MOST_LAMBDA_LADEN = 8.0, 3.0
LAMBDA_FOLLOWS_S, LAMBDA_MOVED = 1.0, 0.15


def missing_for_fuel_lambda(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    if run.lambda_excluded:
        return run.lambda_excluded
    if run.mdot_fuel_kgps is None and run.lambda_ is None:
        return "neither fuel quantity nor lambda was logged"
    if run.mdot_fuel_kgps is None:
        return "no fuel quantity was logged"
    if run.lambda_ is None:
        return "no measured lambda was logged"
    return ""


def holds(driven: Driven) -> BoolArray:
    """Return where fuel is burnt in a mixture that the sensor reads, and lambda stands, (n,)."""
    valid: BoolArray = driven.kind != Kind.OVERRUN
    lambda_ = driven.run.lambda_
    if lambda_ is not None:
        most = np.where(driven.kind == Kind.IDLE, MOST_LAMBDA, MOST_LAMBDA_LADEN)
        with np.errstate(invalid="ignore"):
            valid &= (lambda_ < most) & ~_just_moved(lambda_, driven.run.step_s)
    return valid


def _just_moved(lambda_: FloatArray, step_s: float) -> BoolArray:
    """Return where lambda is not what it was while a sensor follows."""
    back = max(round(LAMBDA_FOLLOWS_S / step_s), 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        level = np.log(smoothed(lambda_, step_s))
    moved = np.zeros(lambda_.size, dtype=bool)
    for steps in (back // 2, back):
        if 0 < steps < lambda_.size:
            with np.errstate(invalid="ignore"):
                moved[steps:] |= np.abs(level[steps:] - level[:-steps]) > LAMBDA_MOVED
    return moved


def fuel_lambda(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate the air flow from fuel mass flow, measured lambda and stoichiometric ratio.

    ``m = m_fuel lambda AFR_st (1 + W) + V/(R T) dp/dt``; the humidity ratio W adds the water that
    passes the intake but takes no part in combustion [1]_, the last term what fills the charge
    path behind the sensor while boost rises.

    Parameters
    ----------
    run : Run
        Must have fuel flow and a lambda that is not computed from the air-flow sensor.
    setup : EngineSetup
        Fuel.
    sizes : Defaults
        Standard uncertainties in force.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), ch. 3 and 4.9.
    """
    assert run.mdot_fuel_kgps is not None
    assert run.lambda_ is not None
    assert run.air is not None
    fuel, _ = fuel_of(setup)
    humid = moist_over_dry(run.air)
    blend = u_afr_unknown_blend(fuel)
    mdot = run.mdot_fuel_kgps * run.lambda_ * fuel.afr_stoich * humid + run.filling_kgps
    budget = [
        influence_of(sizes.fuel, key="fuel"),
        lambda_influence(run, sizes),
        humidity_influence(run.air, OF_DRY_AIR),
        Influence(
            key="afr",
            label="stoichiometric ratio",
            absolute=float(np.hypot(U_AFR_ABS, blend)),
            run=0.0,
            between=REFILLED * blend,
        ),
    ]
    if run.fuel_is_per_stroke:
        budget.append(influence_of(sizes.engine_speed, key="engine_speed"))
    return Estimate(
        method=METHOD, mdot_kgps=mdot, budget=largest_first(budget), notes=(COMMANDED_NOTE,)
    )


def lambda_influence(run: Run, sizes: Defaults) -> Influence:
    """Return the budget component of lambda, larger where the gas is very lean."""
    base = influence_of(sizes.lambda_, key=LAMBDA_KEY)
    assert run.lambda_ is not None
    lean = float(np.nanmedian(run.lambda_)) > LEAN_LAMBDA and not sizes.lambda_.declared
    return Influence(
        key=base.key,
        label=base.label,
        absolute=base.absolute * (LEAN_FACTOR if lean else 1.0),
        run=base.run,
        between=base.between,
    )
