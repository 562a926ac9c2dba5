"""Fit ln(true/indicated) over the sensor's axis: one factor or a shape, with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.basis import SplineBasis
from airsense.transfer.mixed import (
    U_FACTOR,
    U_FACTOR_BESIDE_CAUSE,
    Design,
    Noise,
    Normal,
    Posterior,
    Signature,
    build_design,
    ln_evidence,
    normal_of,
    solve,
    solve_mean,
)
from airsense.transfer.samples import (
    Blocks,
    ReferenceSamples,
    sensor_noise_share,
    to_blocks,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Standard deviation of the shape, tried by cross-validation; zero is one factor for all.
AMPLITUDES = (0.0, 0.005, 0.01, 0.02, 0.04, 0.08)
# A tube that fits by one factor may still bend the curve by half a percent: profile models
# differ by that much (see `airsense tube`).
FLOOR_AMPLITUDE = 0.005
RUN_SCALES = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
MAX_BLOCKS = 20_000
MAX_FOLDS = 10
FOLD_S = 20.0
MIN_LN_ODDS = 1.0
OUTLIER = 5.0
MIN_SIGMA = 2.0e-4
MAX_INFLATION = 20.0


class Model(Enum):
    """What the data support."""

    SCALE = "scale"
    SHAPE = "shape"


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """ln(true/indicated) at some points: mean and standard uncertainty, shape (n,)."""

    mean: FloatArray
    u: FloatArray


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The fitted model with what it rests on."""

    model: Model
    amplitude: float
    run_scale: float
    dof: float
    design: Design
    noise: Noise
    posterior: Posterior
    cautious: Posterior
    left_out: FloatArray

    @property
    def blocks(self) -> Blocks:
        """Blocks in the fit."""
        return self.design.blocks

    def raw_residual(self) -> FloatArray:
        """Return ln(true/indicated) of the present blocks, averaged over routes.

        Each route's own error, as the baseline teaches it, is taken off; its run effects are not.
        """
        design = self.design
        own = self.posterior.mean.copy()
        own[: 1 + design.basis.size + len(design.signatures)] = 0.0
        own[design.run_columns] = 0.0
        return _mean_over_routes((self.blocks.residual - design.x @ own)[:, self.blocks.present])

    def left_residual(self) -> FloatArray:
        """Return what the new table leaves of `raw_residual`."""
        curve = self.curve(self.blocks.axis[self.blocks.present])
        return np.asarray(self.raw_residual() - curve.mean)

    def curve(self, axis: FloatArray) -> Curve:
        """Return ln(true/indicated) over ln(indicated flow).

        The mean is that of the chosen model. The uncertainty is that of a model with at least
        `FLOOR_AMPLITUDE` of shape, with the distance between the two: a shape too small to be
        chosen is not too small to matter.
        """
        rows = self.design.curve(axis)
        mean = rows @ self.posterior.mean
        other = rows @ self.cautious.mean
        variance = np.einsum("ij,jk,ik->i", rows, self.cautious.covariance, rows)
        return Curve(mean=mean, u=np.sqrt(variance + (mean - other) ** 2))

    def average(self, axis: FloatArray) -> tuple[float, float]:
        """Return mean and standard uncertainty of the curve averaged over `axis`."""
        row = self.design.curve(axis).mean(axis=0)
        variance = float(row @ self.cautious.covariance @ row)
        gap = float(row @ (self.posterior.mean - self.cautious.mean))
        return float(row @ self.posterior.mean), float(np.sqrt(variance + gap**2))


def prepared_blocks(samples: ReferenceSamples, basis: SplineBasis) -> Blocks:
    """Return the blocks without outliers, with the sensor's noise taken off the axis."""
    blocks = to_blocks(samples)
    if blocks.run.size > MAX_BLOCKS:
        blocks = to_blocks(samples, 0.5 * blocks.run.size / MAX_BLOCKS)
    if np.count_nonzero(blocks.present) < 3:
        return blocks
    design = build_design(blocks, samples, basis)
    residual = _rough_residual(design)
    spread = np.array([_robust_sd(r) for r in residual])
    with np.errstate(invalid="ignore"):
        wild = np.abs(residual) > OUTLIER * np.maximum(spread, MIN_SIGMA)[:, None]
    kept = np.where(wild, np.nan, blocks.residual)
    step = np.nan_to_num(_mean_over_routes(np.where(wild, 0.0, residual)), nan=0.0)
    moved = blocks.axis + sensor_noise_share(samples) * step
    cleaned = replace(blocks, residual=kept, axis=moved)
    return cleaned.pick(np.asarray(np.isfinite(kept).any(axis=0)))


def fit_blocks(
    blocks: Blocks,
    samples: ReferenceSamples,
    basis: SplineBasis,
    signatures: Sequence[Signature] = (),
) -> Fit:
    """Fit the curve.

    Parameters
    ----------
    blocks : Blocks
        From `prepared_blocks`; at least one with the present tube.
    samples : ReferenceSamples
        What the blocks were made of: the uncertainties are taken from it.
    basis : SplineBasis
        Over the axis ln(indicated flow), covering the table.
    signatures : sequence of Signature
        Causes other than the table that are to take what is theirs.
    """
    u_factor = U_FACTOR_BESIDE_CAUSE if signatures else U_FACTOR
    design = build_design(blocks, samples, basis, signatures, u_factor)
    noise = _noise(design)
    folds = _folds(blocks)
    normals = [normal_of(design, noise, mask) for mask in folds]
    total = _sum(normals)
    run_scale = _run_scale(design, total, samples.dof)
    amplitude, left_out = _choose(design, noise, folds, normals, run_scale)
    cautious = max(amplitude, FLOOR_AMPLITUDE)
    return Fit(
        model=Model.SHAPE if amplitude > 0.0 else Model.SCALE,
        amplitude=amplitude,
        run_scale=run_scale,
        dof=samples.dof + max(0, np.unique(blocks.run).size - 2),
        design=design,
        noise=noise,
        posterior=solve(total, design.precision(amplitude, run_scale)),
        cautious=solve(total, design.precision(cautious, run_scale)),
        left_out=left_out,
    )


