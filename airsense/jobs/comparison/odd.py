"""The odd log among good ones: which it is, and why, in the words of a workshop."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airsense.arrays import BoolArray, FloatArray, IntArray, spans
from airsense.estimates import brake_power
from airsense.estimates.circular import air_per_stroke_identity
from airsense.estimates.run import Run
from airsense.estimates.segments import Kind
from airsense.evidence.cells import SPEED_STEP
from airsense.jobs.comparison.odd_pull import disturbed
from airsense.jobs.observe import Observations
from airsense.setup.engine import Engine

# A reading that keeps one value while the speed rises by this is pegged: air grows with speed.
PEGGED_RISE, PEGGED_SAMPLES = 0.08, 6
MASKED = ("ceiling", "stuck")
# A constant ratio of two air figures that is another whole number of cylinders.
CYLINDER_RATIO, RATIO_SPREAD = 0.03, 0.05
# Against its repeats: this many scatter units, and so much at least; a unit is never less than
# what pulls of a sound engine scatter (0.8 %). Our choice.
FAR_K, FAR_LN, UNIT_LN = 5.0, 0.04, 0.008
MIN_STATES = 2


def odd_logs(seen: Observations, groups: Sequence[str], engine: Engine) -> tuple[str, ...]:
    """Return why each log stands out; empty where it does not.

    Parameters
    ----------
    seen : Observations
    groups : sequence of str
        The configuration of each run.
    engine : Engine
        Its cylinders are held against two air figures of one log.
    """
    pegged = _pegged_runs(seen.runs, groups)
    apart = _apart_from_repeats(seen, groups)
    out = []
    for k, (run, found) in enumerate(zip(seen.runs, seen.cuts, strict=True)):
        reasons = (
            _copied(seen.runs, groups, k),
            pegged[k],
            disturbed(run, found),
            _cylinders(run, engine),
            apart[k],
        )
        out.append(next((r for r in reasons if r), ""))
    return tuple(out)


def left_out(odd: Sequence[str], groups: Sequence[str]) -> tuple[int, ...]:
    """Return the runs to go without: the odd ones of configurations that keep others."""
    sound = {g for g, reason in zip(groups, odd, strict=True) if not reason}
    return tuple(k for k, reason in enumerate(odd) if reason and groups[k] in sound)


def outvoted(odd: Sequence[str], groups: Sequence[str]) -> tuple[int, ...]:
    """Return the runs that the answer goes without: two sound repeats speak against each.

    Of two repeats that differ nothing but the other configuration could say which is odd, and
    that is the question: both stay in.
    """
    out = left_out(odd, groups)
    sound = [g for g, reason in zip(groups, odd, strict=True) if not reason]
    return out if all(sound.count(groups[k]) > 1 for k in out) else ()


def _copied(runs: Sequence[Run], groups: Sequence[str], k: int) -> str:
    own = runs[k].log.sha256
    twins = [j for j, r in enumerate(runs) if own and r.log.sha256 == own and j != k]
    for j in twins:
        if groups[j] != groups[k]:
            return f"the same file as {runs[j].name}, which stands for {groups[j]}"
    if any(j < k for j in twins):
        return f"the same file as {runs[twins[0]].name}: a copy is no repeat"
    return ""


# -- a pegged reading -----------------------------------------------------------


def _pegged_runs(runs: Sequence[Run], groups: Sequence[str]) -> list[str]:
    """Return which readings stood still while the speed rose.

    Where all runs of a configuration do it at one value, that is where the sensor ends: no log
    stands out for it, and the log's findings say so.
    """
    found = [_pegged(run) for run in runs]
    out = []
    for k, own in enumerate(found):
        if own is None:
            out.append("")
            continue
        alike = [f for f, g in zip(found, groups, strict=True) if g == groups[k]]
        ends = [f[0] for f in alike if f is not None]
        common = len(alike) > 1 and len(ends) == len(alike) and np.ptp(ends) < 1e-3 * own[0]
        at, low, high = own
        words = f"the air-flow reading stays at {1e3 * at:.4g} g/s from {low:.0f} to {high:.0f} rpm"
        out.append("" if common else words)
    return out


def _pegged(run: Run) -> tuple[float, float, float] | None:
    """Return the value at which the reading stood, and the speeds it did so between."""
    if "mass_air_flow" not in run.log or "engine_speed" not in run.log:
        return None
    channel = run.log["mass_air_flow"]
    if channel.value.size < PEGGED_SAMPLES:
        return None
    speed = run.log.at("engine_speed", channel.time_s)
    best: tuple[float, float, float] | None = None
    for first, stop in spans(_flat(channel.value)):
        own = speed[first : stop + 1]
        if stop + 1 - first < PEGGED_SAMPLES or not np.isfinite(own).all():
            continue
        low, high = float(own[0]), float(own[-1])
        rising = np.count_nonzero(np.diff(own) > 0.0) >= 0.5 * own.size
        wide = low > 0.0 and high / low - 1.0 >= PEGGED_RISE
        if wide and rising and (best is None or high - low > best[2] - best[1]):
            best = (float(channel.value[first]), low, high)
    return best if best is not None else _masked(run, speed)


def _masked(run: Run, speed: FloatArray) -> tuple[float, float, float] | None:
    """Return the same of samples that were left out when the log was read."""
    channel = run.log["mass_air_flow"]
    codes = {f.code for f in run.log.findings if repr(channel.header) in f.message}
    if not codes & set(MASKED):
        return None
    gap = np.diff(channel.time_s)
    at = int(np.argmax(gap))
    low, high = float(speed[at]), float(speed[at + 1])
    if gap[at] < PEGGED_SAMPLES * float(np.median(gap)) or high < (1.0 + PEGGED_RISE) * low:
        return None
    return float(channel.value[at]), low, high


def _flat(value: FloatArray) -> BoolArray:
    """Return the steps of a channel that do not move."""
    return np.asarray(np.abs(np.diff(value)) <= 1e-9 * np.abs(value[:-1]))


# -- figures that contradict each other -----------------------------------------


def _cylinders(run: Run, engine: Engine) -> str:
    """Return whether air per stroke and air flow together ask for another number of cylinders."""
    found = air_per_stroke_identity(run, engine)
    if found is None or found.residual > RATIO_SPREAD:
        return ""
    number = engine.cylinders / found.factor
    nearest = round(number)
    if nearest == engine.cylinders or not 1 <= nearest <= 16:
        return ""
    if abs(number / nearest - 1.0) > CYLINDER_RATIO:
        return ""
    return (
        f"air flow over air per stroke asks for {nearest} cylinders, declared are "
        f"{engine.cylinders}"
    )


# -- a run apart from its repeats ------------------------------------------------


def _apart_from_repeats(seen: Observations, groups: Sequence[str]) -> list[str]:
    """Return which runs read far from the other repeats of their configuration."""
    names = [n for n in seen.cells.routes if n != brake_power.METHOD] or list(seen.cells.routes)
    tables = [_States.of(seen, seen.cells.routes.index(name)) for name in names]
    return [_apart(k, dict(zip(names, tables, strict=True)), groups) for k in range(len(groups))]


def _apart(k: int, tables: dict[str, _States], groups: Sequence[str]) -> str:
    """Return how far a run reads from its repeats, if every route says so."""
    by_route = {name: states.far(k, groups) for name, states in tables.items()}
    known = {name: v for name, v in by_route.items() if np.isfinite(v)}
    if not known or len({v > 0.0 for v in known.values()}) > 1:
        return ""
    name, least = min(known.items(), key=lambda item: abs(item[1]))
    if abs(least) < FAR_LN:
        return ""
    return (
        f"reads {100 * np.expm1(least):+.0f} % against {name.replace('_', ' ')} beside the other "
        f"repeats of {groups[k]}: a hose off, a leak, or another fault of this run"
    )


def _others(groups: Sequence[str], k: int) -> list[int]:
    return [j for j, g in enumerate(groups) if g == groups[k] and j != k]


class _States:
    """The reading over one route by engine speed, run by run: `value` (n_runs, n_states)."""

    def __init__(self, value: FloatArray) -> None:
        self.value = value

    @classmethod
    def of(cls, seen: Observations, route: int) -> _States:
        cells = seen.cells
        laden = cells.sweep | (cells.kind == Kind.HOLD)
        own = laden & np.isfinite(cells.ln_route[route])
        at: IntArray = np.round(np.log(cells.speed_rpm[own]) / SPEED_STEP).astype(np.int64)
        names, state = np.unique(at, return_inverse=True)
        columns: int = names.size
        size = (len(seen.runs), columns or 1)
        total, weight = np.zeros(size), np.zeros(size)
        place = (cells.run[own], state.reshape(-1))
        np.add.at(total, place, cells.residual[route, own] * cells.length_s[own])
        np.add.at(weight, place, cells.length_s[own])
        with np.errstate(invalid="ignore", divide="ignore"):
            return cls(total / weight)

    def apart(self, k: int, others: Sequence[int]) -> float:
        """Return how far run `k` lies from the middle of others, ln; NaN if not comparable."""
        if not others:
            return float("nan")
        own = self.value[k]
        rest = self.value[list(others)]
        shared = np.isfinite(own) & np.isfinite(rest).any(axis=0)
        enough = min(MIN_STATES, int(np.count_nonzero(np.isfinite(own))))
        if int(np.count_nonzero(shared)) < max(enough, 1):
            return float("nan")
        return float(np.median(own[shared] - np.nanmedian(rest[:, shared], axis=0)))

    def far(self, k: int, groups: Sequence[str]) -> float:
        """Return how far run `k` stands apart; zero where it does not, NaN where none can tell."""
        own = self.apart(k, _others(groups, k))
        if not np.isfinite(own):
            return own
        rivals = [
            v for j in _others(groups, k) if np.isfinite(v := self.apart(j, _others(groups, j)))
        ]
        scatter = self.among(_others(groups, k))
        scatter += [
            self.apart(j, _others(groups, j)) for j, g in enumerate(groups) if g != groups[k]
        ]
        sizes = [abs(v) for v in scatter if np.isfinite(v)]
        unit = max(UNIT_LN, 1.4826 * float(np.median(sizes)) if sizes else 0.0)
        beaten = any(abs(v) > abs(own) for v in rivals)
        if abs(own) <= FAR_K * unit or beaten:
            return 0.0
        return own if len(rivals) > 1 or self.farther(k, groups) else 0.0

    def among(self, runs: Sequence[int]) -> list[float]:
        """Return how far each of some runs lies from the others of them."""
        far = [self.apart(k, [j for j in runs if j != k]) for k in runs]
        return [v for v in far if np.isfinite(v)]

    def farther(self, k: int, groups: Sequence[str]) -> bool:
        """Return whether, of two repeats, run `k` is farther from the other configurations."""
        other = [j for j, g in enumerate(groups) if g != groups[k]]
        twin = _others(groups, k)[0]
        own, its = self.apart(k, other), self.apart(twin, other)
        return bool(np.isfinite(own) and np.isfinite(its) and abs(own) > abs(its))
