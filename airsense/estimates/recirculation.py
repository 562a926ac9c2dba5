"""Exhaust gas recirculation that nobody logged: two groups of apparent volumetric efficiency.

Recirculated gas fills the cylinders but does not pass the air-flow sensor, so with an open valve
the sensor shows much less than speed density. A valve is open or shut; samples under load then
fall into two groups with a gap that no breathing of an engine makes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airsense.estimates.run import Run
from airsense.estimates.segments import find_segments
from airsense.results import Finding, Severity
from airsense.setup.engine import EngineSetup

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MIN_SAMPLES = 40
# Groups must lie this far apart in ln, hold at least this share of the samples each, and the
# samples between them must thin out to this share of the lower of both peaks: our choice. One
# broad group has no such valley, however wide it is.
MIN_GAP_LN = 0.12
MAX_GAP_LN = 0.9
MIN_SHARE = 0.04
MAX_VALLEY = 0.4
# Width of the smoothing in ln at 300 samples; fewer samples need more.
SMOOTHING_LN = 0.025
LOADED_PRESSURE_RATIO = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoGroups:
    """Two groups of apparent volumetric efficiency: centres, limit between them, valley.

    `valley` is the density of samples at the limit over that of the lower peak; one is no valley.
    """

    low: float
    high: float
    limit: float
    valley: float
    share_low: float

    @property
    def found(self) -> bool:
        """Whether there really are two groups."""
        return (
            self.valley <= MAX_VALLEY and MIN_GAP_LN <= np.log(self.high / self.low) <= MAX_GAP_LN
        )


def apparent_ve(run: Run, setup: EngineSetup) -> FloatArray | None:
    """Return the volumetric efficiency that the sensor's reading implies; NaN where it cannot."""
    if run.mdot_maf_kgps is None or run.p_manifold_pa is None or run.t_charge_k is None:
        return None
    assert run.air is not None
    engine = setup.engine
    with np.errstate(invalid="ignore", divide="ignore"):
        swept = (
            run.p_manifold_pa
            * engine.displacement_m3
            * engine.cycles_per_rev
            * run.speed_rpm
            / 60.0
        ) / (run.air.r_jpkgk * run.t_charge_k)
        return np.where(swept > 0.0, run.mdot_maf_kgps / swept, np.nan)


def two_groups(ve_frac: FloatArray) -> TwoGroups | None:
    """Split apparent volumetric efficiencies at the deepest valley of their density.

    Parameters
    ----------
    ve_frac : ndarray, shape (n,)
        Finite positive values of quasi-steady samples under load.

    Returns
    -------
    TwoGroups or None
        None with fewer than 40 samples, or if no split leaves each side its least share.
    """
    if ve_frac.size < MIN_SAMPLES:
        return None
    x = np.log(ve_frac)
    width = SMOOTHING_LN * max(1.0, 300.0 / x.size) ** 0.2
    edges, density, count = _density(x, width)
    peaks = np.minimum(np.maximum.accumulate(density), np.maximum.accumulate(density[::-1])[::-1])
    share_low = np.cumsum(count) / x.size
    allowed = (share_low >= MIN_SHARE) & (share_low <= 1.0 - MIN_SHARE)
    if not allowed.any():
        return None
    depth = np.where(allowed, density / np.maximum(peaks, 1e-300), np.inf)
    deepest = np.flatnonzero(depth <= depth.min() + 1e-9)
    cut = int(deepest[deepest.size // 2])
    limit = float(edges[cut + 1])
    return TwoGroups(
        low=float(np.exp(np.mean(x[x < limit]))),
        high=float(np.exp(np.mean(x[x >= limit]))),
        limit=float(np.exp(limit)),
        valley=float(depth[cut]),
        share_low=float(share_low[cut]),
    )


def _density(x: FloatArray, width: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return cell edges, density smoothed by a normal kernel, and count by cell."""
    cell = width / 4.0
    edges = np.arange(np.min(x) - 4.0 * width, np.max(x) + 4.0 * width + cell, cell)
    count = np.histogram(x, edges)[0].astype(np.float64)
    offsets = np.arange(-16, 17)
    return edges, np.convolve(count, np.exp(-0.5 * (offsets / 4.0) ** 2), mode="same"), count


def loaded_samples(run: Run) -> BoolArray:
    """Return where the engine runs under boost, so that a shut valve can be expected."""
    assert run.p_manifold_pa is not None
    with np.errstate(invalid="ignore"):
        return (run.p_manifold_pa > LOADED_PRESSURE_RATIO * run.p_ambient_pa) & (
            run.speed_rpm > 1200.0
        )


def mask_recirculation(run: Run, setup: EngineSetup) -> Run:
    """Return the run with samples of the low group left out and a finding, if there are two groups.

    A logged recirculation rate is used by the routes instead, and nothing is masked.
    """
    ve = apparent_ve(run, setup)
    if ve is None or run.egr_rate is not None:
        return run
    (segment, *_rest) = find_segments([run])
    if segment.kind == "pull":
        return run
    loaded = segment.use & loaded_samples(run) & np.isfinite(ve) & (ve > 0.0)
    groups = two_groups(ve[loaded])
    if groups is None or not groups.found:
        return run
    with np.errstate(invalid="ignore"):
        suspect = ve < groups.limit
    count = int(np.count_nonzero(suspect & loaded))
    finding = Finding(
        code="recirculation_suspected",
        severity=Severity.WARNING,
        message=f"under boost the apparent volumetric efficiency falls into two groups, about "
        f"{groups.low:.2f} and {groups.high:.2f}; exhaust gas recirculation that displaces fresh "
        f"air would give that; {count} loaded samples of the low group, and all like them, are "
        "left out",
        fix="log the recirculation rate or valve position, or test with the valve shut",
        where=run.name,
    )
    return replace(run, use=~suspect, findings=(*run.findings, finding))
