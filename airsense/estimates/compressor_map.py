"""Compressor map: the flow at which a compressor of this speed makes this pressure ratio."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.estimates.defaults import Defaults, Size
from airsense.estimates.estimate import Estimate, Influence, influence_of, largest_first
from airsense.estimates.run import Run
from airsense.physics.constants import CELSIUS_ZERO_K, USUAL_AIR_K
from airsense.setup.compressor_map import MapPoints, read_map
from airsense.setup.engine import CompressorMap, EngineSetup

METHOD = "compressor_map"
# Points on which a line of constant speed is drawn, and the fewest that make a map: our choice.
NODES = 65
MIN_LINES = 2
MIN_POINTS_A_LINE = 3
# Points of one line are measured at nearly one speed.
SAME_LINE = 0.006
DERIVATIVE_STEP = 0.002
# Where the lines are flatter than this the pressure ratio tells nothing of the flow.
MAX_SENSITIVITY = 12.0
# All below: our choice. A map is measured on another copy of the compressor, in a gas stand.
MAP_SIZE = Size(label="compressor map", absolute=0.03, run=0.004, between=1.0)
SPEED_SIZE = Size(label="turbo speed", absolute=0.002, run=0.001)
INLET_T_SIZE = Size(label="compressor inlet temperature", absolute=3.0, run=1.0, unit="K")
# Of the drops that are not logged: ahead of the compressor and across the charge cooler.
U_DROP_PA = 2_000.0
U_DROP_CHANGE_PA = 300.0


def missing_for_compressor_map(run: Run) -> str:
    """Return what the route lacks, or an empty text."""
    if run.turbo_speed_rpm is None:
        return "no turbo speed was logged"
    if run.p_manifold_pa is None:
        return "no manifold pressure was logged"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedLines:
    """Lines of constant corrected speed from the peak of the pressure ratio to choke.

    `pressure_ratio` has shape (n_lines, n_nodes), at even shares of the way from the flow at the
    peak `mdot_peak_kgps` to that at choke `mdot_choke_kgps`; left of the peak a pressure ratio
    belongs to two flows, and the compressor surges.
    """

    speed_rpm: FloatArray
    mdot_peak_kgps: FloatArray
    mdot_choke_kgps: FloatArray
    pressure_ratio: FloatArray

    def flow_kgps(self, speed_rpm: FloatArray, pressure_ratio: FloatArray) -> FloatArray:
        """Return the corrected flow, shape (n,); NaN outside the lines."""
        from scipy.interpolate import PchipInterpolator

        stack = np.column_stack([self.mdot_peak_kgps, self.mdot_choke_kgps, self.pressure_ratio])
        at = PchipInterpolator(self.speed_rpm, stack, axis=0, extrapolate=False)(speed_rpm)
        nodes = np.linspace(0.0, 1.0, self.pressure_ratio.shape[1])
        share = np.array(
            [
                # The ratio falls along a line; interpolation wants it to rise.
                np.interp(r, line[::-1], nodes[::-1], left=np.nan, right=np.nan)
                for r, line in zip(pressure_ratio, at[:, 2:], strict=True)
            ]
        )
        return np.asarray(at[:, 0] + share * (at[:, 1] - at[:, 0]), dtype=np.float64)


def speed_lines(points: MapPoints) -> SpeedLines:
    """Return the lines of a map.

    Raises
    ------
    InputError
        If there are fewer than two lines, or a line does not fall from its peak to choke.
    """
    order = np.argsort(points.speed_rpm, kind="stable")
    speed = points.speed_rpm[order]
    starts = np.flatnonzero(np.diff(speed, prepend=-np.inf) > SAME_LINE * speed)
    lines = [_line(points, rows) for rows in np.split(order, starts[1:])]
    if len(lines) < MIN_LINES:
        raise _bad_map(points, f"{len(lines)} line of constant speed", f"at least {MIN_LINES}")
    return SpeedLines(
        speed_rpm=np.array([s for s, _, _, _ in lines]),
        mdot_peak_kgps=np.array([m for _, m, _, _ in lines]),
        mdot_choke_kgps=np.array([m for _, _, m, _ in lines]),
        pressure_ratio=np.array([r for _, _, _, r in lines]),
    )


def _line(points: MapPoints, rows: NDArray[np.intp]) -> tuple[float, float, float, FloatArray]:
    """Return speed, flow at the peak, flow at choke, and the ratios between at even shares."""
    from scipy.interpolate import PchipInterpolator

    by_flow = rows[np.argsort(points.mdot_kgps[rows])]
    flow, ratio = points.mdot_kgps[by_flow], points.pressure_ratio[by_flow]
    peak = int(np.argmax(ratio))
    flow, ratio = flow[peak:], ratio[peak:]
    speed = float(np.mean(points.speed_rpm[rows]))
    falls = np.all(np.diff(ratio) < 0.0) and np.all(np.diff(flow) > 0.0)
    if flow.size < MIN_POINTS_A_LINE or not falls:
        raise _bad_map(
            points,
            f"a line at {speed:.0f} rpm with {flow.size} points from its peak on",
            f"at least {MIN_POINTS_A_LINE} points of rising flow and falling pressure ratio",
        )
    even = np.linspace(flow[0], flow[-1], NODES)
    return speed, float(flow[0]), float(flow[-1]), PchipInterpolator(flow, ratio)(even)


def _bad_map(points: MapPoints, got: str, allowed: str) -> InputError:
    return InputError(
        "compressor map cannot be interpolated",
        where=points.path,
        got=got,
        allowed=allowed + ", for at least two speeds",
        fix="give the points of each speed line from surge to choke",
    )


def compressor_map(run: Run, setup: EngineSetup, sizes: Defaults) -> Estimate:
    """Estimate the air flow through the compressor from its speed and pressure ratio.

    The uncertainty follows from the steepness of the map: where the lines are flat, a small
    error of the pressure ratio is a large one of the flow, and samples flatter than
    `MAX_SENSITIVITY` are NaN. What leaks out behind the compressor is counted here.

    Parameters
    ----------
    run : Run
        Must have turbo speed and manifold pressure.
    setup : EngineSetup
        Must declare the map.
    sizes : Defaults
        Standard uncertainties in force.

    References
    ----------
    .. [1] SAE J1826, Turbocharger gas stand test code: corrected speed and flow (from memory).
    """
    declared = setup.compressor_map
    assert declared is not None
    lines = speed_lines(read_map(declared.file))
    state = _state(run, declared)
    flow = _flow(lines, state, declared)
    to_ratio = _slope(lines, state, declared, "ratio")
    to_speed = _slope(lines, state, declared, "speed")
    flow = np.where(np.abs(to_ratio) <= MAX_SENSITIVITY, flow, np.nan)
    good = np.isfinite(flow)
    middle = [float(np.median(x[good])) if good.any() else 0.0 for x in (to_ratio, to_speed)]
    return Estimate(
        method=METHOD,
        mdot_kgps=flow,
        budget=largest_first(_budget(run, sizes, *middle)),
        notes=_notes(run, declared),
        to_pressure=to_ratio,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """What the compressor sees, arrays of shape (n,)."""

    speed_rpm: FloatArray
    ratio: FloatArray
    p_inlet_pa: FloatArray
    t_inlet_k: float


def _state(run: Run, declared: CompressorMap) -> _State:
    assert run.turbo_speed_rpm is not None
    assert run.p_manifold_pa is not None
    drop = 0.0 if run.depression_pa is None else np.abs(run.depression_pa)
    inlet = run.p_ambient_pa - drop + np.zeros_like(run.p_manifold_pa)
    outlet = run.p_manifold_pa + 1e3 * declared.cooler_drop_kpa
    return _State(
        speed_rpm=run.turbo_speed_rpm,
        ratio=outlet / inlet,
        p_inlet_pa=inlet,
        t_inlet_k=USUAL_AIR_K if run.t_ambient_k is None else run.t_ambient_k,
    )


def _flow(lines: SpeedLines, state: _State, declared: CompressorMap) -> FloatArray:
    """Return the flow in kg/s from corrected speed and pressure ratio."""
    root = float(np.sqrt(declared.reference_temperature_k / state.t_inlet_k))
    corrected = lines.flow_kgps(state.speed_rpm * root, state.ratio)
    return corrected * root * state.p_inlet_pa / (1e3 * declared.reference_pressure_kpa)


def _slope(lines: SpeedLines, state: _State, declared: CompressorMap, name: str) -> FloatArray:
    """Return d ln(flow) / d ln(pressure ratio) or / d ln(speed), by central differences."""

    def moved(factor: float) -> FloatArray:
        speed = state.speed_rpm * (factor if name == "speed" else 1.0)
        ratio = state.ratio * (factor if name == "ratio" else 1.0)
        near = _State(
            speed_rpm=speed, ratio=ratio, p_inlet_pa=state.p_inlet_pa, t_inlet_k=state.t_inlet_k
        )
        return _flow(lines, near, declared)

    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.log(moved(1.0 + DERIVATIVE_STEP) / moved(1.0 - DERIVATIVE_STEP))
    return np.asarray(rise / (2.0 * DERIVATIVE_STEP), dtype=np.float64)


def _budget(run: Run, sizes: Defaults, to_ratio: float, to_speed: float) -> Sequence[Influence]:
    assert run.p_manifold_pa is not None
    p_high = float(np.nanquantile(run.p_manifold_pa, 0.98))
    t = USUAL_AIR_K if run.t_ambient_k is None else run.t_ambient_k
    return [
        influence_of(MAP_SIZE, key="compressor_map"),
        # The same sensor as in speed density, so the same error, here with the map's slope.
        influence_of(sizes.manifold_pressure, key="manifold_pressure", sensitivity=to_ratio),
        influence_of(SPEED_SIZE, key="turbo_speed", sensitivity=to_speed),
        influence_of(
            INLET_T_SIZE,
            key="compressor_inlet_temperature",
            sensitivity=-0.5 * (1.0 + to_speed),
            scale=t,
        ),
        Influence(
            key="compressor_drops",
            label="pressure drops around the compressor",
            absolute=U_DROP_PA / p_high,
            run=0.0,
            between=U_DROP_CHANGE_PA / p_high,
            sensitivity=to_ratio,
        ),
    ]


def _notes(run: Run, declared: CompressorMap) -> tuple[str, ...]:
    notes = []
    if run.depression_pa is None:
        notes.append("no intake depression was logged: the compressor inlet is taken as ambient")
    if run.t_ambient_k is None:
        notes.append(f"compressor inlet taken as {USUAL_AIR_K - CELSIUS_ZERO_K:.0f} degC")
    if declared.cooler_drop_kpa == 0.0:
        notes.append("no pressure drop across the charge cooler is declared")
    return tuple(notes)
