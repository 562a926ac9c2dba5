"""Small hand-made runs, changes and conditions for tests of estimates and evidence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airsense.estimates.run import Air, Run
from airsense.evidence.bins import BinTable
from airsense.evidence.effects import Effect
from airsense.evidence.hypotheses import Conditions
from airsense.evidence.inference import Change
from airsense.logs.log import Channel, Log
from airsense.setup.engine import Engine, EngineSetup, Fuel, Ignition, Uncertainty

FloatArray = NDArray[np.float64]
DRY = Air(x_vapour=0.0, r_jpkgk=287.0, u_r_abs=0.0, u_r_run=0.0)
ROUTES = ("mass_air_flow", "speed_density", "fuel_lambda")


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


def effect(
    key: str,
    sensitivity: Sequence[float],
    *,
    run: float = 0.0,
    between: float = 0.0,
    absolute: float = 0.0,
    dof: float = 5.6,
) -> Effect:
    """Return an effect labelled by its key."""
    return Effect(
        key=key,
        label=key,
        sensitivity=np.array(sensitivity, dtype=np.float64),
        absolute=absolute,
        run=run,
        between=between,
        dof=dof,
    )


def usual_effects(scale: float = 1.0) -> tuple[Effect, ...]:
    """Return one sensor effect a route, one that two routes share, and the engine's own."""
    return (
        effect("mass_air_flow", (1, 0, 0), run=0.003 * scale),
        effect("manifold_pressure", (0, 1, 0), run=0.003 * scale, between=0.002 * scale),
        effect("engine_speed", (0, 1, 1), run=0.0005 * scale, between=0.0003 * scale),
        effect("fuel", (0, 0, 1), run=0.006 * scale, between=0.004 * scale),
        effect("engine", (1, 1, 1), run=0.005 * scale, between=0.003 * scale, dof=4.0),
    )


def change_of(
    value: ArrayLike,
    *,
    routes: Sequence[str] = ROUTES,
    effects: Sequence[Effect] | None = None,
    noise: float = 1e-6,
    common: float = 1e-6,
    run_weight: float = 2.0 / 3.0,
) -> Change:
    """Return a change; `value` is (n_routes, n_bins), or (n_routes,) for six equal bins."""
    v = np.asarray(value, dtype=np.float64)
    v = np.repeat(v[:, None], 6, axis=1) if v.ndim == 1 else v
    return Change(
        routes=tuple(routes),
        speed_rpm=np.linspace(1800.0, 3800.0, v.shape[1]),
        value=v,
        noise=np.full(v.shape, noise),
        common_noise=np.full(v.shape[1], common),
        run_weight=run_weight,
        effects=tuple(usual_effects() if effects is None else effects),
    )


def conditions_for(change: Change, **given: object) -> Conditions:
    """Return plausible full-load conditions over the bins of a change."""
    speed = change.speed_rpm
    share = (speed - speed[0]) / (speed[-1] - speed[0])
    fields: dict[str, object] = {
        "routes": change.routes,
        "speed_rpm": speed,
        "mdot_kgps": 0.05 + 0.10 * share,
        "boost_pa": 8e4 + 5e4 * np.sin(np.pi * share),
        "p_manifold_pa": 1.8e5 + 5e4 * np.sin(np.pi * share),
        "t_charge_k": 310.0 + 15.0 * share,
        "lambda_routes": tuple(r for r in change.routes if r in {"fuel_lambda", "brake_power"}),
        **given,
    }
    return Conditions(**fields)  # type: ignore[arg-type]


def table_of(
    ln: Mapping[str, ArrayLike],
    *,
    u_noise: float = 1e-3,
    u_common: float = 0.0,
    samples: int = 10,
    **states: ArrayLike,
) -> BinTable:
    """Return a table of repeats; `ln` and states have shape (n_repeats, n_bins)."""
    rows = {name: np.asarray(v, dtype=np.float64) for name, v in ln.items()}
    shape = next(iter(rows.values())).shape
    edges = np.linspace(1800.0, 3800.0, shape[1] + 1)
    state = {
        name: np.broadcast_to(np.asarray(v, dtype=np.float64), shape) for name, v in states.items()
    }
    for name in ("p_manifold_pa", "t_charge_k", "boost_pa", "lambda_", "mdot_fuel_kgps", "power_w"):
        state.setdefault(name, np.full(shape, np.nan))
    return BinTable(
        centre_rpm=0.5 * (edges[1:] + edges[:-1]),
        edges_rpm=edges,
        labels=tuple(f"run {k}" for k in range(shape[0])),
        ln=rows,
        u_noise={name: np.full(shape, u_noise) for name in rows},
        u_common=np.full(shape, u_common),
        state=state,
        samples=np.full(shape, samples, dtype=np.int64),
    )
