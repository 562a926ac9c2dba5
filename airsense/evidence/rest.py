"""Readings whose right value is known: a sensor at rest, and measurements that were made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any

import numpy as np

from airsense.arrays import BoolArray, FloatArray, IntArray
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented
from airsense.setup.engine import Ignition

# Ignition on and engine still: sensor and barometer differ by this (k = 1) from run to run and
# between configurations beside a fault, as a fraction of 100 kPa: 0.15 kPa, our choice.
U_STILL = 0.0015
# Common to both configurations: absolute errors of both sensors.
U_STILL_LEVEL = 0.03
# An unthrottled engine at idle: filter, ducts and an idling turbine move the pressure by a few
# kPa, alike before and after to 0.4 kPa. Our choice.
U_IDLE = 0.004
U_IDLE_LEVEL = 0.03
# Without a barometer of its own a sensor at rest is held against itself: weather and altitude of
# two days then stand between (k = 1, of a configuration and of a run). Our choice.
U_UNKNOWN_BETWEEN, U_UNKNOWN_RUN = 0.012, 0.008
# A barometer that equals the sensor at rest to less than this in every run is a copy of it.
COPY_PA = 15.0
MIN_SAMPLES = 3
REFERENCE_PA = 1.0e5


class RestKind(IntEnum):
    """What was read, and against what."""

    STILL = 0
    IDLE = 1
    STILL_ALONE = 2
    IDLE_ALONE = 3
    THERMOMETER = 4
    FUEL_WEIGHT = 5
    LAMBDA_REFERENCE = 6
    PIPE_TEST = 7
    SMOKE_TEST = 8

    @property
    def sizes(self) -> tuple[float, float, float]:
        """Return the standard uncertainties of the level, of a configuration and of a run.

        Zero where a single look carries all of its doubt itself.
        """
        alone = (U_IDLE_LEVEL, U_UNKNOWN_BETWEEN, U_UNKNOWN_RUN)
        return (
            (U_STILL_LEVEL, U_STILL, U_STILL),
            (U_IDLE_LEVEL, U_IDLE, U_IDLE),
            alone,
            alone,
            (2.0, 0.0, 0.0),
            (0.04, 0.0, 0.0),
            (0.02, 0.0, 0.0),
            (0.0, 0.0, 0.0),
            (0.0, 0.0, 0.0),
        )[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Readings with a known right value, arrays of shape (q,).

    `value` is ln(sensor / reference), in K of a thermometer, as a share of the flow at full boost
    of a leak; `run`, `after` as in `Cells`; `pressure_pa` is the pressure read; `u_noise` that of
    the reading itself.
    """

    run: IntArray
    after: BoolArray
    kind: IntArray
    value: FloatArray
    pressure_pa: FloatArray
    u_noise: FloatArray
    missing: tuple[str, ...] = ()

    @property
    def size(self) -> int:
        """Number of readings."""
        return self.run.size

    def count(self, kind: RestKind) -> int:
        """Return how many readings of a kind there are."""
        return int(np.count_nonzero(self.kind == kind))

    def of_kind(self, *kinds: RestKind) -> FloatArray:
        """Return one for readings of some kinds, zero for the others, (q,)."""
        return np.isin(self.kind, kinds).astype(np.float64)

    def joined(self, other: Rest) -> Rest:
        """Return the readings of both."""
        both: dict[str, Any] = {
            f.name: np.concatenate([getattr(self, f.name), getattr(other, f.name)])
            for f in fields(self)
            if f.name != "missing"
        }
        return replace(self, **both)

    def of_runs(self, runs: Sequence[int], after: Sequence[bool]) -> Rest:
        """Return the readings of some runs, numbered anew."""
        keep = np.isin(self.run, runs)
        place = np.searchsorted(np.asarray(runs), self.run[keep])
        return Rest(
            run=place,
            after=np.asarray(after, dtype=bool)[place],
            kind=self.kind[keep],
            value=self.value[keep],
            pressure_pa=self.pressure_pa[keep],
            u_noise=self.u_noise[keep],
            missing=self.missing,
        )


