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
# Groups must lie this many pooled standard deviations apart (Ashman's D above 2 is a clean
# separation), and this far in ln, and hold at least this share of the samples each.
MIN_SEPARATION = 2.0
MIN_GAP_LN = 0.12
MAX_GAP_LN = 0.9
MIN_SHARE = 0.04
LOADED_PRESSURE_RATIO = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoGroups:
    """Two groups of apparent volumetric efficiency: centres, limit between them, separation."""

    low: float
    high: float
    limit: float
    separation: float
    share_low: float

    @property
    def found(self) -> bool:
        """Whether there really are two groups."""
        gap = float(np.log(self.high / self.low))
        return (
            self.separation >= MIN_SEPARATION
            and MIN_GAP_LN <= gap <= MAX_GAP_LN
            and MIN_SHARE <= self.share_low <= 1.0 - MIN_SHARE
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
    """Split apparent volumetric efficiencies in two groups by the least scatter within them.

    Parameters
    ----------
    ve_frac : ndarray, shape (n,)
        Finite positive values of quasi-steady samples under load.

    Returns
    -------
    TwoGroups or None
        None with fewer than 40 samples. The split minimizes the pooled variance of ln(VE).
    """
    if ve_frac.size < MIN_SAMPLES:
        return None
    x = np.sort(np.log(ve_frac))
    x = x[(x > np.quantile(x, 0.005)) & (x < np.quantile(x, 0.995))]
    n = np.arange(1, x.size)
    total, square = np.cumsum(x), np.cumsum(x**2)
    left = square[:-1] - total[:-1] ** 2 / n
    right = (square[-1] - square[:-1]) - (total[-1] - total[:-1]) ** 2 / (x.size - n)
    cut = int(np.argmin(left + right)) + 1
    low, high = x[:cut], x[cut:]
    pooled = float(np.sqrt(0.5 * (np.var(low) + np.var(high))))
    gap = float(np.mean(high) - np.mean(low))
    return TwoGroups(
        low=float(np.exp(np.mean(low))),
        high=float(np.exp(np.mean(high))),
        limit=float(np.exp(0.5 * (low[-1] + high[0]))),
        separation=gap / pooled if pooled > 0.0 else float("inf"),
        share_low=cut / x.size,
    )


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
