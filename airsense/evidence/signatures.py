"""What each cause does to every observation: its columns, written once.

An observation of a cell is ln(MAF) - ln(route); one at rest is ln(sensor / barometer). A column
holds the effect per unit of size. Adding a cause is a row in `priors.py` and a function here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.cause import Cause
from airsense.estimates import (
    brake_power,
    compressor_map,
    fuel_lambda,
    fuel_trims,
    speed_density,
)
from airsense.estimates.segments import Kind
from airsense.evidence.cells import Cells
from airsense.evidence.priors import COMPANION_SIZE, FACTOR_BEND, Prior
from airsense.evidence.rest import REFERENCE_PA, Rest, RestKind
from airsense.evidence.splines import SplineBasis, basis_over, process_precision
from airsense.physics.duct import orifice_flow_relative

# Pulsation fades over one of these shares of the largest speed above the lowest laden one, and
# grows with one of these powers of load: our choice.
PULSATION_ZONES = (0.08, 0.16, 0.30)
PULSATION_POWERS = (1.0, 3.0)
# Forms of a leak. What passes a gap goes as its pressure drop to a power between that of a sharp
# hole, 1/2, and that of a narrow crack, 1 (ISO 9972:2015, Thermal performance of buildings,
# Determination of air permeability, flow exponent; from memory). Besides: a joint that loses a
# share of the flow which grows with boost; a hole whose area does, which can look like a bent curve
# and must not be a cheap excuse for one.
LEAK_SHARES = (0.40, 0.25, 0.30, 0.05)
# How breathing splits into a part alike at all loads and one that comes with the flow (k = 1, of
# its size), and its tilt over speed. Our choice.
BREATHING_EVEN, BREATHING_LADEN, BREATHING_TILT = 0.5, 0.87, 0.6
# A sensor that is off is so at idle too; lag and heat soak belong to load. Shares of the size.
TEMPERATURE_PARTS = (0.6, 0.8)
# Recirculation: under load; at idle and overrun, where it may be half of the charge; over speed.
RECIRCULATION_SIZES = (1.0, 3.0, 0.5)
# How far the slope of a compressor map holds over a large error of the pressure: our choice.
MAP_SLOPE_DOUBT = 0.3
# Where the hole sits, and how hot and dense the air is there, is not known: the share lost may lean
# by this over the range of flow (k = 1, of its size). Our choice.
LEAK_LEAN = 0.3
MIN_BOOST_PA = 5.0e3
# Below the barometer by more than this a throttle is at work, and the charge pipe ahead of it may
# still be under pressure: what leaks there the manifold does not show. Our choice.
THROTTLED_PA = 3.0e3


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """Columns of one form of a cause: `cells` (n_routes, m, k), `rest` (q, k), `precision` (k, k).

    `precision` is that of the columns' sizes for a unit size of the cause, `fixed` (k, k) that of
    what comes with it at a size of its own; where `one_sided` a positive first size is likelier
    than a negative one. The last column of one with a `companion` is a factor of the sensor beside.
    """

    cells: FloatArray
    rest: FloatArray
    precision: FloatArray
    fixed: FloatArray
    share: float = 1.0
    one_sided: bool = False
    companion: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """What the signatures depend on."""

    cells: Cells
    rest: Rest
    basis: SplineBasis

    @property
    def after(self) -> FloatArray:
        """One in the second configuration, zero in the first."""
        return self.cells.after.astype(np.float64)


def observed(cells: Cells, rest: Rest, axis: tuple[float, float] | None = None) -> Observed:
    """Return what the signatures depend on; `axis` widens the range of ln(MAF) that is covered."""
    low, high = float(np.min(cells.ln_maf)), float(np.max(cells.ln_maf))
    if axis is not None:
        low, high = min(low, axis[0]), max(high, axis[1])
    return Observed(cells=cells, rest=rest, basis=basis_over(low, max(high, low + 0.05)))


def _effect(
    seen: Observed,
    shapes: Sequence[FloatArray],
    weights: Sequence[float],
    routes: Sequence[str] | None = None,
    *,
    sign: float = 1.0,
    rest: Sequence[FloatArray] | None = None,
    share: float = 1.0,
    one_sided: bool = False,
) -> Effect:
    """Return columns with relative sizes `weights`, in the second configuration only."""
    cells = seen.cells
    on = np.array([1.0 if routes is None or r in routes else 0.0 for r in cells.routes])
    stack = np.stack(list(shapes), axis=-1) * seen.after[:, None]
    at_rest = np.zeros((seen.rest.size, len(shapes)))
    if rest is not None:
        at_rest = np.stack(list(rest), axis=-1) * seen.rest.after[:, None]
    precision = np.diag(np.asarray(weights, dtype=np.float64) ** -2.0)
    return Effect(
        cells=sign * on[:, None, None] * stack,
        rest=at_rest,
        precision=precision,
        fixed=np.zeros_like(precision),
        share=share,
        one_sided=one_sided,
    )


def _ones(seen: Observed) -> FloatArray:
    return np.ones(seen.cells.size)


def _tilt(x: FloatArray) -> FloatArray:
    """Return x centred, with a total span of one."""
    span = float(np.max(x) - np.min(x)) if x.size else 0.0
    return (x - np.mean(x)) / span if span > 0.0 else np.zeros_like(x)


def load_share(cells: Cells) -> FloatArray:
    """Return the flow as a share of its largest."""
    return np.asarray(np.exp(cells.ln_maf - np.quantile(cells.ln_maf, 0.98)))


def curve_columns(seen: Observed, ln_maf: FloatArray) -> FloatArray:
    """Return a factor and a shape over ln(indicated flow) at some points, (n, 1 + basis)."""
    return np.column_stack([np.ones(np.size(ln_maf)), seen.basis.design(ln_maf)])


def _curve(seen: Observed, *, factor: float | None, bend: float | None) -> Effect:
    """Return a factor with a bend, each of its own size; None is in proportion to the cause's."""
    rows = curve_columns(seen, seen.cells.ln_maf) * seen.after[:, None]
    precision = np.zeros((rows.shape[1], rows.shape[1]))
    fixed = np.zeros_like(precision)
    (precision if factor is None else fixed)[0, 0] = (1.0 if factor is None else factor) ** -2.0
    own = process_precision(seen.basis, 1.0 if bend is None else bend)
    (precision if bend is None else fixed)[1:, 1:] = own
    return Effect(
        cells=np.broadcast_to(rows, (len(seen.cells.routes), *rows.shape)),
        rest=np.zeros((seen.rest.size, rows.shape[1])),
        precision=precision,
        fixed=fixed,
    )


