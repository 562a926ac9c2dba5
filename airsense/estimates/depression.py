"""Intake depression: within one intake the drop across filter and tube goes as flow squared."""

from __future__ import annotations

import numpy as np

from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate, Influence, largest_first
from airsense.estimates.run import Run
from airsense.physics.air import density_moist_air_kgpm3
from airsense.physics.constants import USUAL_AIR_K
from airsense.setup.engine import EngineSetup

METHOD = "intake_depression"
# Opening that the intake's whole loss amounts to, per litre of displacement, and how little is
# known of it (k = 1): the scale of this route is not observable. Our choice.
OPENING_M2_PER_L = 7.5e-4
U_OPENING = 0.5
# Below this the zero of a depression sensor outweighs its reading: our choice.
MIN_DEPRESSION_PA = 100.0
U_ZERO_PA = 20.0
# A filter mat is partly laminar, so that the drop goes as m^1.9 to m^2; the exponent moves the
# flow between two levels by half of its error times the logarithm of their ratio. Our choice.
U_EXPONENT = 0.04


def missing_for_depression(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    return "no intake depression was logged" if run.depression_pa is None else ""


def depression(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate the flow as that through a fixed opening of unknown size.

    ``m = A sqrt(2 rho dp)``: its shape over flow is evidence within one configuration, its scale
    never, and between configurations the opening is what was changed.

    Parameters
    ----------
    run : Run
        Must have the intake depression.
    setup : EngineSetup
        Displacement, for a nominal opening.
    sizes : Defaults
        Not used: no other sensor takes part.
    """
    assert run.depression_pa is not None
    assert run.air is not None
    t = USUAL_AIR_K if run.t_ambient_k is None else run.t_ambient_k
    rho = density_moist_air_kgpm3(run.p_ambient_pa, t, run.air.x_vapour)
    drop = np.abs(run.depression_pa)
    opening = OPENING_M2_PER_L * setup.engine.displacement_l
    with np.errstate(invalid="ignore"):
        flow = np.where(drop >= MIN_DEPRESSION_PA, opening * np.sqrt(2.0 * rho * drop), np.nan)
    return Estimate(method=METHOD, mdot_kgps=flow, budget=largest_first(_budget(run)))


def _budget(run: Run) -> list[Influence]:
    assert run.depression_pa is not None
    drop = np.abs(run.depression_pa)
    high = max(float(np.nanquantile(drop, 0.9)), MIN_DEPRESSION_PA)
    zero = 0.5 * U_ZERO_PA / high
    return [
        Influence(
            key="intake_opening",
            label="opening that the intake amounts to",
            absolute=U_OPENING,
            run=0.0,
            between=U_OPENING,
        ),
        Influence(
            key="inlet_depression", label="intake depression", absolute=zero, run=zero, between=zero
        ),
    ]
