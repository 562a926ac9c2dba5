"""The sensor under test: its indicated flow, in the same form as the routes."""

from __future__ import annotations

from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import Estimate, influence_of
from airsense.estimates.run import Run

METHOD = "mass_air_flow"


def indicated(run: Run, sizes: Defaults) -> Estimate:
    """Return the indicated flow. Its absolute error is what is asked for, so it carries none."""
    assert run.mdot_maf_kgps is not None
    return Estimate(
        method=METHOD,
        mdot_kgps=run.mdot_maf_kgps,
        budget=(influence_of(sizes.mass_air_flow, key="mass_air_flow"),),
    )
