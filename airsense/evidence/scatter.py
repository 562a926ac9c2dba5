"""Declared run effects as priors, updated by the scatter of the repeats.

Each effect's run-to-run variance has a scaled inverse chi-square prior: the declared value with
its degrees of freedom. The residuals of the repeats about their configuration update it by
expectation-maximization, since one residual is shared by all effects that move its route.

A workshop repeats well or badly on all its channels, and a few runs tell little of each. So what
the routes show against each other first scales all priors together: it has the most degrees of
freedom, and leaves the routes' weights, which noise would spoil, as they are.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from airsense.evidence.effects import Effect, with_run

FloatArray = NDArray[np.float64]

# How well the declared sizes are known as a set: to 50 % (JCGM 100, G.4.2).
SET_DOF = 2.0
_ITERATIONS = 25
_RIDGE = 1e-10


def residual_degrees(design: FloatArray) -> int:
    """Return the degrees of freedom that repeats leave: runs less fitted parameters."""
    return int(design.shape[0] - np.linalg.matrix_rank(design))


def residuals(values: FloatArray, design: FloatArray) -> FloatArray:
    """Return run means less their least-squares fit, shape (n_runs, n_routes)."""
    fitted, *_ = np.linalg.lstsq(design, values, rcond=None)
    return np.asarray(values - design @ fitted, dtype=np.float64)


def update_by_repeats(
    effects: Sequence[Effect], run_means: FloatArray, design: FloatArray, noise: FloatArray
) -> tuple[Effect, ...]:
    """Return the effects with sizes updated by the repeats.

    Parameters
    ----------
    effects : sequence of Effect
        With declared sizes.
    run_means : ndarray, shape (n_runs, n_routes)
        Mean over the bins of ln(flow).
    design : ndarray, shape (n_runs, n_parameters)
        What the runs are explained by: one column a configuration, more for drift.
    noise : ndarray, shape (n_routes,)
        Variance of a run mean from sample noise alone.
    """
    free = residual_degrees(design)
    moving = [k for k, e in enumerate(effects) if e.run > 0.0]
    if free < 1 or not moving:
        return tuple(effects)
    n_runs = run_means.shape[0]
    left = residuals(run_means, design) * np.sqrt(n_runs / free)
    g = np.array([effects[k].sensitivity for k in moving])
    declared = np.array([effects[k].run ** 2 for k in moving])
    prior = declared * _loudness(left, g, declared, noise, free)
    dof = np.array([effects[k].dof_of_run for k in moving])
    variance = prior.copy()
    share = np.zeros_like(variance)
    for _ in range(_ITERATIONS):
        total = (g.T * variance) @ g + np.diag(noise + _RIDGE)
        inverse = np.linalg.inv(total)
        seen = variance[:, None] * (g @ inverse @ left.T)
        share = variance * np.einsum("ki,ij,kj->k", g, inverse, g)
        second = np.mean(seen**2, axis=1) + variance * (1.0 - share)
        variance = (dof * prior + free * second) / (dof + free)
    out = list(effects)
    for i, k in enumerate(moving):
        # Repeats cannot show a drift between the configurations: they may raise that part
        # with the scatter they reveal, never lower it.
        growth = np.sqrt(max(1.0, variance[i] / declared[i]))
        between = effects[k].between * growth
        out[k] = with_run(
            effects[k],
            run=float(np.sqrt(variance[i])),
            between=float(between),
            run_dof=float(dof[i] + free * share[i]),
        )
    return tuple(out)


def _loudness(
    left: FloatArray, g: FloatArray, declared: FloatArray, noise: FloatArray, free: int
) -> FloatArray:
    """Return the factor on each declared variance, shape (n_effects,).

    It is judged on the routes against the first, so that what moves all routes alike (the engine
    itself) neither counts nor is scaled.
    """
    n_runs, n_routes = left.shape
    contrast = np.column_stack([-np.ones(n_routes - 1), np.eye(n_routes - 1)])
    moved = g @ contrast.T
    expected = (moved.T * declared) @ moved + (contrast * (noise + _RIDGE)) @ contrast.T
    apart = left @ contrast.T
    seen = free * float(np.sum(apart * np.linalg.solve(expected, apart.T).T)) / n_runs
    factor = (SET_DOF + seen) / (SET_DOF + free * (n_routes - 1))
    return np.where(np.any(moved != 0.0, axis=1), factor, 1.0)