def no_rest() -> Rest:
    """Return no reading at all."""
    nothing = np.zeros(0)
    return Rest(
        run=nothing.astype(np.int64),
        after=nothing.astype(bool),
        kind=nothing.astype(np.int64),
        value=nothing,
        pressure_pa=nothing,
        u_noise=nothing,
    )


def find_rest(
    runs: Sequence[Run], cuts: Sequence[Segmented], after: Sequence[bool], ignition: Ignition
) -> Rest:
    """Return the readings of the manifold-pressure sensor that the barometer vouches for.

    Only a barometer that was logged vouches, and not one that is the sensor's own reading copied
    with the ignition on; without one the sensor is held against itself. Idle counts where no
    throttle stands between.
    """
    rows: list[_Row] = []
    copied, unknown = [], []
    for k, (run, found) in enumerate(zip(runs, cuts, strict=True)):
        if run.p_manifold_pa is None or run.from_gauge:
            unknown.append(run.name)
            continue
        alone = run.p_ambient_source != "logged"
        if alone:
            unknown.append(run.name)
        for kind, at in _moments(found, idle=ignition is Ignition.COMPRESSION):
            row = _reading(k, run, run.p_manifold_pa[at], bool(after[k]), kind, alone=alone)
            if row is not None:
                rows.append(row)
            if row is not None and kind is RestKind.STILL and not alone:
                copied.append(abs(row.value) * row.pressure_pa < COPY_PA)
    if len(copied) > 1 and all(copied):
        rows = [row for row in rows if row.kind is not RestKind.STILL]
    return _rest(rows, copied, unknown)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    run: int
    after: bool
    kind: RestKind
    value: float
    pressure_pa: float
    u_noise: float


def _reading(
    number: int, run: Run, p: FloatArray, after: bool, kind: RestKind, *, alone: bool
) -> _Row | None:
    """Return the mean reading at rest against its reference, None with too few samples."""
    p = p[np.isfinite(p)]
    if p.size < MIN_SAMPLES:
        return None
    reference = REFERENCE_PA if alone else run.p_ambient_pa
    middle = float(np.median(p))
    noise = float(np.std(p)) / np.sqrt(p.size) + 0.3 * run.p_resolution_pa
    shifted = RestKind(kind + 2) if alone else kind
    return _Row(
        run=number,
        after=after,
        kind=shifted,
        value=float(np.log(middle / reference)),
        pressure_pa=middle,
        u_noise=float(noise) / reference,
    )


def _moments(found: Segmented, *, idle: bool) -> list[tuple[RestKind, IntArray]]:
    """Return the samples of a run by kind of rest."""
    kinds = [(RestKind.STILL, Kind.STILL)] + ([(RestKind.IDLE, Kind.IDLE)] if idle else [])
    out = []
    for rest, kind in kinds:
        spans = [np.arange(s.first, s.stop) for s in found.of(kind)]
        if spans:
            at = np.concatenate(spans)
            out.append((rest, at if rest is RestKind.STILL else at[found.use[at]]))
    return out


def _rest(rows: Sequence[_Row], copied: Sequence[bool], unknown: Sequence[str]) -> Rest:
    missing = []
    if len(copied) > 1 and all(copied):
        missing.append(
            "the barometer equals the manifold pressure with the engine still in every run: it is "
            "the same sensor, and proves nothing"
        )
    elif unknown:
        missing.append("no barometer of its own beside the manifold pressure")
    if not copied and not unknown:
        missing.append("no seconds with the ignition on and the engine still")
    return Rest(
        run=np.array([r.run for r in rows], dtype=np.int64),
        after=np.array([r.after for r in rows], dtype=bool),
        kind=np.array([r.kind for r in rows], dtype=np.int64),
        value=np.array([r.value for r in rows], dtype=np.float64),
        pressure_pa=np.array([r.pressure_pa for r in rows], dtype=np.float64),
        u_noise=np.array([r.u_noise for r in rows], dtype=np.float64),
        missing=tuple(missing),
    )
