"""Fuel trims: what lambda control adds to the fuel that the reading asked for.

A controller that meters fuel by the sensor's reading and holds lambda at its target corrects the
fuel until the exhaust is right; in closed loop the air is then the reading times one plus both
trims. The reading itself drops out of the comparison: only the trims are evidence.
"""

from __future__ import annotations

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.defaults import Defaults, Size
from airsense.estimates.driven import Driven
from airsense.estimates.estimate import Estimate, influence_of, largest_first
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind
from airsense.setup.engine import EngineSetup

METHOD = "fuel_trims"
NOTE = (
    "the controller is taken to meter fuel by this sensor and to hold lambda at its target; "
    "where it does not, the trims say nothing of the reading"
)
# Vapour from the tank, which the controller corrects as well (k = 1). Our choice.
PURGE = Size(label="tank vapour", absolute=0.02, run=0.004)
# How well control holds its target: a sensor's gain error has no effect where lambda is one, since
# no current is pumped there. Our choice.
TARGET = Size(label="lambda held at its target", absolute=0.005, run=0.003)
# In closed loop the short trim is never still for so long, and stays inside its authority; lambda
# is at its target, and the engine not at full load, where it is enriched. Our choice.
STILL_S, LEAST_MOVE, MOST_TRIM = 2.0, 1e-4, 0.24
AT_TARGET = 0.04


def missing_for_fuel_trims(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    if run.fuel_trims is None:
        return "short- and long-term fuel trims were not both logged"
    if run.mdot_maf_kgps is None:
        return "no air-flow reading was logged"
    return ""


def fuel_trims(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate the air flow from the reading and both trims: ``m = m_MAF (1 + short + long)``.

    Parameters
    ----------
    run : Run
        Must have the trims (plain fractions) and the reading.
    setup : EngineSetup
        Not used: the stoichiometric ratio drops out.
    sizes : Defaults
        Standard uncertainties in force.

    Notes
    -----
    The trims are defined in SAE J1979, PID 06 to 09, as shares of the commanded fuel.
    """
    assert run.fuel_trims is not None
    assert run.mdot_maf_kgps is not None
    sources = {"fuel": sizes.fuel, "lambda_target": TARGET, "purge": PURGE}
    budget = [influence_of(size, key=key) for key, size in sources.items()]
    return Estimate(
        method=METHOD,
        mdot_kgps=run.mdot_maf_kgps * (1.0 + run.fuel_trims),
        budget=largest_first(budget),
        notes=(NOTE,),
    )


def holds(driven: Driven) -> BoolArray:
    """Return where lambda control is at work, (n,)."""
    run = driven.run
    assert run.trim_short is not None
    short = run.trim_short
    valid: BoolArray = np.abs(short) < MOST_TRIM
    valid &= ~np.isin(driven.kind, (Kind.PULL, Kind.OVERRUN, Kind.STILL))
    valid &= _moving(short, max(round(STILL_S / run.step_s), 2))
    if run.lambda_ is not None:
        with np.errstate(invalid="ignore"):
            valid &= ~(np.abs(run.lambda_ - 1.0) > AT_TARGET)
    return valid


def _moving(x: FloatArray, width: int) -> BoolArray:
    """Return where a signal changes within `width` samples."""
    steps = np.abs(np.diff(x, prepend=x[:1])) > LEAST_MOVE
    return np.convolve(steps.astype(np.float64), np.ones(2 * width + 1), mode="same") > 0.5
