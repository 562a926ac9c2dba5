"""What of the printed air is the engine's and what the reading's: the judgement that logs get.

The printed figures of two intakes at one tune become cells, one a speed and intake. What the draws
of a figure share over the speeds (calibration, weather, what is not printed) is the budget of the
routes; what they do not share (rounding) is the noise of a cell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.claims.change import Pair, ln_lambda_route, ln_pressure_route
from airsense.claims.draws import change_interval
from airsense.estimates import fuel_lambda, speed_density
from airsense.estimates.segments import Kind
from airsense.evidence.budget import Part, RouteBudget
from airsense.evidence.causes import CauseResult, rank_causes
from airsense.evidence.cells import Cells
from airsense.evidence.judgement import interval, over_cells
from airsense.evidence.posterior import Posterior, infer, reduce_observations
from airsense.evidence.priors import PriorTable
from airsense.evidence.rest import no_rest
from airsense.evidence.signatures import observed
from airsense.results import Interval

_ROUTES = {speed_density.METHOD: ln_pressure_route, fuel_lambda.METHOD: ln_lambda_route}
# Enough for 95 % limits to a hundredth of their width; any seed, always the same.
DRAWS = 6_000
SEED = 40_009
# A figure is typed with a last digit: no cell is known better than this.
LEAST_NOISE = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSplit:
    """Of one intake against another at one tune, over the speeds that are printed of both.

    `airflow_change_indicated` = `airflow_change` and `indicated_surplus` together; `causes` are
    those of the surplus, likeliest first.
    """

    subject: str
    speeds: int
    airflow_change_indicated: Interval
    airflow_change: Interval
    indicated_surplus: Interval
    causes: tuple[CauseResult, ...]


def air_splits(pairs: Sequence[Pair]) -> tuple[AirSplit, ...]:
    """Return the split of each two intakes at one tune whose figures allow one."""
    groups: dict[str, list[Pair]] = {}
    for pair in pairs:
        first, second = pair.before.configuration, pair.after.configuration
        if first.intake != second.intake and first.tune == second.tune:
            groups.setdefault(pair.intakes, []).append(pair)
    found = (_split(subject, own) for subject, own in groups.items())
    return tuple(split for split in found if split is not None)


def _split(subject: str, pairs: Sequence[Pair]) -> AirSplit | None:
    rows = [(p, p.ln_change("ln_air"), _routes(p)) for p in pairs]
    rows = [row for row in rows if row[1] is not None and row[2]]
    names = [n for n in _ROUTES if all(n in routes for _, _, routes in rows)]
    if not rows or not names:
        return None
    shown = np.array([air for _, air, _ in rows])
    apart = np.array([shown - [routes[n] for _, _, routes in rows] for n in names])
    posterior = _posterior([pair for pair, _, _ in rows], names, apart)
    row = over_cells(posterior, posterior.reduced.seen.cells.after).surplus[0]
    indicated = shown.mean(axis=0)
    rng = np.random.default_rng(SEED)
    weight = posterior.draws.weight
    surplus = rng.choice(posterior.draws.spread @ row, indicated.size, p=weight / weight.sum())
    return AirSplit(
        subject=subject,
        speeds=len(rows),
        airflow_change_indicated=change_interval(indicated),
        airflow_change=change_interval(indicated - surplus),
        indicated_surplus=interval(posterior, row),
        causes=rank_causes(posterior),
    )


def _routes(pair: Pair) -> Mapping[str, FloatArray]:
    made = {name: route(pair) for name, route in _ROUTES.items()}
    return {name: draws for name, draws in made.items() if draws is not None}


def _posterior(pairs: Sequence[Pair], names: Sequence[str], apart: FloatArray) -> Posterior:
    """Return the posterior of the causes; `apart` (routes, speeds, draws) is air less route."""
    size, axes, noise = _shared(apart)
    cells = _cells(pairs, names, apart.mean(axis=2), np.hypot(noise, LEAST_NOISE))
    parts = tuple(
        Part(
            key=f"printed_{k}",
            label="the printed figures",
            sensitivity=axes[:, k],
            absolute=0.0,
            between=float(np.sqrt(size[k])),
            run=0.0,
        )
        for k in range(size.size)
    )
    table = PriorTable()
    reduced = reduce_observations(observed(cells, no_rest()), RouteBudget(parts=parts), table)
    return infer(reduced, table, draws=DRAWS)


def _shared(apart: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return sizes and axes of the covariance that all speeds share, and each cell's own u."""
    routes, speeds, draws = apart.shape
    centred = apart - apart.mean(axis=2, keepdims=True)
    every = np.einsum("asd,btd->abst", centred, centred) / draws
    # With one speed nothing tells apart what is shared: all of it may be.
    other = ~np.eye(speeds, dtype=bool) if speeds > 1 else np.ones((1, 1), dtype=bool)
    size, axes = np.linalg.eigh(every[:, :, other].mean(axis=2))
    size = np.maximum(size, 0.0)
    variance = np.array([np.diag(every[k, k]) for k in range(routes)])
    left = variance - (axes**2 @ size)[:, None]
    return size, axes, np.sqrt(np.maximum(left, 0.0))


def _cells(
    pairs: Sequence[Pair], names: Sequence[str], residual: FloatArray, noise: FloatArray
) -> Cells:
    """Return one cell a speed and intake; only what changed between the intakes is observed."""
    points = [*(p.before for p in pairs), *(p.after for p in pairs)]
    after: BoolArray = np.arange(len(points)) >= len(pairs)
    ln_maf = np.array([_middle(p.ln_air) for p in points])
    moved = np.concatenate([np.zeros_like(residual), residual], axis=1)
    unknown = np.full(len(points), np.nan)
    return Cells(
        routes=tuple(names),
        run=after.astype(np.int64),
        after=after,
        kind=np.full(len(points), int(Kind.PULL)),
        sweep=np.ones(len(points), dtype=bool),
        time_s=np.arange(len(points), dtype=np.float64),
        length_s=np.ones(len(points)),
        ln_maf=ln_maf,
        ln_route=ln_maf - moved,
        u_noise=np.concatenate([np.full_like(noise, LEAST_NOISE), noise], axis=1),
        speed_rpm=np.array([np.exp(_middle(p.ln_speed_or_shared)) for p in points]),
        p_manifold_pa=np.array([_middle(p.p_manifold_pa) for p in points]),
        p_ambient_pa=np.array([_middle(p.p_ambient_pa) for p in points]),
        t_charge_k=np.array([_middle(p.t_charge_k) for p in points]),
        t_inlet_k=unknown,
        lambda_=np.array([np.exp(_middle(p.ln_lambda)) for p in points]),
        map_slope=unknown,
        rate_ps=np.zeros(len(points)),
    )


def _middle(draws: FloatArray | None) -> float:
    return float("nan") if draws is None else float(np.median(draws))
