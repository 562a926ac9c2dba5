"""Small hand-made runs, cells, readings at rest and budgets for tests of estimates and evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.estimates import brake_power, fuel_lambda, speed_density
from airsense.estimates.run import Air, Run
from airsense.estimates.segments import Kind
from airsense.evidence.budget import Part, RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.normal import U_STATE_CONFIGURATION, U_STATE_RUN
from airsense.evidence.priors import PriorTable
from airsense.evidence.rest import Rest, RestKind
from airsense.evidence.signatures import Effect, effects_of, observed
from airsense.logs.log import Channel, Log
from airsense.setup.engine import Engine, EngineSetup, Fuel, Ignition, Uncertainty

DRY = Air(x_vapour=0.0, r_jpkgk=287.0, u_r_abs=0.0, u_r_run=0.0)
ROUTES = (speed_density.METHOD, fuel_lambda.METHOD)
AMBIENT_PA = 1.0e5


def channel(
    name: str, time_s: ArrayLike, value: ArrayLike, *, resolution: float = 0.0, unit: str = ""
) -> Channel:
    """Return a channel whose header is its name."""
    time = np.asarray(time_s, dtype=np.float64)
    full = np.broadcast_to(np.asarray(value, dtype=np.float64), time.shape).copy()
    return Channel(
        name=name, header=name, unit_read=unit, time_s=time, value=full, resolution=resolution
    )


def log_of(time_s: ArrayLike, path: str = "log.csv", **values: ArrayLike) -> Log:
    """Return a log of channels on one time base."""
    made = {name: channel(name, time_s, value) for name, value in values.items()}
    return Log(path=path, reader="test", sha256="", channels=made)


def setup_of(
    *,
    displacement_l: float = 2.0,
    cylinders: int = 4,
    ignition: Ignition = Ignition.COMPRESSION,
    fuel: str = "diesel",
    uncertainty: Mapping[str, float] | None = None,
    **engine: object,
) -> EngineSetup:
    """Return a plain four-cylinder setup."""
    return EngineSetup(
        engine=Engine.model_validate(
            {
                "displacement_l": displacement_l,
                "cylinders": cylinders,
                "ignition": ignition,
                **engine,
            }
        ),
        fuel=Fuel(name=fuel),
        uncertainty=Uncertainty.model_validate(uncertainty or {}),
    )


def run_of(size: int = 5, **given: object) -> Run:
    """Return a run at a steady point; arrays may be given as scalars."""
    time = 0.1 * np.arange(size)
    fields: dict[str, object] = {"speed_rpm": 2000.0, "air": DRY, **given}
    arrays = {
        k: np.full(size, v) if isinstance(v, float) and k in _ARRAYS else v
        for k, v in fields.items()
    }
    return Run(
        name="run", log=log_of(time, engine_speed=2000.0), time_s=time, native_step_s=0.1, **arrays
    )  # type: ignore[arg-type]


_ARRAYS = {
    "speed_rpm", "mdot_maf_kgps", "p_manifold_pa", "t_charge_k", "mdot_fuel_kgps", "lambda_",
    "egr_rate", "power_w", "depression_pa", "mdot_filling_kgps", "pedal",
}  # fmt: skip


def cells_of(
    *,
    runs: int = 3,
    size: int = 8,
    routes: Sequence[str] = ROUTES,
    idle: bool = False,
    noise: float = 0.002,
    **replaced: object,
) -> Cells:
    """Return full-load sweeps of two configurations, `runs` each, on which all routes agree.

    Each run has `size` cells from 1600 to 3800 rpm and 60 to 130 kPa of boost, and with `idle`
    one more at 800 rpm. Fields of `Cells` may be replaced.
    """
    share = np.linspace(0.0, 1.0, size)
    speed, p = 1600.0 + 2200.0 * share, AMBIENT_PA + 6e4 + 7e4 * np.sin(0.5 * np.pi * share)
    kind = np.full(size, int(Kind.PULL))
    if idle:
        speed, p, kind = np.r_[speed, 800.0], np.r_[p, 1.01e5], np.r_[kind, int(Kind.IDLE)]
    count, every = speed.size, 2 * runs

    def tiled(values: FloatArray) -> FloatArray:
        return np.tile(values, every)

    ln_maf = np.log(p * 2e-3 * speed / (120.0 * 287.0 * 315.0))
    plain = np.zeros(count * every)
    cells = Cells(
        routes=tuple(routes),
        run=np.repeat(np.arange(every), count),
        after=np.repeat(np.arange(every) >= runs, count),
        kind=tiled(kind).astype(np.int64),
        sweep=tiled(kind == Kind.PULL).astype(bool),
        time_s=tiled(np.arange(count, dtype=np.float64)),
        length_s=plain + 0.5,
        ln_maf=tiled(ln_maf),
        ln_route=np.tile(ln_maf, (len(routes), every)),
        u_noise=np.full((len(routes), count * every), noise),
        speed_rpm=tiled(speed),
        p_manifold_pa=tiled(p),
        p_ambient_pa=plain + AMBIENT_PA,
        t_charge_k=plain + 315.0,
        t_inlet_k=plain * np.nan,
        lambda_=plain + 1.4,
        map_slope=plain * np.nan,
        rate_ps=plain,
    )
    return replace(cells, **replaced)  # type: ignore[arg-type]


def shifted(cells: Cells, residual: ArrayLike, *, everywhere: bool = False) -> Cells:
    """Return the cells with ln(MAF) - ln(route) moved after the change, or in all cells.

    `residual` broadcasts to (n_routes, m). The routes move and the axis ln(MAF) stays, so that
    the columns of the causes stay as they were.
    """
    on = np.ones(cells.size) if everywhere else cells.after.astype(np.float64)
    moved = np.broadcast_to(np.asarray(residual, dtype=np.float64), cells.ln_route.shape)
    return replace(cells, ln_route=cells.ln_route - moved * on)


def noise_of(cells: Cells) -> FloatArray:
    """Return the standard deviation of each residual that no other one shares, (n_routes, m).

    Beside a cell's own noise stands what its run, and all runs of its configuration alike, have
    of their own at one state; routes share the noise of the sensor.
    """
    runs = [np.unique(cells.run[cells.after == a]).size for a in (False, True)]
    alike = np.array(runs, dtype=np.float64)[cells.after.astype(np.int64)]
    own = U_STATE_RUN**2 + U_STATE_CONFIGURATION**2 * alike
    number = np.isfinite(cells.residual).sum(axis=0)
    shared = 1.0 + 0.5 * np.maximum(number - 1, 0)
    return np.asarray(np.sqrt((cells.u_noise**2 + own) * shared))


def rest_of(
    *, before: ArrayLike = (), after: ArrayLike = (), kind: RestKind = RestKind.STILL
) -> Rest:
    """Return readings of the pressure sensor at rest, one a run: ln(sensor / barometer)."""
    b, a = np.atleast_1d(before).astype(float), np.atleast_1d(after).astype(float)
    value = np.r_[b, a]
    return Rest(
        run=np.arange(value.size),
        after=np.arange(value.size) >= b.size,
        kind=np.full(value.size, int(kind)),
        value=value,
        pressure_pa=AMBIENT_PA * np.exp(value),
        u_noise=np.full(value.size, 3e-4),
    )


# key, routes that it moves (with sensitivity), absolute, between, run: about the defaults.
_PARTS: tuple[tuple[str, Mapping[str, float], float, float, float], ...] = (
    ("volumetric_efficiency", {speed_density.METHOD: -1.0}, 0.05, 0.005, 0.0),
    ("manifold_pressure", {speed_density.METHOD: -1.0}, 0.015, 0.0013, 0.0027),
    ("charge_temperature", {speed_density.METHOD: 1.0}, 0.0065, 0.0014, 0.0028),
    ("fuel", {fuel_lambda.METHOD: -1.0}, 0.04, 0.003, 0.006),
    ("lambda", {fuel_lambda.METHOD: -1.0, brake_power.METHOD: -1.0}, 0.02, 0.003, 0.006),
    ("brake_efficiency", {brake_power.METHOD: -1.0}, 0.10, 0.01, 0.006),
)


def budget_of(routes: Sequence[str] = ROUTES, scale: float = 1.0) -> RouteBudget:
    """Return a joint budget of some routes; `scale` multiplies what changes between runs."""
    parts = [
        Part(
            key=key,
            label=key,
            sensitivity=np.array([moved.get(r, 0.0) for r in routes]),
            absolute=absolute,
            between=scale * between,
            run=scale * run,
        )
        for key, moved, absolute, between, run in _PARTS
    ]
    sensor = Part(
        key="mass_air_flow",
        label="MAF reading",
        sensitivity=np.ones(len(routes)),
        absolute=0.0,
        between=0.0,
        run=0.003 * scale,
    )
    return RouteBudget(parts=(*parts, sensor))


def forms_of(cause: Cause, cells: Cells, rest: Rest | None = None) -> tuple[Effect, ...]:
    """Return the columns of a cause over cells and readings at rest."""
    seen = observed(cells, rest_of() if rest is None else rest)
    return effects_of(PriorTable().of(cause), seen)
