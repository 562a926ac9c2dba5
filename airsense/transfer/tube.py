"""What geometry alone does to the reading of a hot film, as a range over profile models."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

import airsense
from airsense.arrays import FloatArray
from airsense.physics.air import viscosity_air_pas
from airsense.physics.constants import USUAL_AIR_K
from airsense.physics.duct import (
    ISO_7145_LENGTH_AXIS,
    ISO_7145_LENGTH_MEAN_POINT,
    Profile,
    area_reading_factor,
    equivalent_bore_m,
    mean_to_centre,
    reading_factor,
    reynolds_tube,
    straight_length_iso_5167,
)
from airsense.results import CAUTIONS, K_95, Assumption, Finding, Interval, Presented, Severity
from airsense.transfer.cautions import TABLE_CAUTIONS

U_BORE_M = 1.0e-4  # caliper in a cast or moulded tube: our choice
T_AIR_K = USUAL_AIR_K
# Elbow ahead of a flow sensor, Re 7e4 to 1e5: up to 10.8 % within 8 D, at most 2 % from 8 D on
# (Synowiec et al., Wroclaw; abstract on a public document site).
ELBOW_LENGTH = 8.0
ELBOW_ERROR_NEAR = 0.108
ELBOW_ERROR_FAR = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowPoint:
    """The geometry's answer at one true mass flow."""

    flow_kgps: float
    reynolds: float
    mean_to_centre: Interval
    reading_factor: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightLength:
    """Straight tube ahead of the sensor, in bores, beside what standards ask after one bend."""

    length_over_bore: float
    iso_5167_least: float
    iso_5167_most: float
    iso_7145_axis: float
    iso_7145_mean_point: float
    elbow_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeResult(Presented):
    """What a change of bore alone would do."""

    schema: str = "airsense.tube/1"
    version: str = airsense.__version__
    sentence: str
    bore_before_m: float
    bore_after_m: float | None
    area_factor: float | None
    reading_factor: Interval | None
    by_flow: tuple[FlowPoint, ...]
    skew: Interval | None
    equivalent_bore_m: Interval | None
    straight_length: StraightLength | None
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...] = (*CAUTIONS, *TABLE_CAUTIONS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """The geometry as declared."""

    bore_before_m: float
    bore_after_m: float | None = None
    u_bore_m: float = U_BORE_M
    depth_m: float | None = None
    straight_m: float | None = None
    t_air_k: float = T_AIR_K


def tube_result(tube: Tube, flows_kgps: Sequence[float], skew: Interval | None) -> TubeResult:
    """Return what the change of bore does, and the bore that would explain a measured skew."""
    points = _by_flow(tube, flows_kgps)
    factor = _overall(tube, points)
    bore = None if skew is None else equivalent_bore(tube.bore_before_m, skew, tube.u_bore_m)
    straight = _straight(tube)
    return TubeResult(
        sentence=_sentence(tube, factor, skew, bore),
        bore_before_m=tube.bore_before_m,
        bore_after_m=tube.bore_after_m,
        area_factor=_area_factor(tube),
        reading_factor=factor,
        by_flow=points,
        skew=skew,
        equivalent_bore_m=bore,
        straight_length=straight,
        findings=_findings(tube, points, straight),
        assumptions=_assumptions(tube),
    )


def equivalent_bore(bore_before_m: float, skew: Interval, u_bore_m: float = U_BORE_M) -> Interval:
    """Return the bore that would make the sensor read off by `skew`, with its 95 % interval.

    The interval joins that of the skew with that of the old bore; a high skew is a narrow bore.
    """
    value, high, low = (
        float(equivalent_bore_m(bore_before_m, s)) for s in (skew.value, skew.low, skew.high)
    )
    u95 = K_95 * u_bore_m * value / bore_before_m
    return Interval(value, value - np.hypot(value - low, u95), value + np.hypot(high - value, u95))


def _area_factor(tube: Tube) -> float | None:
    if tube.bore_after_m is None:
        return None
    return float(area_reading_factor(tube.bore_before_m, tube.bore_after_m))


def _bore_u95(tube: Tube) -> float:
    """Relative 95 % uncertainty of the area ratio from measuring two bores."""
    assert tube.bore_after_m is not None
    parts = np.array([tube.u_bore_m / tube.bore_before_m, tube.u_bore_m / tube.bore_after_m])
    return float(K_95 * 2.0 * np.hypot(*parts))


def _by_flow(tube: Tube, flows_kgps: Sequence[float]) -> tuple[FlowPoint, ...]:
    if tube.bore_after_m is None:
        return ()
    flow = np.asarray(flows_kgps, dtype=float)
    mu = float(viscosity_air_pas(tube.t_air_k))
    reynolds = reynolds_tube(flow, tube.bore_after_m, mu)
    ratios = np.array([mean_to_centre(reynolds, p) for p in Profile])
    factors = np.array(
        [
            reading_factor(
                flow,
                bore_before_m=tube.bore_before_m,
                bore_after_m=tube.bore_after_m,
                mu_pas=mu,
                profile=p,
                depth_m=tube.depth_m,
            )
            for p in Profile
        ]
    )
    spread = _bore_u95(tube)
    return tuple(
        FlowPoint(
            flow_kgps=float(flow[i]),
            reynolds=float(reynolds[i]),
            mean_to_centre=_range(ratios[:, i], 0.0),
            reading_factor=_range(factors[:, i], spread),
        )
        for i in range(flow.size)
    )


def _range(values: FloatArray, spread: float) -> Interval:
    """Middle of the models with their range, widened by a relative spread."""
    low, high = float(np.min(values)), float(np.max(values))
    middle = 0.5 * (low + high)
    half = float(np.hypot(0.5 * (high - low), spread * middle))
    return Interval(middle, middle - half, middle + half)


def _overall(tube: Tube, points: Sequence[FlowPoint]) -> Interval | None:
    """Range over all flows; the area alone where no flow is surely turbulent."""
    if tube.bore_after_m is None:
        return None
    known = [p.reading_factor for p in points if np.isfinite(p.reading_factor.value)]
    if not known:
        area = float(area_reading_factor(tube.bore_before_m, tube.bore_after_m))
        return _range(np.array([area]), _bore_u95(tube))
    return Interval(
        float(np.mean([k.value for k in known])),
        min(k.low for k in known),
        max(k.high for k in known),
    )


def _straight(tube: Tube) -> StraightLength | None:
    if tube.straight_m is None:
        return None
    bore = tube.bore_after_m or tube.bore_before_m
    length = tube.straight_m / bore
    return StraightLength(
        length_over_bore=length,
        iso_5167_least=float(straight_length_iso_5167(0.2)),
        iso_5167_most=float(straight_length_iso_5167(0.75)),
        iso_7145_axis=ISO_7145_LENGTH_AXIS,
        iso_7145_mean_point=ISO_7145_LENGTH_MEAN_POINT,
        elbow_error=ELBOW_ERROR_NEAR if length < ELBOW_LENGTH else ELBOW_ERROR_FAR,
    )


def _sentence(
    tube: Tube, factor: Interval | None, skew: Interval | None, bore: Interval | None
) -> str:
    parts = []
    if factor is not None and tube.bore_after_m is not None:
        parts.append(
            f"{tube.bore_after_m * 1e3:.1f} mm instead of {tube.bore_before_m * 1e3:.1f} mm makes "
            f"the sensor read {_percent(factor.value - 1.0)} "
            f"({_percent(factor.low - 1.0)} to {_percent(factor.high - 1.0)}) with the same air "
            "passing."
        )
    if skew is not None and bore is not None:
        parts.append(bore_sentence(tube.bore_before_m, skew, bore))
    return " ".join(parts)


def bore_sentence(bore_before_m: float, skew: Interval, bore: Interval) -> str:
    """Return the equivalent bore in words."""
    return (
        f"A bore of {bore.value * 1e3:.1f} mm ({bore.low * 1e3:.1f} to {bore.high * 1e3:.1f}) "
        f"instead of {bore_before_m * 1e3:.1f} mm would make the sensor read "
        f"{_percent(skew.value)}; measure it."
    )


def _percent(fraction: float) -> str:
    return f"{100.0 * fraction:+.1f} %"


def _findings(
    tube: Tube, points: Sequence[FlowPoint], straight: StraightLength | None
) -> tuple[Finding, ...]:
    found = []
    slow = [p.flow_kgps for p in points if not np.isfinite(p.reading_factor.value)]
    if slow:
        found.append(
            Finding(
                code="not_turbulent",
                severity=Severity.INFO,
                message=f"at {', '.join(f'{f * 1e3:g}' for f in slow)} g/s the flow in the tube "
                "is not surely turbulent, or beyond the published profiles: no profile factor",
                fix="use the area factor there, and measure",
            )
        )
    if straight is not None and straight.length_over_bore < straight.iso_7145_axis:
        found.append(_short_tube(straight))
    return tuple(found)


def _short_tube(straight: StraightLength) -> Finding:
    near = straight.length_over_bore < ELBOW_LENGTH
    return Finding(
        code="short_straight_length",
        severity=Severity.WARNING if near else Severity.INFO,
        message=f"{straight.length_over_bore:.1f} bores of straight tube ahead of the sensor; "
        f"after one bend ISO 7145 asks {straight.iso_7145_axis:g} for a film on the axis, and "
        f"ISO 5167 {straight.iso_5167_least:g} to {straight.iso_5167_most:g} for an orifice. A "
        f"bend this near has been seen to move a flow reading by up to "
        f"{100.0 * straight.elbow_error:.0f} %",
        fix="lengthen the straight part, add a flow straightener, or take the skew from logs "
        "with `airsense rescale`",
    )


def _assumptions(tube: Tube) -> tuple[Assumption, ...]:
    place = "on the axis" if tube.depth_m is None else f"{tube.depth_m * 1e3:g} mm from the wall"
    return (
        Assumption(
            quantity="standard uncertainty of a measured bore",
            value=f"{tube.u_bore_m * 1e3:g} mm",
            source="caliper in a moulded tube, our choice; --bore-uncertainty overrides",
        ),
        Assumption(
            quantity="place of the film",
            value=place,
            source="--film-depth, the same in both tubes" if tube.depth_m else "assumed",
        ),
        Assumption(
            quantity="velocity profile",
            value="developed, smooth tube; range over power law, log law and Reichardt",
            source="Schlichting, Boundary-Layer Theory, ch. 20; a bend or filter upsets it",
        ),
    )
