"""Exhaust gas recirculation that nobody logged: told by two groups of apparent breathing.

Recirculated gas fills the cylinders but does not pass the air-flow sensor, so with an open valve
the sensor shows much less than speed density. A valve is open or shut; samples under load then
fall into two groups with a gap that no breathing of an engine makes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.estimates.run import Run
from airsense.estimates.segments import Segmented
from airsense.setup.engine import EngineSetup, Ignition, Induction

# Fewer show no two groups (our choice).
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
LOADED_PRESSURE_RATIO_UNBOOSTED = 0.8
# High load of a run: this share of (nearly) its highest pressure under load. Our choice.
HIGH_LOAD_QUANTILE = 0.98
HIGH_LOAD_SHARE = 0.8
# About the peak of the shut group. Over one trip its level tilts by 0.02 (k = 1) with pressure
# and speed; a valve that is still closing leaves a tail below.
BELOW_PEAK_LN = 0.07
ABOVE_PEAK_LN = 0.09
# Breathing at one speed follows pressure to a power of -0.5 to 0.2 in engines without
# recirculation, and in eleven road trips 0.13 with the valve shut, 0.4 to 1.1 with it open.
MAX_CLIMB = 0.35
# What is left of ln VE after pressure and speed: below 0.02 on a bench; above this, two states.
MAX_LEFT_LN = 0.045
MIN_LOOKS_TO_CLIMB = 8
# Pressures at one speed must differ by this (k = 1, in ln) for a climb to be told.
MIN_APART_LN = 0.03
# Where most of a log is loaded it is a bench test; elsewhere light boost alone proves nothing.
BENCH_SHARE = 0.5
LIGHT_LOAD_RATIO = 1.6
MIN_LOOK_S = 0.9
# Stretches of eleven road trips with 40 and more looks stayed within 1.4 % of their trip, those
# with 20 to 40 were up to 4 % off. A bench test is not selected from a mixture: a few will do.
MIN_LOOKS = 40
MIN_LOOKS_BENCH = 3


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


def loaded_samples(run: Run, ratio: float = LOADED_PRESSURE_RATIO) -> BoolArray:
    """Return where the engine runs under boost, so that a shut valve can be expected."""
    assert run.p_manifold_pa is not None
    with np.errstate(invalid="ignore"):
        return (run.p_manifold_pa > ratio * run.p_ambient_pa) & (run.speed_rpm > 1200.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ValveShut:
    """Where the recirculation valve may be taken as shut, judged within one run alone.

    Attributes
    ----------
    mask : ndarray of bool, shape (n,)
        Samples over `run.time_s` whose apparent breathing can be trusted.
    count : int
        Looks at them: rounds of polling, 0.9 s at least, that hold such a sample. Looks that
        follow each other within some 12 s are alike, and not independent (nine road trips).
    groups : TwoGroups or None
        The two groups of the loaded samples; None where they cannot be looked for.
    limit : float
        Apparent volumetric efficiency below which a sample counts as recirculating; NaN if the
        loaded samples are one group.
    reason : str
        Why the run cannot be matched; empty where it can.
    """

    mask: BoolArray
    count: int
    groups: TwoGroups | None
    limit: float
    reason: str

    @property
    def found(self) -> bool:
        """Whether two groups, valve open and valve shut, were found."""
        return self.groups is not None and self.groups.found

    @property
    def matchable(self) -> bool:
        """Whether there are enough such samples to stand for the run."""
        return not self.reason


def valve_shut(run: Run, driven: Segmented, setup: EngineSetup) -> ValveShut:
    """Judge which samples have the recirculation valve shut, or no valve that matters.

    Of two groups of loaded samples the higher one at high load is taken, about its own peak: a
    factor on the air-flow reading moves both groups, limit and peak alike, and changes nothing.
    With one group, all loaded samples are taken (a spark-ignition engine, full-load sweeps),
    unless a compression-ignition engine shows a breathing that climbs with pressure as only a
    closing valve makes it. Below `LOADED_PRESSURE_RATIO` a compression-ignition engine without
    a logged rate is never trusted, wherever its temperature is taken: up to half of the charge
    may be exhaust gas. A spark-ignition engine is trusted there: throttled, its apparent
    breathing falls smoothly with load. A logged rate is corrected for by the routes: all usable
    samples are trusted.

    Parameters
    ----------
    run : Run
        Needs air flow, manifold pressure and charge temperature (estimated will do).
    driven : Segmented
        Its stretches.
    setup : EngineSetup
        Displacement, ignition and induction.

    Returns
    -------
    ValveShut
        NaN samples are never in the mask; without a needed channel it is empty, with the reason.
    """
    ve = apparent_ve(run, setup)
    if ve is None or run.p_manifold_pa is None:
        lacking = "air flow, manifold pressure and charge temperature are not all there"
        return _no_groups(run, np.zeros(run.time_s.size, dtype=bool), lacking)
    usable = driven.use & np.isfinite(ve) & (ve > 0.0)
    if run.egr_rate is not None:
        return _no_groups(run, usable, "")
    loaded = usable & loaded_samples(run, _loaded_ratio(setup))
    groups = two_groups(ve[loaded])
    if groups is not None and groups.found:
        return _of_two_groups(run, ve, loaded, groups)
    if setup.engine.ignition is Ignition.SPARK:
        return _no_groups(run, usable, "")
    return _of_one_group(run, ve, usable, loaded, groups)


def _loaded_ratio(setup: EngineSetup) -> float:
    boosted = setup.engine.induction is Induction.TURBOCHARGED
    return LOADED_PRESSURE_RATIO if boosted else LOADED_PRESSURE_RATIO_UNBOOSTED


def _of_two_groups(run: Run, ve: FloatArray, loaded: BoolArray, groups: TwoGroups) -> ValveShut:
    """Take the high group where the load is high, near its own peak."""
    assert run.p_manifold_pa is not None
    with np.errstate(invalid="ignore"):
        high = loaded & (ve >= groups.limit)
        high &= run.p_manifold_pa >= _high_load_pa(run.p_manifold_pa[loaded])
    if not high.any():
        return _judged(run, high, groups, "the samples at high load have the valve open")
    x = np.log(ve[high])
    offset = x - _peak_ln(x)
    mask = high.copy()
    mask[high] = (offset >= -BELOW_PEAK_LN) & (offset <= ABOVE_PEAK_LN)
    return _judged(run, mask, groups, "")


def _of_one_group(
    run: Run, ve: FloatArray, usable: BoolArray, loaded: BoolArray, groups: TwoGroups | None
) -> ValveShut:
    """Take all loaded samples of an engine that shows no second group, if they can be shut."""
    assert run.p_manifold_pa is not None
    if not loaded.any():
        return _judged(run, loaded, groups, "no usable sample is under load")
    bench = np.count_nonzero(loaded) >= BENCH_SHARE * np.count_nonzero(usable)
    top = float(np.quantile(run.p_manifold_pa[loaded], 0.95))
    reason = _doubt(_climb(run, ve, loaded))
    if not reason and not bench and top < LIGHT_LOAD_RATIO * run.p_ambient_pa:
        reason = "light boost only: whether the recirculation valve is open cannot be told"
    mask = np.zeros_like(loaded) if reason else loaded
    return _judged(run, mask, groups, reason, least=MIN_LOOKS_BENCH if bench else MIN_LOOKS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Climb:
    """How ln VE follows ln pressure at one speed, with its standard uncertainty; what is left."""

    slope: float
    u_slope: float
    left: float


def _climb(run: Run, ve_frac: FloatArray, loaded: BoolArray) -> _Climb | None:
    """Return the climb over looks; None with too few to fit pressure beside speed."""
    assert run.p_manifold_pa is not None
    look = np.unique(np.floor(run.time_s[loaded] / look_s(run)), return_inverse=True)[1]
    count = np.bincount(look)
    if count.size < MIN_LOOKS_TO_CLIMB:
        return None
    p, n, y = (
        np.bincount(look, np.log(x[loaded])) / count
        for x in (run.p_manifold_pa, run.speed_rpm, ve_frac)
    )
    n = n - n.mean()
    columns = np.column_stack([p - p.mean(), np.ones_like(n), n, n * n])
    fitted, _squares, rank, _values = np.linalg.lstsq(columns, y, rcond=None)
    if rank < columns.shape[1]:
        return None
    left = y - columns @ fitted
    variance = float(left @ left) / (y.size - columns.shape[1])
    p_apart = 1.0 / float(np.linalg.inv(columns.T @ columns)[0, 0])
    # In a sweep pressure goes with speed: a bend of the breathing over speed is no climb.
    told = p_apart >= y.size * MIN_APART_LN**2
    u = np.sqrt(variance / p_apart) if told else np.inf
    return _Climb(slope=float(fitted[0]), u_slope=float(u), left=float(np.sqrt(variance)))


def _doubt(climb: _Climb | None) -> str:
    """Return why one group of loaded samples may have the valve open; empty if nothing says so."""
    if climb is None:
        return ""
    if climb.left > MAX_LEFT_LN:
        return (
            f"apparent volumetric efficiency scatters by {100.0 * climb.left:.0f} % at one speed "
            "and pressure: recirculation in no clear groups"
        )
    if climb.slope - 2.0 * climb.u_slope > MAX_CLIMB:
        return (
            f"apparent volumetric efficiency climbs with pressure to the power {climb.slope:.1f}, "
            "as with recirculation that fades out"
        )
    return ""


def _no_groups(run: Run, mask: BoolArray, reason: str) -> ValveShut:
    return _judged(run, mask, None, reason, least=MIN_LOOKS_BENCH)


def _judged(
    run: Run, mask: BoolArray, groups: TwoGroups | None, reason: str, *, least: int | None = None
) -> ValveShut:
    needed = MIN_LOOKS if least is None else least
    count = _looks(run, mask)
    if not reason and count < needed:
        reason = (
            f"{count} looks of {look_s(run):.1f} s have the recirculation valve shut under load, "
            f"fewer than {needed}"
        )
    found = groups is not None and groups.found
    return ValveShut(
        mask=mask,
        count=count,
        groups=groups,
        limit=groups.limit if groups is not None and found else float("nan"),
        reason=reason,
    )


def look_s(run: Run) -> float:
    """Return the length of one look: a round of polling, at least `MIN_LOOK_S`. [s]"""
    return max(MIN_LOOK_S, run.native_step_s)


def _looks(run: Run, mask: BoolArray) -> int:
    """Return how many looks hold a sample of the mask, shape (n,)."""
    return int(np.unique(np.floor(run.time_s[mask] / look_s(run))).size)


def _high_load_pa(p_pa: FloatArray) -> float:
    return HIGH_LOAD_SHARE * float(np.quantile(p_pa, HIGH_LOAD_QUANTILE))


def _peak_ln(x: FloatArray) -> float:
    """Return where the density of ln values, shape (n,), is highest."""
    edges, density, _count = _density(x, SMOOTHING_LN)
    k = int(np.argmax(density))
    return float(0.5 * (edges[k] + edges[k + 1]))
