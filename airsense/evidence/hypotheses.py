"""Each cause as columns over (route x speed bin), and the hypotheses that combine them.

Adding a cause is a row in `priors.py` and a function here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from airsense.estimates import compressor_map, fuel_lambda, maf, speed_density
from airsense.evidence.priors import (
    COMPANION_SCALE_SIZE,
    EFFICIENCY_TILT_SIZE,
    FAULT_PRIORS,
    LARGE_SCALE_SHARE,
    LARGE_SCALE_SIZE,
    LEVEL_SIZE,
    RECIRCULATION_TILT_SIZE,
    SENSOR_PRIORS,
    USUAL_SCALE_SIZE,
    Cause,
    Prior,
)
from airsense.physics.duct import orifice_flow_relative

FloatArray = NDArray[np.float64]

# Zone over which pulsation fades, as a share of the window of speeds: our choice.
PULSATION_ZONE = 0.15
# Forms of a leak: a fixed hole; a joint that loses a share of the flow which grows with boost; a
# hole whose area does, which can look like a bent sensor curve and must not be a cheap excuse for
# one. Our choice.
LEAK_SHARES = (0.7, 0.25, 0.05)
# How far the slope of a compressor map holds over a large error of the pressure: our choice.
MAP_SLOPE_DOUBT = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleSizes:
    """Prior standard deviations of a factor on the reading: usual, large, beside another cause."""

    usual: float
    large: float
    companion: float


CHANGE_SIZES = ScaleSizes(
    usual=USUAL_SCALE_SIZE, large=LARGE_SCALE_SIZE, companion=COMPANION_SCALE_SIZE
)
LEVEL_SIZES = ScaleSizes(usual=LEVEL_SIZE, large=LEVEL_SIZE, companion=LEVEL_SIZE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Operating state by speed bin, arrays of shape (n_bins,), averaged over all runs.

    `lambda_routes` are those that an error of lambda moves; `compressor_to_pressure` is
    d ln(flow) / d ln(manifold pressure) of the compressor map.
    """

    routes: tuple[str, ...]
    speed_rpm: FloatArray
    mdot_kgps: FloatArray
    boost_pa: FloatArray
    p_manifold_pa: FloatArray
    t_charge_k: FloatArray
    lambda_routes: tuple[str, ...]
    compressor_to_pressure: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One free size of a cause: its effect on ln(flow) over (route, bin) per unit of size.

    `at_sensor` says that the effect is one of the sensor's reading, so that it counts as skew;
    `one_sided` that a positive size (in the second configuration) is likelier than a negative.
    """

    effect: FloatArray
    size: float
    at_sensor: bool = False
    one_sided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One combination of a cause at the sensor and a fault of a route.

    `causes` holds the causes that are at work, or NONE alone; it is asked for so often that it is
    worked out once.
    """

    sensor: Cause
    fault: Cause
    probability: float
    columns: tuple[Column, ...]
    fault_column: int = 0
    causes: frozenset[Cause] = field(init=False)

    def __post_init__(self) -> None:
        at_work = frozenset({self.sensor, self.fault}) - {Cause.NONE}
        object.__setattr__(self, "causes", at_work or frozenset({Cause.NONE}))


def _on(conditions: Conditions, signature: FloatArray, routes: Sequence[str]) -> FloatArray:
    """Return a (route, bin) array, flattened, with the signature on the named routes."""
    rows = [signature if name in routes else 0.0 * signature for name in conditions.routes]
    return np.concatenate(rows)


def _flat(conditions: Conditions) -> FloatArray:
    return np.ones_like(conditions.speed_rpm)


def _tilt(x: FloatArray) -> FloatArray:
    """Return x centred, with a total span of one."""
    span = float(np.max(x) - np.min(x))
    return (x - np.mean(x)) / span if span > 0.0 else np.zeros_like(x)


def low_speed_signature(speed_rpm: FloatArray) -> FloatArray:
    """Return 1 at the low end of the window, fading out over the pulsation zone."""
    low, high = float(np.min(speed_rpm)), float(np.max(speed_rpm))
    zone = max(PULSATION_ZONE * (high - low), 1.0)
    return np.exp(-(speed_rpm - low) / zone)


def boost_signature(boost_pa: FloatArray) -> FloatArray:
    """Return the share lost through a leak that opens with boost, relative to full boost."""
    top = float(np.max(boost_pa))
    return np.clip(boost_pa / top, 0.0, None) if top > 0.0 else np.zeros_like(boost_pa)


