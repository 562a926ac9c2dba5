"""What each route says alone of one configuration's level, and at which state it was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.defaults import DEFAULT_DOF
from airsense.estimates.routes import Unused
from airsense.estimates.segments import IDLE_PRESSURE_RATIO, IDLE_RPM
from airsense.evidence.budget import RouteBudget
from airsense.evidence.cells import Cells
from airsense.evidence.matched import LnChange
from airsense.evidence.rest import Rest
from airsense.results import Interval


class Recirculation(Enum):
    """Whether unlogged exhaust gas can have displaced fresh air in the states that were used."""

    EXCLUDED = "excluded"
    POSSIBLE = "possible"
    SUSPECTED = "suspected"


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Mean operating state, by air mass, of what a level rests on.

    `t_k` is the temperature ahead of the compressor where `t_is_inlet`, else that of the charge.
    """

    t_k: float
    t_is_inlet: bool
    p_manifold_pa: float
    speed_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelEstimate:
    """What one route says: `sensor_error` is indicated over this route's flow, less one.

    `u_repeat` is the part of its standard uncertainty (k = 1, logarithmic) that another log of
    the same vehicle does not share; `state` is where it was found.
    """

    method: str
    sensor_error: Interval | None
    used: bool
    reason: str
    u_repeat: float | None = None
    state: State | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelInput:
    """What a level is judged from: all cells `after`; `rpm` is a window of engine speed."""

    cells: Cells
    rest: Rest
    budget: RouteBudget
    unused: Sequence[Unused] = ()
    recirculation: Recirculation = Recirculation.EXCLUDED
    rpm: tuple[float, float] | None = None

    @property
    def laden(self) -> BoolArray:
        """Cells under load inside the window, (m,): slow without boost is idle in all but name."""
        cells = self.cells
        with np.errstate(invalid="ignore"):
            slow = cells.speed_rpm < IDLE_RPM[1]
            slow &= cells.p_manifold_pa < IDLE_PRESSURE_RATIO * cells.p_ambient_pa
        use: BoolArray = cells.laden & ~slow
        if self.rpm is not None:
            use &= (cells.speed_rpm >= self.rpm[0]) & (cells.speed_rpm <= self.rpm[1])
        return use


def routes_of(given: LevelInput) -> NDArray[np.str_]:
    """Return the routes that say something of the states under load."""
    known = np.isfinite(given.cells.ln_route[:, given.laden]).any(axis=1)
    return np.array(given.cells.routes)[known]


def level_estimates(given: LevelInput, laden: BoolArray) -> tuple[LevelEstimate, ...]:
    """Return what each route says alone over some cells (m,), used or not."""
    used = tuple(_estimate(given, k, laden) for k in range(len(given.cells.routes)))
    unused = (
        LevelEstimate(method=u.method, sensor_error=None, used=False, reason=u.reason)
        for u in given.unused
    )
    return (*used, *unused)


def _estimate(given: LevelInput, k: int, laden: BoolArray) -> LevelEstimate:
    cells = given.cells
    name = cells.routes[k]
    good = laden & np.isfinite(cells.residual[k])
    if not good.any():
        return LevelEstimate(
            method=name, sensor_error=None, used=False, reason="nothing under load where it holds"
        )
    weight = mass_of(cells, good)
    value = float(weight[good] @ cells.residual[k][good])
    noise = float(np.sqrt(np.sum((weight[good] * cells.u_noise[k][good]) ** 2)))
    runs = np.unique(cells.run[good]).size
    own = {kind: given.budget.covariance(kind)[k, k] for kind in ("absolute", "between", "run")}
    repeat = float(np.sqrt(own["between"] + own["run"] / runs + noise**2))
    level = LnChange(value=value, u=float(np.sqrt(own["absolute"] + repeat**2)), dof=DEFAULT_DOF)
    return LevelEstimate(
        method=name,
        sensor_error=level.interval(),
        used=True,
        reason="does not use the sensor under test",
        u_repeat=repeat,
        state=_state(cells, weight),
    )


def mass_of(cells: Cells, good: BoolArray) -> FloatArray:
    """Return the shares of the air mass of some cells, (m,), summing to one."""
    mass = np.exp(cells.ln_maf) * cells.length_s * good
    return np.asarray(mass / mass.sum())


def _state(cells: Cells, weight: FloatArray) -> State:
    inlet = bool(np.isfinite(cells.t_inlet_k[weight > 0.0]).all())
    return State(
        t_k=_mean(cells.t_inlet_k if inlet else cells.t_charge_k, weight),
        t_is_inlet=inlet,
        p_manifold_pa=_mean(cells.p_manifold_pa, weight),
        speed_rpm=_mean(cells.speed_rpm, weight),
    )


def _mean(values: FloatArray, weight: FloatArray) -> float:
    """Return the weighted mean of what is known, NaN if nothing is."""
    known = np.isfinite(values) & (weight > 0.0)
    return float(np.average(values[known], weights=weight[known])) if known.any() else float("nan")
