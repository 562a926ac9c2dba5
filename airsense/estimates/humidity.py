"""What the humidity of the breathed air does to the routes: one error, seen by each in its way."""

from __future__ import annotations

from airsense.estimates.estimate import Influence
from airsense.estimates.run import Air
from airsense.physics.air import humidity_ratio

# Vapour in place of air changes density: flow from the manifold state goes as 1/R.
OF_DENSITY = -1.0
# Burnt oxygen tells dry air: the moist flow goes as 1 + W, and d ln(1 + W) / d ln R is close to
# (Mv/Ma) / (1 - Mv/Ma) = 0.622 / 0.378 in air.
OF_DRY_AIR = 1.65


# Repeats of one configuration are mostly of one day: they differ by a part of what days do.
RUN_SHARE = 0.3


def moist_over_dry(air: Air) -> float:
    """Return the mass of the moist air that carries one of dry air: 1 + W."""
    return 1.0 + float(humidity_ratio(air.x_vapour))


def humidity_influence(air: Air, sensitivity: float) -> Influence:
    """Return the budget component of humidity; its sizes are those of ln R."""
    return Influence(
        key="humidity",
        label="humidity of the air",
        absolute=air.u_r_abs,
        run=RUN_SHARE * air.u_r_run,
        between=air.u_r_run,
        sensitivity=sensitivity,
    )