def orifice_signature(conditions: Conditions) -> FloatArray:
    """Return the share lost through a fixed hole in the charge path, relative to its largest."""
    p = conditions.p_manifold_pa
    outside = p - np.clip(conditions.boost_pa, 0.0, None)
    lost = orifice_flow_relative(p, outside) / np.sqrt(conditions.t_charge_k)
    share = lost / conditions.mdot_kgps
    top = float(np.max(share))
    return share / top if top > 0.0 else np.zeros_like(share)


def depression_signature(mdot_kgps: FloatArray) -> FloatArray:
    """Return the share drawn in ahead of the compressor relative to full flow.

    Depression goes as m^2, and the flow through a crack, which is laminar or opens with it, in
    proportion to it; so its share of the total flow grows as m.
    """
    return mdot_kgps / float(np.max(mdot_kgps))


def _sensor(conditions: Conditions, signature: FloatArray, size: float) -> Column:
    return Column(effect=_on(conditions, signature, (maf.METHOD,)), size=size, at_sensor=True)


def _scale(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (_sensor(conditions, _flat(conditions), size),)


def _shape(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (_sensor(conditions, _tilt(np.log(conditions.mdot_kgps)), size),)


def _pulsation(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (_sensor(conditions, low_speed_signature(conditions.speed_rpm), size),)


def _leak_after(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (_leak(conditions, orifice_signature(conditions), size, _AHEAD_OF_LEAK),)


def _opening_leaks(conditions: Conditions, size: float) -> list[tuple[Column, ...]]:
    boost = boost_signature(conditions.boost_pa)
    widening = orifice_signature(conditions) * boost
    top = float(np.max(widening))
    shapes = (boost, widening / top if top > 0.0 else widening)
    return [(_leak(conditions, shape, size, _AHEAD_OF_LEAK),) for shape in shapes]


def _leak_before(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (_leak(conditions, -depression_signature(conditions.mdot_kgps), size),)


# What leaks out behind the compressor has passed the sensor and the compressor.
_AHEAD_OF_LEAK = (maf.METHOD, compressor_map.METHOD)


def _leak(
    conditions: Conditions,
    signature: FloatArray,
    size: float,
    routes: Sequence[str] = (maf.METHOD,),
) -> Column:
    return Column(effect=_on(conditions, signature, routes), size=size, one_sided=True)


def _manifold_pressure(conditions: Conditions, size: float) -> tuple[Column, ...]:
    p = conditions.p_manifold_pa
    offset = float(np.mean(p)) / p
    shapes = (_flat(conditions), offset - np.mean(offset))
    swept = [_on(conditions, shape, (speed_density.METHOD,)) for shape in shapes]
    slope = conditions.compressor_to_pressure
    if slope is None or compressor_map.METHOD not in conditions.routes:
        return tuple(Column(effect=effect, size=size) for effect in swept)
    on_map = [_on(conditions, slope * shape, (compressor_map.METHOD,)) for shape in shapes]
    return (
        *(Column(effect=a + b, size=size) for a, b in zip(swept, on_map, strict=True)),
        # Over a large error the slope is neither constant nor the same at all flows.
        Column(effect=on_map[0], size=MAP_SLOPE_DOUBT * size),
        Column(
            effect=float(np.mean(slope)) * _on(conditions, shapes[0], (compressor_map.METHOD,)),
            size=MAP_SLOPE_DOUBT * size,
        ),
    )


def _charge_temperature(conditions: Conditions, size: float) -> tuple[Column, ...]:
    hot = float(np.mean(conditions.t_charge_k)) / conditions.t_charge_k
    return (Column(effect=_on(conditions, -hot, (speed_density.METHOD,)), size=size),)


def _volumetric_efficiency(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return _with_tilt(conditions, -1.0, size, EFFICIENCY_TILT_SIZE)


def _recirculation(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return _with_tilt(conditions, 1.0, size, RECIRCULATION_TILT_SIZE)


def _with_tilt(
    conditions: Conditions, sign: float, size: float, tilt_size: float
) -> tuple[Column, ...]:
    """Return an effect on speed density that is mostly constant and may change with speed."""
    tilt = _tilt(np.log(conditions.speed_rpm))
    return tuple(
        Column(effect=_on(conditions, sign * signature, (speed_density.METHOD,)), size=s)
        for signature, s in ((_flat(conditions), size), (tilt, tilt_size))
    )


def _fuel_scale(conditions: Conditions, size: float) -> tuple[Column, ...]:
    return (Column(effect=_on(conditions, _flat(conditions), (fuel_lambda.METHOD,)), size=size),)


def _lambda_scale(conditions: Conditions, size: float) -> tuple[Column, ...]:
    moved = conditions.lambda_routes
    return (Column(effect=_on(conditions, _flat(conditions), moved), size=size),)


_COLUMNS: dict[Cause, Callable[[Conditions, float], tuple[Column, ...]]] = {
    Cause.SENSOR_SCALE: _scale,
    Cause.SENSOR_SHAPE: _shape,
    Cause.PULSATION: _pulsation,
    Cause.LEAK_AFTER_COMPRESSOR: _leak_after,
    Cause.LEAK_BEFORE_COMPRESSOR: _leak_before,
    Cause.MANIFOLD_PRESSURE: _manifold_pressure,
    Cause.CHARGE_TEMPERATURE: _charge_temperature,
    Cause.VOLUMETRIC_EFFICIENCY: _volumetric_efficiency,
    Cause.RECIRCULATION: _recirculation,
    Cause.FUEL_SCALE: _fuel_scale,
    Cause.LAMBDA_SCALE: _lambda_scale,
}


def columns_of(cause: Cause, conditions: Conditions, size: float) -> tuple[Column, ...]:
    """Return the columns of a cause; none for NONE."""
    return _COLUMNS[cause](conditions, size) if cause in _COLUMNS else ()


def possible(cause: Cause, conditions: Conditions) -> bool:
    """Return whether a cause can show in these data at all (a fault needs its route)."""
    columns = columns_of(cause, conditions, 1.0)
    return cause is Cause.NONE or any(float(np.max(np.abs(c.effect))) > 0.0 for c in columns)


def hypotheses(
    conditions: Conditions, factor: float = 1.0, sizes: ScaleSizes = CHANGE_SIZES
) -> tuple[Hypothesis, ...]:
    """Return all combinations of one cause at the sensor with at most one fault of a route.

    Parameters
    ----------
    conditions : Conditions
        The operating state that the signatures depend on.
    factor : float
        Multiplier of the prior odds of every cause against none, for a sensitivity run.
    sizes : ScaleSizes
        Prior sizes of a factor on the reading; those of a change by default.
    """
    sensors = _sensor_choices(conditions, factor, sizes)
    faults = _fault_choices(conditions, factor)
    return tuple(
        Hypothesis(
            sensor=s_cause,
            fault=f_cause,
            probability=s_weight * f_weight,
            columns=(*s_columns, *f_columns),
            fault_column=len(s_columns),
        )
        for s_cause, s_weight, s_columns in sensors
        for f_cause, f_weight, f_columns in faults
    )


Choice = tuple[Cause, float, tuple[Column, ...]]


def _sensor_choices(conditions: Conditions, factor: float, sizes: ScaleSizes) -> list[Choice]:
    choices: list[Choice] = []
    for prior in SENSOR_PRIORS:
        if possible(prior.cause, conditions):
            weight = prior.probability * (1.0 if prior.cause is Cause.NONE else factor)
            choices += [
                (prior.cause, weight * share, columns)
                for share, columns in _variants(prior, conditions, sizes)
            ]
    return _normalized(choices)


def _variants(
    prior: Prior, conditions: Conditions, sizes: ScaleSizes
) -> list[tuple[float, tuple[Column, ...]]]:
    """Return the forms that a cause at the sensor can take, with their shares of its prior."""
    plain = columns_of(prior.cause, conditions, prior.size)
    companion = _scale(conditions, sizes.companion)
    if prior.cause is Cause.SENSOR_SCALE:
        return [
            (1.0 - LARGE_SCALE_SHARE, _scale(conditions, sizes.usual)),
            (LARGE_SCALE_SHARE, _scale(conditions, sizes.large)),
        ]
    if prior.cause is Cause.LEAK_AFTER_COMPRESSOR:
        leaks = (plain, *_opening_leaks(conditions, prior.size))
        return [
            (0.5 * share, (*leak, *more))
            for share, leak in zip(LEAK_SHARES, leaks, strict=True)
            for more in ((), companion)
        ]
    if prior.cause is Cause.LEAK_BEFORE_COMPRESSOR:
        return [(0.5, plain), (0.5, (*plain, *companion))]
    if prior.cause in (Cause.SENSOR_SHAPE, Cause.PULSATION):
        return [(1.0, (*plain, *companion))]
    return [(1.0, plain)]


def _fault_choices(conditions: Conditions, factor: float) -> list[Choice]:
    present: list[Prior] = [p for p in FAULT_PRIORS if possible(p.cause, conditions)]
    sound = 1.0 - sum(p.probability for p in FAULT_PRIORS)
    choices: list[Choice] = [(Cause.NONE, sound, ())]
    choices += [
        (p.cause, p.probability * factor, columns_of(p.cause, conditions, p.size)) for p in present
    ]
    return _normalized(choices)


def _normalized(choices: list[Choice]) -> list[Choice]:
    total = sum(weight for _, weight, _ in choices)
    return [(cause, weight / total, columns) for cause, weight, columns in choices]
