"""What pilot logs teach a plan: the channels there are, the operating state, the scatter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airsense.estimates.routes import usable_routes
from airsense.estimates.run import Run
from airsense.evidence.change import build_change, design_from
from airsense.evidence.planning_channels import NOMINAL_P_PA, NOMINAL_T_K, Pilot
from airsense.jobs.pairing import make_ready
from airsense.setup.engine import EngineSetup

FloatArray = NDArray[np.float64]

_STATE = (("t_charge_k", NOMINAL_T_K), ("p_manifold_pa", NOMINAL_P_PA))


def channels_of(runs: Sequence[Run]) -> frozenset[str]:
    """Return the channels that all pilot runs have, circular ones left out."""
    return frozenset.intersection(*(_channels_of_one(run) for run in runs))


def _channels_of_one(run: Run) -> frozenset[str]:
    pressure = "boost_pressure" if run.from_gauge else "manifold_pressure"
    fuel = "fuel_per_stroke" if run.fuel_is_per_stroke else "fuel_mass_flow"
    has = {
        "engine_speed": True,
        "mass_air_flow": run.mdot_maf_kgps is not None,
        pressure: run.p_manifold_pa is not None,
        "barometric_pressure": not run.p_ambient_assumed,
        "charge_temperature": run.t_charge_k is not None and not run.charge_estimated,
        fuel: run.mdot_fuel_kgps is not None,
        "lambda": run.lambda_ is not None,
        "brake_power": run.power_w is not None,
        "inlet_depression": run.depression_pa is not None,
    }
    return frozenset(name for name, there in has.items() if there)


def pilot_of(runs: Sequence[Run], setup: EngineSetup) -> Pilot:
    """Return what pilot runs teach: the operating state, and scatter where they repeat.

    Raises
    ------
    InputError
        If the runs share no window of engine speed.
    """
    routes, _ = usable_routes(runs, setup)
    if not routes:
        return Pilot()
    ready = make_ready(runs, setup, None)
    state = ready.table.state
    n = len(ready.segments)
    level = build_change(
        ready.table,
        ready.budgets,
        design_from(np.ones((n, 1)), np.ones(1)),
        controlled=ready.controlled,
    )
    t, p = (_median_or(state[name], usual) for name, usual in _STATE)
    return Pilot(
        t_charge_k=t,
        p_manifold_pa=p,
        speed_rpm=tuple(float(x) for x in ready.table.centre_rpm),
        effects={effect.key: effect for effect in level.effects} if n > 1 else None,
    )


def _median_or(value: FloatArray, usual: float) -> float:
    return float(np.nanmedian(value)) if np.isfinite(value).any() else usual
