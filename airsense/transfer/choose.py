"""One factor or a shape? Left-out runs decide, and what they choose has to stand out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.mixed import Design, Noise, Normal, ln_evidence, solve, solve_mean
from airsense.transfer.noise import mean_over_routes
from airsense.transfer.samples import Blocks

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Standard deviation of the shape, tried by cross-validation; zero is one factor for all.
AMPLITUDES = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08)
MAX_FOLDS = 10
FOLD_S = 20.0
# A model with one more thing to it has to gain this much.
MIN_LN_ODDS = 1.0
# A shape has to leave its mean by this, somewhere in the logged range, to be told from a drift of
# the routes, which has a bend of its own.
MIN_BEND = 0.004
MIN_BEND_Z = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The amplitude of the shape, and what it leaves of runs that took no part; shape (m,)."""

    amplitude: float
    left_out: FloatArray


def make_folds(blocks: Blocks) -> list[BoolArray]:
    """Return disjoint masks over all blocks: the runs of the present tube, at most ten folds.

    Baseline runs are in the last mask, which is never left out. A single run is cut into pieces
    of time, which cannot tell its own drift from a shape of the table.
    """
    runs = np.unique(blocks.run[blocks.present])
    if runs.size > 1:
        groups = np.array_split(runs, min(runs.size, MAX_FOLDS))
        masks = [blocks.present & np.isin(blocks.run, group) for group in groups]
    else:
        time_s = blocks.time_s[blocks.present]
        piece = np.zeros(blocks.run.size, dtype=np.int64)
        piece[blocks.present] = np.floor((time_s - time_s[0]) / FOLD_S)
        pieces = np.array_split(np.unique(piece[blocks.present]), MAX_FOLDS)
        masks = [blocks.present & np.isin(piece, part) for part in pieces if part.size]
    return [*masks, ~blocks.present]


def choose(
    design: Design,
    noise: Noise,
    folds: Sequence[BoolArray],
    normals: Sequence[Normal],
    run_scale: float,
) -> Choice:
    """Return the amplitude with the least left-out deviance, or zero.

    A shape is taken only if it beats the factor by one standard error over the folds, and if it
    stands out of what it is uncertain by. With a single fold there is nothing to leave out, and
    the marginal likelihood chooses.
    """
    left = range(len(folds) - 1)
    total = sum_of(normals)
    if len(left) < 2:
        nothing = np.full(design.blocks.run.size, np.nan)
        best = _by_evidence(design, total, run_scale)
        return Choice(amplitude=_if_it_stands_out(best, design, total, run_scale), left_out=nothing)
    deviance = np.empty((len(AMPLITUDES), len(left)))
    kept: list[FloatArray] = []
    for a, amplitude in enumerate(AMPLITUDES):
        precision = design.precision(amplitude, run_scale)
        residual = np.full(design.blocks.residual.shape, np.nan)
        for f in left:
            mean = solve_mean(total.plus(normals[f], -1.0), precision)
            mask = folds[f]
            residual[:, mask] = design.blocks.residual[:, mask] - design.x[:, mask] @ mean
            deviance[a, f] = _deviance(residual[:, mask], noise, _u_runs(design, run_scale))
        kept.append(mean_over_routes(residual))
    best = AMPLITUDES[_least(deviance)]
    best = _if_it_stands_out(best, design, total, run_scale)
    return Choice(amplitude=best, left_out=kept[AMPLITUDES.index(best)])


def _least(deviance: FloatArray) -> int:
    """Return the row of the least total deviance, or the first row if it is nearly as good."""
    best = int(np.argmin(deviance.sum(axis=1)))
    gain = deviance[0] - deviance[best]
    error = float(np.std(gain, ddof=1) * np.sqrt(gain.size))
    return 0 if float(np.sum(gain)) < max(2.0 * MIN_LN_ODDS, error) else best


def _if_it_stands_out(amplitude: float, design: Design, total: Normal, run_scale: float) -> float:
    """Return the amplitude, or zero if the shape is within its uncertainty of its mean."""
    if amplitude == 0.0:
        return 0.0
    posterior = solve(total, design.precision(amplitude, run_scale))
    axis = design.blocks.axis[design.blocks.present]
    low, high = (float(q) for q in np.quantile(axis, (0.05, 0.95)))
    rows = design.curve(np.linspace(low, high, 20))
    rows = rows - rows.mean(axis=0)
    bend = np.abs(rows @ posterior.mean)
    u = np.sqrt(np.sum((rows @ posterior.covariance) * rows, axis=1))
    return amplitude if bool(np.any((bend > MIN_BEND) & (bend > MIN_BEND_Z * u))) else 0.0


def _by_evidence(design: Design, total: Normal, run_scale: float) -> float:
    tried = [ln_evidence(total, design.precision(a, run_scale)) for a in AMPLITUDES]
    best = int(np.argmax(tried))
    return AMPLITUDES[best] if tried[best] - tried[0] > MIN_LN_ODDS else 0.0


def _u_runs(design: Design, run_scale: float) -> float:
    precision = np.diag(design.prior)[design.run_columns]
    return float(run_scale / np.sqrt(np.median(precision)))


def _deviance(residual: FloatArray, noise: Noise, u_run: float) -> float:
    """Squared misfit of a left-out fold in units of its noise, its run effect allowed for."""
    total = 0.0
    for row, sigma, inflation in zip(residual, noise.sigma, noise.inflation, strict=True):
        values = row[np.isfinite(row)]
        variance = sigma**2 * inflation
        shrink = u_run**2 / (variance + values.size * u_run**2)
        total += float(np.sum(values**2) - shrink * np.sum(values) ** 2) / variance
    return total


def sum_of(normals: Sequence[Normal]) -> Normal:
    """Return the normal equations of all folds together."""
    total = normals[0]
    for normal in normals[1:]:
        total = total.plus(normal)
    return total
