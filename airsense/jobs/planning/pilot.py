"""What pilot logs teach a plan: the channels there are, the states, the scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.routes import usable_routes
from airsense.estimates.run import Run
from airsense.evidence.cells import SPEED_STEP, Cells
from airsense.evidence.matched import DECLARED_DOF, ENGINE_DOF, ENGINE_RUN
from airsense.evidence.planning.channels import STILL
from airsense.evidence.planning.states import Template
from airsense.evidence.rest import RestKind
from airsense.jobs.observe import Observations, observe
from airsense.setup.engine import EngineSetup

# Averages of a pilot are never known better than this (our choice).
LEAST_NOISE = 5e-4


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


def pilot_of(runs: Sequence[Run], setup: EngineSetup) -> Template | None:
    """Return the test that pilot runs are one configuration of; None where no route is open.

    The states are those of the run that shows most; two or more runs teach the scatter.
    """
    if not usable_routes(runs, setup)[0]:
        return None
    seen = observe(runs, setup, [False] * len(runs))
    laden = seen.cells.laden
    if not laden.any():
        return None
    best = int(np.argmax(np.bincount(seen.cells.run[laden], minlength=len(runs))))
    return Template(
        cells=_quiet(seen.cells.of_runs([best], [False])),
        rest=seen.rest.of_runs([best], [False]),
        budget=seen.budget,
        sizes=seen.sizes,
        run_factor=_run_factor(seen),
        indicated=_indicated(seen),
        power=all(run.power_w is not None for run in runs),
    )


def rest_of(template: Template) -> frozenset[str]:
    """Return the pseudo-channel of seconds with the engine still, where the pilot has them."""
    return frozenset({STILL}) if template.rest.count(RestKind.STILL) else frozenset()


def _quiet(cells: Cells) -> Cells:
    """Return cells none of which is free of noise."""
    return replace(cells, u_noise=np.maximum(cells.u_noise, LEAST_NOISE))


def _levels(seen: Observations, values: FloatArray) -> FloatArray:
    """Return the mean of a value over the speeds that all runs share, run by run; NaN if none."""
    cells = seen.cells
    use = cells.laden & np.isfinite(values)
    at = np.round(np.log(cells.speed_rpm) / SPEED_STEP)
    count = len(seen.runs)
    shared = [n for n in np.unique(at[use]) if np.unique(cells.run[use & (at == n)]).size == count]
    table = np.array(
        [
            [float(np.mean(values[use & (at == n) & (cells.run == k)])) for n in shared]
            for k in range(count)
        ]
    )
    return table.mean(axis=1) if shared else np.full(count, np.nan)


def _run_factor(seen: Observations) -> float:
    """Return run effects over their declared size, as repeats show them."""
    free = len(seen.runs) - 1
    variance = np.diag(seen.budget.covariance("run"))
    ratios = []
    for row, declared in zip(seen.cells.residual, variance, strict=True):
        level = _levels(seen, row)
        if free and np.isfinite(level).all():
            ratios.append(float(np.sum((level - level.mean()) ** 2) / declared))
    if not ratios:
        return 1.0
    return float(np.sqrt((DECLARED_DOF + np.mean(ratios)) / (DECLARED_DOF + free)))


def _indicated(seen: Observations) -> tuple[float, float] | None:
    """Return the run-to-run scatter of the indicated air and its degrees of freedom."""
    own = float(np.hypot(ENGINE_RUN, seen.sizes.mass_air_flow.run))
    free = len(seen.runs) - 1
    level = _levels(seen, seen.cells.ln_maf)
    if not free or not all(seen.sweeps) or not np.isfinite(level).all():
        return None
    left = float(np.sum((level - level.mean()) ** 2))
    return float(np.sqrt((ENGINE_DOF * own**2 + left) / (ENGINE_DOF + free))), ENGINE_DOF + free