def _rough_residual(design: Design) -> FloatArray:
    """Residual of a supple fit with equal weights, shape (routes, m)."""
    ones = np.ones(design.x.shape[0])
    everything = np.ones(design.blocks.run.size, dtype=bool)
    normal = normal_of(design, Noise(sigma=0.01 * ones, inflation=ones), everything)
    mean = solve_mean(normal, design.precision(AMPLITUDES[-1], RUN_SCALES[-1]))
    return np.asarray(design.blocks.residual - design.x @ mean)


def _robust_sd(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(np.abs(finite)) / 0.6745) if finite.size else 0.0


def _noise(design: Design) -> Noise:
    """Estimate the noise of a block, and how many blocks in a row are one independent look."""
    residual = _rough_residual(design)
    same_run = np.diff(design.blocks.run) == 0
    sigma, inflation = [], []
    for row in residual:
        finite = np.isfinite(row)
        sd = float(np.sqrt(np.mean(row[finite] ** 2))) if finite.any() else 0.01
        pairs = same_run & finite[1:] & finite[:-1]
        rho = float(np.mean(row[1:][pairs] * row[:-1][pairs]) / sd**2) if pairs.any() else 0.0
        rho = float(np.clip(rho, 0.0, 0.95))
        sigma.append(max(sd, MIN_SIGMA))
        inflation.append(min((1.0 + rho) / (1.0 - rho), MAX_INFLATION))
    shared = _shared_noise(residual)
    return Noise(sigma=np.array(sigma), inflation=np.array(inflation) * shared)


def _shared_noise(residual: FloatArray) -> float:
    """Routes share the sensor's noise: k routes with correlation r are worth k / (1 + (k-1) r)."""
    both = np.isfinite(residual).all(axis=0)
    k = residual.shape[0]
    if k < 2 or np.count_nonzero(both) < 10:
        return 1.0
    correlation = np.corrcoef(residual[:, both])
    mean = (np.sum(correlation) - k) / (k * (k - 1))
    return float(1.0 + (k - 1) * np.clip(mean, 0.0, 1.0))


def _folds(blocks: Blocks) -> list[BoolArray]:
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


def _sum(normals: Sequence[Normal]) -> Normal:
    total = normals[0]
    for normal in normals[1:]:
        total = total + normal
    return total


def _run_scale(design: Design, total: Normal, dof: float) -> float:
    """Return the multiple of the declared run-to-run uncertainties that the repeats support.

    Mode over a scaled inverse chi-square prior with the declared degrees of freedom.
    """

    def score(scale: float) -> float:
        prior = -(0.5 * dof + 1.0) * np.log(scale**2) - 0.5 * dof / scale**2
        precision = design.precision(AMPLITUDES[2], scale)
        return float(ln_evidence(total, precision) + prior)

    return max(RUN_SCALES, key=score)


def _choose(
    design: Design,
    noise: Noise,
    folds: Sequence[BoolArray],
    normals: Sequence[Normal],
    run_scale: float,
) -> tuple[float, FloatArray]:
    """Return the amplitude with the least left-out deviance, and the left-out residual.

    A shape is taken only if it beats the factor by one standard error over the folds. With a
    single fold there is nothing to leave out, and the marginal likelihood chooses.
    """
    left = range(len(folds) - 1)
    total = _sum(normals)
    if len(left) < 2:
        nothing = np.full(design.blocks.run.size, np.nan)
        return _by_evidence(design, total, run_scale), nothing
    deviance = np.empty((len(AMPLITUDES), len(left)))
    kept: list[FloatArray] = []
    for a, amplitude in enumerate(AMPLITUDES):
        precision = design.precision(amplitude, run_scale)
        residual = np.full(design.blocks.residual.shape, np.nan)
        for f in left:
            mean = solve_mean(_less(total, normals[f]), precision)
            mask = folds[f]
            residual[:, mask] = design.blocks.residual[:, mask] - design.x[:, mask] @ mean
            deviance[a, f] = _deviance(residual[:, mask], noise, _u_runs(design, run_scale))
        kept.append(_mean_over_routes(residual))
    best = int(np.argmin(deviance.sum(axis=1)))
    gain = deviance[0] - deviance[best]
    error = float(np.std(gain, ddof=1) * np.sqrt(gain.size))
    if best == 0 or float(np.sum(gain)) < max(2.0 * MIN_LN_ODDS, error):
        best = 0
    return AMPLITUDES[best], kept[best]


def _by_evidence(design: Design, total: Normal, run_scale: float) -> float:
    tried = [ln_evidence(total, design.precision(a, run_scale)) for a in AMPLITUDES]
    best = int(np.argmax(tried))
    return AMPLITUDES[best] if tried[best] - tried[0] > MIN_LN_ODDS else 0.0


def _less(total: Normal, part: Normal) -> Normal:
    return Normal(
        total.xwx - part.xwx,
        total.xwy - part.xwy,
        total.ywy - part.ywy,
        total.ln_w - part.ln_w,
        total.count - part.count,
    )


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


def _mean_over_routes(residual: FloatArray) -> FloatArray:
    count = np.isfinite(residual).sum(axis=0)
    total = np.nansum(residual, axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
