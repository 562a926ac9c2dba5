"""The table of observations: every stretch that was driven, cut into cells.

A cell is what one run shows at one operating state: the mean over all short stretches that it was
there. Who made it (a log, a printed figure, a plan) does not matter to what follows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from airsense.arrays import BoolArray, FloatArray, IntArray
from airsense.estimates.estimate import Estimate
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind, Segmented

# Samples closer than this are one look at the same state: hot film, manifold and logger are
# correlated over a few tenths of a second.
CELL_S = 0.5
MIN_FILLED = 0.4
# Faster than this, a lag of 30 ms that nobody knows is worth 1.5 %.
MAX_RATE_PS = 0.5
# More stretches than this tell no more; longer ones then.
MAX_STRETCHES = 40_000
# One operating state: steps of ln(speed) and of ln(charge of a stroke).
SPEED_STEP, CHARGE_STEP = 0.08, 0.15
USUAL_NOISE, LEAST_SPREAD = 0.006, 0.003
MAX_INFLATION = 20.0
# Stretches this far out (robust standard deviations) of their state are no noise: left out. So is
# what lies this far, in ln, off the rest of a run under load: no route's own error over the map and
# no fault within one run is of that size. Our choice.
OUTLIER = 6.0
GROSS = 0.35
# A flow below this share of the largest is part load: our choice.
PART_LOAD_SHARE = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """All cells of all runs; arrays of shape (m,), `ln_route` (n_routes, m), NaN where unknown.

    `run` is the number of the run, `after` whether it shows the second configuration, `kind` a
    `Kind`. `ln_maf` and `ln_route` are ln of flows in kg/s, `u_noise` (n_routes, m) the standard
    uncertainty of ln(MAF) - ln(route) that no other cell shares; `rate_ps` is the rate of change of
    ln(MAF), `t_inlet_k` the temperature ahead of the compressor where that of the charge is
    estimated, `map_slope` d ln(flow) / d ln(pressure) of the compressor map. `sweep` marks cells
    of full-load sweeps.
    """

    routes: tuple[str, ...]
    run: IntArray
    after: BoolArray
    kind: IntArray
    sweep: BoolArray
    time_s: FloatArray
    length_s: FloatArray
    ln_maf: FloatArray
    ln_route: FloatArray
    u_noise: FloatArray
    speed_rpm: FloatArray
    p_manifold_pa: FloatArray
    p_ambient_pa: FloatArray
    t_charge_k: FloatArray
    t_inlet_k: FloatArray
    lambda_: FloatArray
    map_slope: FloatArray
    rate_ps: FloatArray

    @property
    def size(self) -> int:
        """Number of cells."""
        return self.run.size

    @property
    def laden(self) -> BoolArray:
        """Where the engine is under load: neither idle nor overrun, (m,)."""
        return np.asarray((self.kind != Kind.IDLE) & (self.kind != Kind.OVERRUN))

    @property
    def part_load(self) -> BoolArray:
        """Where it is under load with a flow far below the largest, (m,)."""
        top = float(np.max(self.ln_maf, initial=-np.inf))
        return np.asarray(self.laden & (self.ln_maf < top + np.log(PART_LOAD_SHARE)))

    @property
    def residual(self) -> FloatArray:
        """ln(MAF) - ln(route), shape (n_routes, m)."""
        return self.ln_maf - self.ln_route

    @property
    def boost_pa(self) -> FloatArray:
        """Manifold pressure above ambient, zero where unknown or below."""
        return np.nan_to_num(np.maximum(self.p_manifold_pa - self.p_ambient_pa, 0.0), nan=0.0)

    def pick(self, mask: BoolArray) -> Cells:
        """Return the cells where `mask` (m,) is true."""
        kept = {
            f.name: getattr(self, f.name)[..., mask] for f in fields(self) if f.name != "routes"
        }
        return replace(self, **kept)

    def of_runs(self, runs: Sequence[int], after: Sequence[bool]) -> Cells:
        """Return the cells of some runs, numbered anew, with the configuration of each."""
        own = self.pick(np.isin(self.run, runs))
        place = np.searchsorted(np.asarray(runs), own.run)
        return replace(own, run=place, after=np.asarray(after, dtype=bool)[place])


def cut(
    runs: Sequence[Run],
    cuts: Sequence[Segmented],
    estimates: Mapping[str, Sequence[Estimate]],
    after: Sequence[bool],
    sweeps: Sequence[bool],
) -> Cells:
    """Cut runs into cells.

    Parameters
    ----------
    runs : sequence of Run
    cuts : sequence of Segmented
        Their stretches.
    estimates : mapping of str to sequence of Estimate
        Per route, per run.
    after, sweeps : sequence of bool
        Whether a run shows the second configuration, and whether its pulls are full-load sweeps.
    """
    used = sum(float(np.count_nonzero(c.use)) * r.step_s for c, r in zip(cuts, runs, strict=True))
    length = max(CELL_S, used / MAX_STRETCHES)
    parts = [
        _of_run(k, run, found, {n: e[k] for n, e in estimates.items()}, length)
        for k, (run, found) in enumerate(zip(runs, cuts, strict=True))
    ]
    joined = {name: np.concatenate([p[name] for p in parts], axis=-1) for name in parts[0]}
    run_of = joined["run"].astype(np.int64)
    kind = joined["kind"].astype(np.int64)
    sweep = (kind == Kind.PULL) & np.asarray(sweeps, dtype=bool)[run_of]
    cells = Cells(
        routes=tuple(estimates),
        after=np.asarray(after, dtype=bool)[run_of],
        sweep=sweep,
        **{**joined, "run": run_of, "kind": kind},
    )
    sound = (np.abs(cells.rate_ps) < MAX_RATE_PS) & np.isfinite(cells.ln_route).any(axis=0)
    return merged(cells.pick(sound & np.isfinite(cells.ln_maf)))


def merged(short: Cells) -> Cells:
    """Return one cell for each state of each run, with the noise that its stretches show."""
    if short.size == 0:
        return short
    charge = short.ln_maf - np.log(short.speed_rpm)
    keys = (
        short.run,
        short.kind,
        np.round(np.log(short.speed_rpm) / SPEED_STEP),
        np.round(charge / CHARGE_STEP),
    )
    _, state = np.unique(np.column_stack(keys), axis=0, return_inverse=True)
    state = state.reshape(-1)
    short = replace(short, ln_route=_tame(short, state))
    count = np.bincount(state).astype(np.float64)

    def mean(values: FloatArray) -> FloatArray:
        known = np.isfinite(values)
        number = np.bincount(state, known.astype(np.float64))
        total = np.bincount(state, np.where(known, values, 0.0))
        return np.where(number > 0, total / np.maximum(number, 1.0), np.nan)

    first = np.unique(state, return_index=True)[1]
    length_s: FloatArray = np.bincount(state, short.length_s).astype(np.float64)
    same: dict[str, Any] = {n: getattr(short, n)[first] for n in ("run", "after", "kind", "sweep")}
    means: dict[str, Any] = {n: mean(getattr(short, n)) for n in _AVERAGED}
    route = np.array([mean(short.ln_maf - r) for r in short.ln_route])
    noise = np.array([_noise_of_mean(short, row, state, count) for row in short.residual])
    return Cells(
        routes=short.routes,
        ln_route=means["ln_maf"] - route,
        u_noise=noise,
        **same,
        **means,
        length_s=length_s,
    )


_AVERAGED = (
    "time_s",
    "ln_maf",
    "speed_rpm",
    "p_manifold_pa",
    "p_ambient_pa",
    "t_charge_k",
    "t_inlet_k",
    "lambda_",
    "map_slope",
    "rate_ps",
)


def _tame(short: Cells, state: IntArray) -> FloatArray:
    """Leave out stretches that lie far off the others of their run."""
    out = short.ln_route.copy()
    shared = np.bincount(state)[state] > 1
    laden = short.laden
    for k, row in enumerate(short.residual):
        apart = _from_mean(row, state)
        known = np.abs(apart[shared & np.isfinite(apart)])
        spread = float(np.median(known)) / 0.6745 if known.size else 0.0
        gross = laden & (np.abs(row - _laden_level(row, short.run, laden)) > GROSS)
        with np.errstate(invalid="ignore"):
            out[k, gross | (np.abs(apart) > OUTLIER * max(spread, LEAST_SPREAD))] = np.nan
    return out


def _laden_level(row: FloatArray, run: IntArray, laden: BoolArray) -> FloatArray:
    """Return the median of each value's run under load."""
    out = np.full(row.size, np.nan)
    for number in np.unique(run[laden & np.isfinite(row)]):
        out[run == number] = np.nanmedian(row[(run == number) & laden])
    return out