def _with_factor(effect: Effect, seen: Observed, size: float) -> Effect:
    """Return an effect with a factor of its own size beside it."""
    k = effect.precision.shape[0]
    precision, fixed = np.zeros((k + 1, k + 1)), np.zeros((k + 1, k + 1))
    precision[:k, :k] = effect.precision
    fixed[:k, :k], fixed[k, k] = effect.fixed, size**-2.0
    factor = np.broadcast_to(seen.after[:, None], (*effect.cells.shape[:2], 1))
    return Effect(
        cells=np.concatenate([effect.cells, factor], axis=-1),
        rest=np.concatenate([effect.rest, np.zeros((seen.rest.size, 1))], axis=-1),
        precision=precision,
        fixed=fixed,
        share=effect.share,
        one_sided=effect.one_sided,
        companion=True,
    )


def _scale(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    plain = _curve(seen, factor=None, bend=None)
    precision = plain.precision.copy()
    precision[1:, 1:] /= FACTOR_BEND**2
    return (replace(plain, precision=precision),)


def _shape(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    return (_curve(seen, factor=COMPANION_SIZE, bend=None),)


def pulsation_shapes(cells: Cells) -> tuple[FloatArray, ...]:
    """Return the over-reading by backward pulses: at low speed, with load, never at idle."""
    laden = cells.laden
    if not laden.any():
        return ()
    low, high = float(np.min(cells.speed_rpm[laden])), float(np.max(cells.speed_rpm))
    charge = np.exp(cells.ln_maf) / cells.speed_rpm
    load = np.clip(charge / np.quantile(charge[laden], 0.95), 0.0, 1.0) * laden
    above = np.maximum(cells.speed_rpm - low, 0.0) / high
    return tuple(
        load**power * np.exp(-above / zone)
        for zone in PULSATION_ZONES
        for power in PULSATION_POWERS
    )


def _pulsation(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    shapes = pulsation_shapes(seen.cells)
    return tuple(
        _with_factor(_effect(seen, [shape], [1.0], share=1.0 / len(shapes)), seen, COMPANION_SIZE)
        for shape in shapes
    )


def leak_shapes(cells: Cells) -> tuple[FloatArray, ...]:
    """Return the share lost through a leak behind the compressor, 1 at full boost, by form."""
    boost = cells.boost_pa
    top = float(np.max(boost)) if boost.size else 0.0
    if top < MIN_BOOST_PA:
        return ()
    p = np.where(np.isfinite(cells.p_manifold_pa), cells.p_manifold_pa, cells.p_ambient_pa)
    t = np.where(np.isfinite(cells.t_charge_k), cells.t_charge_k, 300.0)
    hole = orifice_flow_relative(p, p - boost) / np.sqrt(t) / np.exp(cells.ln_maf)
    crack = np.maximum(boost, 0.0) / np.exp(cells.ln_maf)
    full = boost >= 0.9 * top
    forms = (hole, crack, np.maximum(boost, 0.0), hole * boost)
    return tuple(shape / float(np.mean(shape[full])) for shape in forms)


def _ahead_of_throttle(cells: Cells) -> list[FloatArray]:
    """Return where a throttle hides the pressure on a leak: at idle, and on the road.

    The compressor hardly turns at idle and may blow on the road, so each loses a share of its own.
    """
    throttled = (cells.boost_pa <= 0.0) & (cells.p_manifold_pa < cells.p_ambient_pa - THROTTLED_PA)
    idle = cells.kind == Kind.IDLE
    shares = (np.where(throttled & at, 1.0, 0.0) for at in (idle, ~idle))
    return [share for share in shares if share.any()]


def _leak_after(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    # What leaks out behind the compressor has passed the sensor and the compressor.
    behind = [r for r in seen.cells.routes if r != compressor_map.METHOD]
    shapes = leak_shapes(seen.cells)
    tested = [seen.rest.of_kind(RestKind.PIPE_TEST)]
    lean = _tilt(seen.cells.ln_maf)
    beside = _ahead_of_throttle(seen.cells)
    nothing = [np.zeros(seen.rest.size)] * (1 + len(beside))
    plain = [
        _effect(
            seen,
            [shape, shape * lean, *beside],
            [1.0, LEAK_LEAN, *[1.0] * len(beside)],
            behind,
            rest=[*tested, *nothing],
            share=0.5 * share,
            one_sided=True,
        )
        for shape, share in zip(shapes, LEAK_SHARES, strict=False)
    ]
    return (*plain, *(_with_factor(e, seen, COMPANION_SIZE) for e in plain))


def _leak_before(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    # Depression goes as m^2 and the flow through a crack in proportion to it: its share as m.
    tested = [seen.rest.of_kind(RestKind.SMOKE_TEST)]
    plain = _effect(
        seen,
        [load_share(seen.cells)],
        [1.0],
        sign=-1.0,
        rest=tested,
        share=0.5,
        one_sided=True,
    )
    return (plain, _with_factor(plain, seen, COMPANION_SIZE))


def _pressure(seen: Observed, on_cells: FloatArray, at_rest: FloatArray) -> Effect:
    cells = seen.cells
    plain = _effect(seen, [on_cells], [1.0], (speed_density.METHOD,), sign=-1.0, rest=[at_rest])
    if compressor_map.METHOD not in cells.routes:
        return plain
    slope = np.nan_to_num(cells.map_slope, nan=0.0) * on_cells
    on_map = _effect(
        seen, [slope, slope], [1.0, MAP_SLOPE_DOUBT], (compressor_map.METHOD,), sign=-1.0
    )
    joined = plain.cells + on_map.cells[..., :1]
    return Effect(
        cells=np.concatenate([joined, on_map.cells[..., 1:]], axis=-1),
        rest=np.concatenate([plain.rest, np.zeros_like(plain.rest)], axis=-1),
        precision=on_map.precision,
        fixed=on_map.fixed,
    )


_PRESSURE_READ = (RestKind.STILL, RestKind.IDLE, RestKind.STILL_ALONE, RestKind.IDLE_ALONE)


def _pressure_gain(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    return (_pressure(seen, _ones(seen), seen.rest.of_kind(*_PRESSURE_READ)),)


def _pressure_offset(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    p = np.where(np.isfinite(seen.cells.p_manifold_pa), seen.cells.p_manifold_pa, REFERENCE_PA)
    read = seen.rest.of_kind(*_PRESSURE_READ) / np.maximum(seen.rest.pressure_pa, 1.0)
    return (_pressure(seen, REFERENCE_PA / p, REFERENCE_PA * read),)


def _charge_temperature(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    t = np.where(np.isfinite(seen.cells.t_charge_k), seen.cells.t_charge_k, 310.0)
    read = seen.rest.of_kind(RestKind.THERMOMETER)
    idle = seen.cells.kind == Kind.IDLE
    if not idle.any() or idle.all():
        return (_effect(seen, [1.0 / t], [1.0], (speed_density.METHOD,), rest=[read]),)
    shapes = [1.0 / t, (~idle) / t]
    own = _effect(seen, shapes, TEMPERATURE_PARTS, (speed_density.METHOD,), rest=[read, read])
    return (own,)


def _volumetric_efficiency(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    shapes = [_ones(seen), load_share(seen.cells), _tilt(np.log(seen.cells.speed_rpm))]
    sizes = [BREATHING_EVEN, BREATHING_LADEN, BREATHING_TILT]
    return (_effect(seen, shapes, sizes, (speed_density.METHOD,)),)


def _recirculation(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    apart = ~seen.cells.laden
    shapes = [(~apart).astype(np.float64), apart.astype(np.float64)]
    shapes.append(_tilt(np.log(seen.cells.speed_rpm)))
    return (_effect(seen, shapes, RECIRCULATION_SIZES, (speed_density.METHOD,), sign=-1.0),)


def _fuel_scale(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    weighed = [seen.rest.of_kind(RestKind.FUEL_WEIGHT)]
    moved = (fuel_lambda.METHOD, fuel_trims.METHOD)
    return (_effect(seen, [_ones(seen)], [1.0], moved, sign=-1.0, rest=weighed),)


def _lambda_scale(seen: Observed, prior: Prior) -> tuple[Effect, ...]:
    known = seen.cells.lambda_[np.isfinite(seen.cells.lambda_)]
    lean = known.size > 0 and float(np.median(known)) > 1.0
    moved = (fuel_lambda.METHOD, brake_power.METHOD) if lean else (fuel_lambda.METHOD,)
    read = [seen.rest.of_kind(RestKind.LAMBDA_REFERENCE)]
    return (_effect(seen, [_ones(seen)], [1.0], moved, sign=-1.0, rest=read),)


_EFFECTS: dict[Cause, Callable[[Observed, Prior], tuple[Effect, ...]]] = {
    Cause.SENSOR_SCALE: _scale,
    Cause.SENSOR_SHAPE: _shape,
    Cause.PULSATION: _pulsation,
    Cause.LEAK_AFTER_COMPRESSOR: _leak_after,
    Cause.LEAK_BEFORE_COMPRESSOR: _leak_before,
    Cause.MANIFOLD_PRESSURE_GAIN: _pressure_gain,
    Cause.MANIFOLD_PRESSURE_OFFSET: _pressure_offset,
    Cause.CHARGE_TEMPERATURE: _charge_temperature,
    Cause.VOLUMETRIC_EFFICIENCY: _volumetric_efficiency,
    Cause.RECIRCULATION: _recirculation,
    Cause.FUEL_SCALE: _fuel_scale,
    Cause.LAMBDA_SCALE: _lambda_scale,
}


def effects_of(prior: Prior, seen: Observed) -> tuple[Effect, ...]:
    """Return the forms of a cause, none where these data cannot show it; shares sum to one."""
    forms = _EFFECTS[prior.cause](seen, prior)
    showing = [f for f in forms if np.any(f.cells[..., 0]) or np.any(f.rest[..., 0])]
    return tuple(showing)
