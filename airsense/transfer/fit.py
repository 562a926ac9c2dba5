"""Fit ln(true/indicated) over the sensor's axis: one factor or a shape, with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from airsense.transfer.basis import SplineBasis
from airsense.transfer.choose import choose, make_folds, sum_of
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
)
from airsense.transfer.noise import (
    MIN_SIGMA,
    estimate_noise,
    mean_over_routes,
    robust_sd,
    rough_residual,
)
from airsense.transfer.samples import (
    Blocks,
    ReferenceSamples,
    sensor_noise_share,
    to_blocks,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A tube that fits by one factor may still bend the curve by half a percent: profile models
# differ by that much (see `airsense tube`).
FLOOR_AMPLITUDE = 0.005
# Shape allowed for while the scatter of the runs is judged.
RUN_SCALE_AMPLITUDE = 0.01
RUN_SCALES = (0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
MAX_BLOCKS = 20_000
OUTLIER = 5.0


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
    total: Normal
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
        return mean_over_routes((self.blocks.residual - design.x @ own)[:, self.blocks.present])

    def left_residual(self) -> FloatArray:
        """Return what the new table leaves of `raw_residual`."""
        rows = self.design.curve(self.blocks.axis[self.blocks.present])
        return np.asarray(self.raw_residual() - rows @ self.posterior.mean)

    def curve(self, axis: FloatArray) -> Curve:
        """Return ln(true/indicated) over ln(indicated flow).

        The mean is that of the chosen model. The uncertainty is that of a model with at least
        `FLOOR_AMPLITUDE` of shape, with the distance between the two: a shape too small to be
        chosen is not too small to matter.
        """
        rows = self.design.curve(axis)
        mean = rows @ self.posterior.mean
        other = rows @ self.cautious.mean
        variance = np.sum((rows @ self.cautious.covariance) * rows, axis=1)
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
    residual = rough_residual(design)
    spread = np.array([robust_sd(r) for r in residual])
    with np.errstate(invalid="ignore"):
        wild = np.abs(residual) > OUTLIER * np.maximum(spread, MIN_SIGMA)[:, None]
    kept = np.where(wild, np.nan, blocks.residual)
    step = np.nan_to_num(mean_over_routes(np.where(wild, 0.0, residual)), nan=0.0)
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
    noise = estimate_noise(design)
    folds = make_folds(blocks)
    normals = [normal_of(design, noise, mask) for mask in folds]
    total = sum_of(normals)
    run_scale = _run_scale(design, total, samples.dof)
    choice = choose(design, noise, folds, normals, run_scale)
    amplitude = choice.amplitude
    cautious = max(amplitude, FLOOR_AMPLITUDE)
    return Fit(
        model=Model.SHAPE if amplitude > 0.0 else Model.SCALE,
        amplitude=amplitude,
        run_scale=run_scale,
        dof=samples.dof + max(0, np.unique(blocks.run).size - 2),
        design=design,
        noise=noise,
        total=total,
        posterior=solve(total, design.precision(amplitude, run_scale)),
        cautious=solve(total, design.precision(cautious, run_scale)),
        left_out=choice.left_out,
    )


def level(blocks: Blocks, samples: ReferenceSamples, basis: SplineBasis) -> tuple[float, float]:
    """Return mean and standard uncertainty of the curve over the blocks, no shape chosen."""
    design = build_design(blocks, samples, basis)
    total = normal_of(design, estimate_noise(design), np.ones(blocks.run.size, dtype=bool))
    run_scale = _run_scale(design, total, samples.dof)
    posterior = solve(total, design.precision(RUN_SCALE_AMPLITUDE, run_scale))
    row = design.curve(blocks.axis[blocks.present]).mean(axis=0)
    return float(row @ posterior.mean), float(np.sqrt(row @ posterior.covariance @ row))


def _run_scale(design: Design, total: Normal, dof: float) -> float:
    """Return the multiple of the declared run-to-run uncertainties that the repeats support.

    Mode over a scaled inverse chi-square prior with the declared degrees of freedom.
    """

    def score(scale: float) -> float:
        prior = -(0.5 * dof + 1.0) * np.log(scale**2) - 0.5 * dof / scale**2
        precision = design.precision(RUN_SCALE_AMPLITUDE, scale)
        return float(ln_evidence(total, precision) + prior)

    return max(RUN_SCALES, key=score)