def _from_mean(row: FloatArray, state: IntArray) -> FloatArray:
    """Return each value less the mean of its state."""
    known = np.isfinite(row)
    number = np.bincount(state, known.astype(np.float64))
    total = np.bincount(state, np.where(known, row, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(row - (total / number)[state])


def _noise_of_mean(short: Cells, row: FloatArray, state: IntArray, count: FloatArray) -> FloatArray:
    """Return the standard uncertainty of the mean of each state from the scatter in all of them.

    Idle and overrun are noisier than load, so that each class has its own.
    """
    apart = _from_mean(row, state)
    idle = ~short.laden
    out = np.full(count.size, USUAL_NOISE)
    number = np.bincount(state, np.isfinite(row).astype(np.float64))
    for own in (idle, ~idle):
        here = own & np.isfinite(apart) & (number[state] > 1)
        free = np.count_nonzero(here) - np.unique(state[here]).size
        if free < 3:
            continue
        variance = float(np.sum(apart[here] ** 2)) / free
        own_states = np.unique(state[own])
        out[own_states] = np.sqrt(variance * _inflation(apart, here, short.run))
    return out / np.sqrt(np.maximum(number, 1.0))


def _inflation(apart: FloatArray, here: BoolArray, run: IntArray) -> float:
    """Return how many stretches in a row are one independent look."""
    pairs = here[1:] & here[:-1] & (np.diff(run) == 0)
    total = float(np.mean(apart[here] ** 2))
    if np.count_nonzero(pairs) < 5 or total <= 0.0:
        return 1.0
    rho = float(np.mean(apart[1:][pairs] * apart[:-1][pairs])) / total
    rho = float(np.clip(rho, 0.0, 0.95))
    return min((1.0 + rho) / (1.0 - rho), MAX_INFLATION)


def _of_run(
    number: int, run: Run, found: Segmented, estimates: Mapping[str, Estimate], length_s: float
) -> dict[str, FloatArray]:
    """Return the columns of the cells of one run."""
    with np.errstate(invalid="ignore", divide="ignore"):
        maf = run.mdot_maf_kgps
        assert maf is not None
        ln_maf = np.where(maf > 0.0, np.log(maf), np.nan)
    routes = np.array([e.ln_flow for e in estimates.values()])
    slopes = [e.to_pressure for e in estimates.values() if e.to_pressure is not None]
    good = found.use & np.isfinite(ln_maf) & np.isfinite(routes).any(axis=0)
    at = np.flatnonzero(good)
    length = max(length_s, run.native_step_s)
    start = _starts(run, found, at, length)
    count = np.diff(np.append(start, at.size)).astype(np.float64)
    filled = count >= MIN_FILLED * length / run.step_s if at.size else np.zeros(0, dtype=bool)

    def mean(values: FloatArray | None) -> FloatArray:
        if values is None or at.size == 0:
            return np.full(start.size, np.nan)
        return np.asarray(np.add.reduceat(values[at], start) / count)

    time_s, axis = mean(run.time_s), mean(ln_maf)
    columns = {
        "run": np.full(start.size, float(number)),
        "kind": found.kind[at[start]].astype(np.float64) if at.size else np.zeros(0),
        "time_s": time_s,
        "length_s": count * run.step_s,
        "ln_maf": axis,
        "ln_route": np.array([_mean_known(r[at], start, count) for r in routes]),
        "u_noise": np.full((routes.shape[0], start.size), np.nan),
        "speed_rpm": mean(run.speed_rpm),
        "p_manifold_pa": mean(run.p_manifold_pa),
        "p_ambient_pa": np.full(start.size, run.p_ambient_pa),
        "t_charge_k": mean(run.t_charge_k),
        "t_inlet_k": np.full(start.size, np.nan if run.t_inlet_k is None else run.t_inlet_k),
        "lambda_": mean(run.lambda_),
        "map_slope": mean(slopes[0] if slopes else None),
        "rate_ps": np.gradient(axis, time_s) if axis.size > 1 else np.zeros(axis.size),
    }
    # A cell that is hardly filled stands at an edge of something that was left out.
    return {name: value[..., filled] for name, value in columns.items()}


def _starts(run: Run, found: Segmented, at: IntArray, length_s: float) -> IntArray:
    if at.size == 0:
        return np.zeros(0, dtype=np.int64)
    slot = np.floor(run.time_s[at] / length_s)
    new = (np.diff(slot) != 0.0) | (np.diff(found.kind[at]) != 0)
    return np.concatenate(([0], np.flatnonzero(new) + 1))


def _mean_known(values: FloatArray, start: IntArray, count: FloatArray) -> FloatArray:
    """Mean over the finite samples of each cell; NaN where fewer than half are."""
    if values.size == 0:
        return np.zeros(start.size)
    finite = np.isfinite(values)
    known = np.add.reduceat(finite.astype(np.float64), start)
    total = np.add.reduceat(np.where(finite, values, 0.0), start)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(known >= 0.5 * count, total / known, np.nan))
