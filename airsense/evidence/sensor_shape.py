"""The shape of the sensor's error over flow, from intake depression within one configuration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates import depression
from airsense.estimates.defaults import DEFAULT_DOF, Defaults
from airsense.evidence.bins import Repeat, bin_runs, common_window
from airsense.evidence.matched import LnChange
from airsense.results import Finding, Interval, Severity
from airsense.setup.engine import EngineSetup

# A bend needs three points.
MIN_BINS = 3
# Over a narrower range of flow than this the shape says nothing: our choice.
MIN_FLOW_RATIO = 1.3
_SENSOR, _SQUARE = "sensor", "depression"


class ShapeVerdict(Enum):
    """What the depression says of the reading over flow. Its scale is not observable."""

    READS_HIGH_AT_HIGH_FLOW = "reads_high_at_high_flow"
    READS_LOW_AT_HIGH_FLOW = "reads_low_at_high_flow"
    NOT_RESOLVED = "not_resolved"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapePoint:
    """One bin: indicated flow, and reading over depression flow relative to their mean."""

    engine_speed_rpm: float
    flow_kgps: float
    reading_change: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorShape:
    """How the reading's error changes from the lowest to the highest flow, as a fraction.

    A change means a shape of the sensor's own, or air that does not pass both the sensor and the
    depression tap.
    """

    verdict: ShapeVerdict
    sentence: str
    change_over_flow: Interval
    flow_low_kgps: float
    flow_high_kgps: float
    points: tuple[ShapePoint, ...]


def sensor_shape(
    segments: Sequence[Repeat],
    setup: EngineSetup,
    sizes: Defaults,
    wanted_rpm: tuple[float, float] | None = None,
) -> SensorShape | None:
    """Return the shape of the sensor's error, or None without depression or enough range of flow.

    Parameters
    ----------
    segments : sequence of Repeat
        Of one configuration.
    setup : EngineSetup
        For the nominal opening.
    sizes : Defaults
        Passed on to the route.
    wanted_rpm : tuple of float, optional
        Window of engine speed.
    """
    if any(depression.missing_for_depression(s.run) for s in segments):
        return None
    window = common_window(segments, wanted_rpm)
    if window is None:
        return None
    flows = {
        _SENSOR: [ln_reading(s.run.mdot_maf_kgps) for s in segments],
        _SQUARE: [depression.depression(s.run, setup, sizes).ln_flow for s in segments],
    }
    table = bin_runs(segments, flows, {}, window)
    reading, square = table.ln[_SENSOR], table.ln[_SQUARE]
    full = np.all(np.isfinite(reading) & np.isfinite(square), axis=0)
    if np.count_nonzero(full) < MIN_BINS:
        return None
    ratio, ln_flow = (reading - square)[:, full], reading[:, full]
    span = float(np.ptp(ln_flow.mean(axis=0)))
    if span < np.log(MIN_FLOW_RATIO):
        return None
    change = _change(ratio, ln_flow, span, _drop_pa(segments))
    flow = np.exp(ln_flow.mean(axis=0))
    verdict = _verdict(change)
    return SensorShape(
        verdict=verdict,
        sentence=_sentence(verdict, change, float(flow.min()), float(flow.max())),
        change_over_flow=change,
        flow_low_kgps=float(flow.min()),
        flow_high_kgps=float(flow.max()),
        points=_points(table.centre_rpm[full], flow, ratio),
    )


def _points(
    speed_rpm: FloatArray, flow_kgps: FloatArray, ratio: FloatArray
) -> tuple[ShapePoint, ...]:
    level = np.expm1(ratio.mean(axis=0) - ratio.mean())
    return tuple(
        ShapePoint(engine_speed_rpm=float(n), flow_kgps=float(m), reading_change=float(r))
        for n, m, r in zip(speed_rpm, flow_kgps, level, strict=True)
    )


def ln_reading(flow: FloatArray | None) -> FloatArray:
    """Return ln of a flow in kg/s, (n,), NaN where it is not above zero."""
    assert flow is not None  # runs without the sensor are refused before
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(flow > 0.0, np.log(flow), np.nan)


def _drop_pa(segments: Sequence[Repeat]) -> float:
    """Return the depression at the low end of what is used. [Pa]"""
    used = [np.abs(s.run.depression_pa[s.use]) for s in segments if s.run.depression_pa is not None]
    return max(float(np.nanquantile(np.concatenate(used), 0.1)), depression.MIN_DEPRESSION_PA)


def _change(ratio: FloatArray, ln_flow: FloatArray, span: float, low_drop_pa: float) -> Interval:
    """Return the slope of ln(reading/depression flow) over ln(flow), times the span of ln(flow).

    Its uncertainty: the scatter of the repeats' slopes, or of the bins about their lines where
    that is larger (few repeats may agree by chance), the exponent of the drop, and the zero of the
    depression sensor at the low end. Degrees of freedom by JCGM 100, G.4.1.
    """
    x = ln_flow - ln_flow.mean(axis=1, keepdims=True)
    sxx = np.sum(x**2, axis=1)
    slopes = np.sum(x * ratio, axis=1) / sxx
    n = slopes.size
    left = ratio - ratio.mean(axis=1, keepdims=True) - slopes[:, None] * x
    free = float(n * max(ratio.shape[1] - 2, 1))
    scatter = float(np.sum(left**2)) / free * float(np.mean(1.0 / sxx)) / n
    dof = free
    if n > 1 and float(np.var(slopes, ddof=1)) / n > scatter:
        scatter, dof = float(np.var(slopes, ddof=1)) / n, float(n - 1)
    parts = np.array(
        [
            scatter * span**2,
            (0.5 * depression.U_EXPONENT * span) ** 2,
            (0.5 * depression.U_ZERO_PA / low_drop_pa) ** 2,
        ]
    )
    own_dof = np.array([dof, DEFAULT_DOF, DEFAULT_DOF])
    return LnChange(
        value=float(np.mean(slopes)) * span,
        u=float(np.sqrt(parts.sum())),
        dof=float(parts.sum() ** 2 / np.sum(parts**2 / own_dof)),
    ).interval()


def _verdict(change: Interval) -> ShapeVerdict:
    if change.low > 0.0:
        return ShapeVerdict.READS_HIGH_AT_HIGH_FLOW
    if change.high < 0.0:
        return ShapeVerdict.READS_LOW_AT_HIGH_FLOW
    return ShapeVerdict.NOT_RESOLVED


def _sentence(verdict: ShapeVerdict, change: Interval, low: float, high: float) -> str:
    shown = (
        f"from {1e3 * low:.0f} to {1e3 * high:.0f} g/s the reading changes against the intake "
        f"depression by {100 * change.value:+.1f} % "
        f"({100 * change.low:+.1f} to {100 * change.high:+.1f} %)"
    )
    if verdict is ShapeVerdict.NOT_RESOLVED:
        return f"No shape of the sensor's error is shown: {shown}."
    return f"The sensor's error changes with flow: {shown}; its scale is not observable this way."


def shape_findings(shape: SensorShape | None) -> tuple[Finding, ...]:
    """Return the finding that the sensor's error changes with flow, if that is shown."""
    if shape is None or shape.verdict is ShapeVerdict.NOT_RESOLVED:
        return ()
    return (
        Finding(
            code="sensor_error_changes_with_flow",
            severity=Severity.WARNING,
            message=shape.sentence,
            fix="look for a bend or step ahead of the sensor, and for a leak between the sensor "
            "and the tap of the depression",
        ),
    )
