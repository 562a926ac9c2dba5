"""What the figures draw: flow by route and configuration, run by run, and apparent breathing.

Shown beside the answer, not used by it: the answer rests on the whole covariance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.estimates import maf
from airsense.estimates.estimate import Influence
from airsense.estimates.recirculation import ValveShut, apparent_ve
from airsense.estimates.run import Run
from airsense.evidence.bins import BinTable
from airsense.results import K_95, Interval
from airsense.setup.engine import EngineSetup

# Enough to see two groups and no more than a page can carry.
MOST_VE_POINTS = 360


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowPoint:
    """Air mass flow at one engine speed.

    The interval holds what differs between runs and configurations; what all share (`u_common`
    of the curve) is left out, since it moves all curves of a route together.
    """

    engine_speed_rpm: float
    flow_kgps: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowCurve:
    """Air mass flow of one configuration by one route. `u_common`: relative, k = 1."""

    configuration: str
    method: str
    points: tuple[FlowPoint, ...]
    u_common: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatLevel:
    """One repeat by one route, in the order of the runs.

    `flow_change` is its mean flow over the window against the mean of the first configuration;
    `reading_change` that of the sensor's reading over this route (None for the sensor itself).
    """

    label: str
    configuration: str
    order: int
    method: str
    flow_change: float
    reading_change: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VePoint:
    """Volumetric efficiency that the sensor's reading implies in one sample."""

    configuration: str
    engine_speed_rpm: float
    p_manifold_pa: float
    ve_frac: float
    recirculation_suspected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """Everything that the figures draw beside the answer itself."""

    flows: tuple[FlowCurve, ...]
    repeats: tuple[RepeatLevel, ...]
    apparent_ve: tuple[VePoint, ...]


def draw_curves(
    table: BinTable,
    budgets: Mapping[str, Sequence[Influence]],
    configuration: Sequence[str],
    apparent: tuple[VePoint, ...] = (),
) -> Curves:
    """Return the curves of binned repeats.

    Parameters
    ----------
    table : BinTable
        Repeats in bins, in the order in which they were run.
    budgets : mapping of str to sequence of Influence
        Budget per route.
    configuration : sequence of str, length n_repeats
        What each repeat belongs to; the first name is the baseline.
    apparent : tuple of VePoint
        From `apparent_points`.
    """
    names = tuple(dict.fromkeys(configuration))
    of = np.array(configuration)
    return Curves(
        flows=tuple(
            _curve(table, budgets.get(method, ()), method, of == name, name)
            for name in names
            for method in table.ln
        ),
        repeats=_repeats(table, of),
        apparent_ve=apparent,
    )


def _curve(
    table: BinTable,
    budget: Sequence[Influence],
    method: str,
    member: NDArray[np.bool_],
    configuration: str,
) -> FlowCurve:
    ln = table.ln[method][member]
    good = np.isfinite(ln)
    count = np.count_nonzero(good, axis=0)
    points = []
    for b in np.flatnonzero(count > 0):
        rows = good[:, b]
        n = int(count[b])
        variance = sum(i.sensitivity**2 * (i.run**2 / n + 0.5 * i.between**2) for i in budget)
        middle, half = float(np.mean(ln[rows, b])), K_95 * float(np.sqrt(variance))
        points.append(
            FlowPoint(
                engine_speed_rpm=float(table.centre_rpm[b]),
                flow_kgps=Interval(*(float(np.exp(middle + s * half)) for s in (0.0, -1.0, 1.0))),
            )
        )
    common = float(np.sqrt(sum((i.sensitivity * i.absolute) ** 2 for i in budget)))
    return FlowCurve(
        configuration=configuration, method=method, points=tuple(points), u_common=common
    )


def _repeats(table: BinTable, of: NDArray[np.str_]) -> tuple[RepeatLevel, ...]:
    stack = np.array(list(table.ln.values()))
    full = np.all(np.isfinite(stack), axis=(0, 1))
    if not full.any():
        return ()
    level = stack[:, :, full].mean(axis=2)
    level = level - level[:, of == of[0]].mean(axis=1, keepdims=True)
    methods = list(table.ln)
    sensor = level[methods.index(maf.METHOD)]
    return tuple(
        RepeatLevel(
            label=label,
            configuration=str(of[r]),
            order=r + 1,
            method=method,
            flow_change=float(np.expm1(level[k, r])),
            reading_change=None
            if method == maf.METHOD
            else float(np.expm1(sensor[r] - level[k, r])),
        )
        for r, label in enumerate(table.labels)
        for k, method in enumerate(methods)
    )


def apparent_points(
    runs: Sequence[Run],
    shut: Sequence[ValveShut | None],
    setup: EngineSetup,
    configuration: Sequence[str],
) -> tuple[VePoint, ...]:
    """Return evenly thinned samples of apparent volumetric efficiency, none without pressure."""
    most = max(MOST_VE_POINTS // max(len(runs), 1), 1)
    points: list[VePoint] = []
    for run, valve, name in zip(runs, shut, configuration, strict=True):
        ve = apparent_ve(run, setup)
        if ve is None or run.p_manifold_pa is None:
            continue
        with np.errstate(invalid="ignore"):
            good = np.flatnonzero(np.isfinite(ve) & (ve > 0.0) & np.isfinite(run.speed_rpm))
        chosen = good[:: max(-(-good.size // most), 1)]
        points.extend(
            VePoint(
                configuration=name,
                engine_speed_rpm=float(run.speed_rpm[k]),
                p_manifold_pa=float(run.p_manifold_pa[k]),
                ve_frac=float(ve[k]),
                recirculation_suspected=valve is not None
                and valve.found
                and not bool(valve.mask[k]),
            )
            for k in chosen
        )
    return tuple(points)
