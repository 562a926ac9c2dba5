"""Samples that are not data: found, masked, counted and placed; never dropped in silence.

Every limit here is our choice, set so that clean logs pass: a missed fault costs less than a
good sample thrown away, but a fault that repeats must show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airsense.arrays import BoolArray, FloatArray
from airsense.errors import InputError
from airsense.logs.canon import BLOCKING, CANON, PRESSURES
from airsense.results import Finding, Severity
from airsense.units import unit_examples

_FLOWING = ("mass_air_flow", "air_per_stroke")
_TEMPERATURES = tuple(name for name, row in CANON.items() if row.unit == "K")
_CAN_CLIP = (*_FLOWING, *PRESSURES, "maf_signal", "lambda")
_CAN_SPIKE = (*_FLOWING, *PRESSURES, *_TEMPERATURES, "engine_speed", "maf_signal")
# Below any idle, above any starter (common practice, no source).
_RUNNING_RPM = 500.0


@dataclass(frozen=True)
class Samples:
    """The samples of one channel: time, value and place, each of shape (n,)."""

    name: str
    header: str
    unit: str
    time_s: FloatArray
    value: FloatArray
    line: NDArray[np.int64]
    resolution: float

    @property
    def step_s(self) -> float:
        """Median time between samples. [s] NaN with fewer than two."""
        return float(np.median(np.diff(self.time_s))) if self.time_s.size > 1 else float("nan")


@dataclass(frozen=True, slots=True)
class _Check:
    code: str
    severity: Severity
    find: Callable[[Samples, Samples | None], BoolArray]
    message: str
    fix: str


def inspect(
    samples: Samples, speed: Samples | None, *, where: str
) -> tuple[BoolArray, list[Finding]]:
    """Return which samples of a channel are data, and a finding for each kind of fault.

    Parameters
    ----------
    samples : Samples
        One channel in canonical units, no NaN.
    speed : Samples or None
        Engine speed, to tell a running engine from a standing one.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        If most values of a channel that a job needs are outside anything credible.
    """
    keep = np.ones(samples.value.size, dtype=bool)
    findings: list[Finding] = []
    if samples.value.size < 3:
        return keep, findings
    _refuse_wrong_unit(samples, where)
    for check in _CHECKS:
        bad = check.find(samples, speed) & keep
        if bad.any():
            findings.append(_finding(samples, bad, check))
            keep &= ~bad
    return keep, findings


def _finding(samples: Samples, bad: BoolArray, check: _Check) -> Finding:
    first = int(np.argmax(bad))
    count = int(bad.sum())
    return Finding(
        code=check.code,
        severity=check.severity,
        message=f"{samples.header!r}: {count} of {bad.size} samples {check.message}; left out",
        fix=check.fix,
        where=f"line {int(samples.line[first])} ({samples.time_s[first]:.2f} s)",
    )


def _out_of_range(samples: Samples, _: Samples | None = None) -> BoolArray:
    limits = CANON[samples.name]
    outside: BoolArray = (samples.value < limits.low) | (samples.value > limits.high)
    return outside


def _refuse_wrong_unit(samples: Samples, where: str) -> None:
    outside = _out_of_range(samples)
    if samples.name not in BLOCKING or outside.mean() <= 0.5:
        return
    row = CANON[samples.name]
    raise InputError(
        f"values of {samples.name} do not fit their unit",
        where=f"{where}, column {samples.header!r}, line {int(samples.line[np.argmax(outside)])}",
        got=f"{np.median(samples.value):.6g} {row.unit} as the middle value, read as "
        f"{samples.unit or 'no unit'}",
        allowed=f"{row.low:g} to {row.high:g} {row.unit}",
        fix=f"correct the unit of the column ({unit_examples(row.unit)}), or name another: "
        f'[channels] {samples.name} = "…"',
    )


def _runs(flags: BoolArray) -> NDArray[np.intp]:
    """Return start and end (exclusive) of each run of true flags, shape (m, 2)."""
    edges = np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))
    return np.column_stack([np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]])


def _marked(size: int, runs: Iterable[tuple[int, int]]) -> BoolArray:
    flags = np.zeros(size, dtype=bool)
    for start, end in runs:
        flags[start:end] = True
    return flags


def _unit_slip(samples: Samples, speed: Samples | None) -> BoolArray:
    """A lasting step by the ratio of two units, in the whole spread of the values."""
    value = samples.value
    none = np.zeros(value.size, dtype=bool)
    if samples.name not in (*_FLOWING, "manifold_pressure", "barometric_pressure"):
        return none
    log_value = np.log(np.maximum(value, 1e-9))
    jumps = np.nonzero(np.abs(np.diff(log_value)) > np.log(3.0))[0] + 1
    for place in jumps[(jumps >= 20) & (jumps <= value.size - 20)][:50]:
        before, after = (np.percentile(v, (5, 50, 95)) for v in np.split(log_value, [place]))
        jump = log_value[place] - log_value[place - 1]
        factor = _SLIP_LOGS[np.argmin(np.abs(_SLIP_LOGS - jump))]
        if abs(jump - factor) < 0.06 and (np.abs(after - before - factor) < 0.35).all():
            none[place:] = value.size - place <= place
            none[:place] = value.size - place > place
            return none
    return none


# Factors of a slipped decimal, a gram for a kilogram, an hour for a second, a pound for a kilogram.
_SLIP_RATIOS = (
    10.0,
    100.0,
    1000.0,
    6.894757,
    68.94757,
    14.503774,
    3.6,
    7.559873,
    3.386389,
    27.2155,
)
_SLIP_LOGS = np.concatenate([np.log(_SLIP_RATIOS), -np.log(_SLIP_RATIOS)])


def _dropout(samples: Samples, speed: Samples | None) -> BoolArray:
    """Zeros of a flow while the engine runs, or of the speed for less than it takes to stop."""
    zero = samples.value == 0.0
    if samples.name not in (*_FLOWING, "engine_speed") or not zero.any():
        return np.zeros(zero.size, dtype=bool)
    longest = 1.0 if samples.name == "engine_speed" else 5.0
    level = _RUNNING_RPM if samples.name == "engine_speed" else 0.0
    running = _running(samples, speed)
    runs = [
        (start, end)
        for start, end in _runs(zero)
        if start > 0
        and end < zero.size
        and samples.time_s[end] - samples.time_s[start - 1] <= longest
        and min(samples.value[start - 1], samples.value[end]) > level
        and running[start - 1 : end + 1].all()
    ]
    return _marked(zero.size, runs)


def _running(samples: Samples, speed: Samples | None) -> BoolArray:
    if samples.name == "engine_speed" or speed is None or speed.time_s.size < 2:
        return np.ones(samples.value.size, dtype=bool)
    return np.asarray(np.interp(samples.time_s, speed.time_s, speed.value) > _RUNNING_RPM)


def _thinned(values: FloatArray) -> FloatArray:
    """Return about every n-th value: enough for a percentile of a long log."""
    return values[:: max(1, values.size // 20_000)]


def _spike(samples: Samples, _: Samples | None) -> BoolArray:
    """One or two samples far from their neighbours, which agree with each other."""
    value = samples.value
    none = np.zeros(value.size, dtype=bool)
    thermal = samples.name in _TEMPERATURES
    # Slower than this, a stab of the pedal looks the same.
    slowest = 2.0 if thermal else 0.25
    if samples.name not in _CAN_SPIKE or value.size < 7 or not samples.step_s <= slowest:
        return none
    away = np.zeros(value.size)
    away[2:-2] = np.abs(value[2:-2] - 0.5 * (value[:-4] + value[4:]))
    low, high = np.percentile(_thinned(value), (1.0, 99.0))
    noise = float(np.percentile(_thinned(away), 75.0))
    limit = max(8.0 * noise, 10.0 * samples.resolution, 5.0 if thermal else 0.2 * float(high - low))

    def alone(start: int, end: int) -> bool:
        before, after = value[start - 1], value[end]
        height = float(np.abs(value[start:end] - 0.5 * (before + after)).min())
        return height > limit and abs(after - before) < 0.25 * height

    runs = [(start, end) for start, end in _runs(away > limit) if end - start <= 2]
    return _marked(value.size, [run for run in runs if alone(*run)])


_KNOWN_TOPS = {
    # SAE J1979: one byte of kPa, and two bytes of 0.01 g/s, end here.
    "manifold_pressure": 255e3,
    "mass_air_flow": 0.65535,
}


def _ceiling(samples: Samples, _: Samples | None) -> BoolArray:
    """A flat top: many samples at one highest value, reached at a slope, with few just below."""
    value = samples.value
    none = np.zeros(value.size, dtype=bool)
    if samples.name not in _CAN_CLIP or value.size < 10:
        return none
    top = float(value.max())
    at = value >= top - 1e-9 * abs(top)
    known = _KNOWN_TOPS.get(samples.name)
    if known is not None and abs(top - known) < 1e-4 * known:
        return at
    runs = _runs(at)
    lengths = runs[:, 1] - runs[:, 0]
    step = max(samples.resolution, 2e-3 * abs(top))
    below = (~at) & (value > top - 5.0 * step)
    if at.sum() < 8 or lengths.max() < 4 or at.sum() < at.size * 0.002:
        return none
    entries = runs[(runs[:, 0] > 1) & (lengths >= 3), 0]
    if not entries.size or at.sum() < below.sum():
        return none
    # The last step into the ceiling is cut short, so the one before it counts as well.
    steps = np.maximum(value[entries] - value[entries - 1], value[entries - 1] - value[entries - 2])
    return at if float(np.median(steps)) > 3.0 * step else none


def _stuck(samples: Samples, speed: Samples | None) -> BoolArray:
    """The same value on and on while the engine speed moves widely."""
    value = samples.value
    none = np.zeros(value.size, dtype=bool)
    watched = (*_FLOWING, *PRESSURES, "maf_signal", "lambda")
    if samples.name not in watched or speed is None or speed.time_s.size < 5:
        return none
    flat = np.concatenate([[False], np.diff(value) == 0.0])
    long_s = 3.0 if samples.name in _FLOWING else 10.0
    ends = (value.min(), value.max()) if samples.name == "lambda" else ()
    runs = _runs(flat)
    stuck = [
        (start - 1, end)
        for start, end in runs[runs[:, 1] - runs[:, 0] >= 9]
        if samples.time_s[end - 1] - samples.time_s[start - 1] >= long_s
        and value[start] not in ends
        and _moves(speed, samples.time_s[start - 1], samples.time_s[end - 1])
    ]
    return _marked(value.size, stuck)


def _moves(speed: Samples, start_s: float, end_s: float) -> bool:
    inside = speed.value[(speed.time_s >= start_s) & (speed.time_s <= end_s)]
    if inside.size < 3:
        return False
    low, high = np.percentile(inside, (10.0, 90.0))
    return bool(low > _RUNNING_RPM and high - low > 0.35 * (high + low) / 2.0)


_CHECKS = (
    _Check(
        "implausible_range", Severity.WARNING, _out_of_range,
        "are outside anything credible", "check the unit and the wiring of the sensor",
    ),
    _Check(
        "unit_slip", Severity.ERROR, _unit_slip,
        "differ from the rest by the ratio of two units", "log with one unit throughout, or split "
        "the file where the unit changes",
    ),
    _Check(
        "dropout", Severity.WARNING, _dropout,
        "are zeros with the engine running", "check the connector of the sensor and the logger",
    ),
    _Check(
        "spike", Severity.WARNING, _spike,
        "stand alone, far from both neighbours", "check for loose contacts and interference",
    ),
    _Check(
        "ceiling", Severity.WARNING, _ceiling,
        "lie on a flat top: the sensor, its table or the logger ends there",
        "use a sensor or a table that reaches further, or compare below it",
    ),
    _Check(
        "stuck", Severity.WARNING, _stuck,
        "repeat one value while the engine speed moves", "check the sensor and the logger",
    ),
)  # fmt: skip
