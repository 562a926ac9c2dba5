"""How fast boost builds after a load step, and whether one configuration is quicker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates import maf, speed_density
from airsense.estimates.defaults import Defaults
from airsense.estimates.estimate import influence_of
from airsense.estimates.load_steps import LoadStep, load_steps
from airsense.estimates.run import Run
from airsense.evidence.student import COVERAGE, single, welch_satterthwaite
from airsense.results import Interval
from airsense.setup.engine import EngineSetup

# Shares of the rise, and times after the step, at which boost is compared: what a driver feels, our
# choice.
SHARES = (0.5, 0.9)
FIXED_TIMES_S = (1.0, 2.0, 3.0)
# Boost builds with engine speed: steps at speeds further apart are not the same test. Our choice.
SAME_SPEED = 0.03
BUILD_UP_S, BUILD_UP_STEP_S = 6.0, 0.2
UNKNOWN = float("nan")


class SpoolVerdict(Enum):
    """What the repeats say of a time: quicker or slower only if the interval leaves out zero."""

    QUICKER = "quicker"
    SLOWER = "slower"
    NOT_RESOLVED = "not_resolved"


class LevelVerdict(Enum):
    """What the repeats say of a level at a fixed time."""

    HIGHER = "higher"
    LOWER = "lower"
    NOT_RESOLVED = "not_resolved"


class Rise(Enum):
    """Which boost rise a share is taken of: each repeat's own, or the baseline's mean."""

    OWN = "own"
    BASELINE = "baseline"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeRow:
    """A time after the step in both configurations, and its difference. [s]

    Bounds are NaN with a single repeat, whose scatter nobody knows.
    """

    rise: Rise
    share_of_rise: float
    before_s: Interval
    after_s: Interval
    difference_s: Interval
    verdict: SpoolVerdict


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRow:
    """Air mass flow [kg/s] or power [W] at a fixed time after the step; `change` is a fraction."""

    quantity: str
    method: str
    time_s: float
    before: float
    after: float
    change: Interval
    verdict: LevelVerdict


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildUpRow:
    """Manifold pressure at a time after the step: mean, lowest and highest repeat. [s, Pa]"""

    time_s: float
    before: Interval
    after: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolUp:
    """The build-up of boost of a pair.

    `verdict` is that of the time to 90 %, and needs both rises to say so: a higher boost target
    alone lengthens the way to 90 % of the own rise, a drifted pressure sensor alone moves the
    way to the baseline's. `step` names what shows the step.
    """

    verdict: SpoolVerdict
    sentence: str
    step: str
    repeats_before: int
    repeats_after: int
    engine_speed_before_rpm: float
    engine_speed_after_rpm: float
    times: tuple[TimeRow, ...]
    levels: tuple[LevelRow, ...]
    build_up: tuple[BuildUpRow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A run with the air flow that is shown at fixed times, and what it rests on.

    `u_between` is the standard uncertainty that a change of ln(flow) between configurations has
    beside the repeats' scatter; infinite where the sensor under test is all there is.
    """

    run: Run
    mdot_kgps: FloatArray
    method: str
    u_between: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """Values of one configuration's repeats, and the variance that sampling alone gives them."""

    value: FloatArray
    floor: float = 0.0

    @property
    def variance(self) -> float:
        """Variance of the mean; a scatter below that of the sampling is not believed."""
        return max(float(np.var(self.value, ddof=1)), self.floor) / self.value.size


@dataclass(frozen=True, slots=True, kw_only=True)
class _Terms:
    """What every row shares: whether the steps compare at all, and the coverage."""

    comparable: bool
    coverage: float


def traces(runs: Sequence[Run], setup: EngineSetup, sizes: Defaults) -> tuple[Trace, ...]:
    """Return the runs with an air flow: by speed density if all have it, else as indicated."""
    if any(speed_density.missing_for_speed_density(run) for run in runs):
        return tuple(
            Trace(run=r, mdot_kgps=r.mdot_maf_kgps, method=maf.METHOD, u_between=float("inf"))
            for r in runs
            if r.mdot_maf_kgps is not None
        )
    found = [(r, speed_density.speed_density(r, setup, sizes)) for r in runs]
    return tuple(
        Trace(
            run=r,
            mdot_kgps=e.mdot_kgps,
            method=e.method,
            u_between=float(np.sqrt(sum((i.sensitivity * i.between) ** 2 for i in e.budget))),
        )
        for r, e in found
    )


def spool_up(
    before: Sequence[Trace],
    after: Sequence[Trace],
    sizes: Defaults,
    *,
    coverage: float = COVERAGE,
) -> SpoolUp | None:
    """Compare the build-up of boost; None where not every run shows a load step.

    Parameters
    ----------
    before, after : sequence of Trace
        Runs of the two configurations.
    sizes : Defaults
        For what differs between configurations beside the repeats' scatter.
    coverage : float
        Of every interval.
    """
    found = (*before, *after)
    step, per_run = load_steps([t.run for t in found])
    if not step:
        return None
    pairs = [(t, s) for t, steps in zip(found, per_run, strict=True) for s in steps]
    cut = sum(len(steps) for steps in per_run[: len(before)])
    old, new = pairs[:cut], pairs[cut:]
    speeds = [float(np.mean([s.speed_rpm for _, s in side])) for side in (old, new)]
    terms = _Terms(comparable=abs(speeds[1] / speeds[0] - 1.0) <= SAME_SPEED, coverage=coverage)
    times = tuple(_time_rows([s for _, s in old], [s for _, s in new], terms))
    verdict = _joint([row.verdict for row in times if row.share_of_rise == SHARES[-1]])
    return SpoolUp(
        verdict=verdict,
        sentence=_sentence(verdict, times[-1], speeds, terms),
        step=step,
        repeats_before=len(old),
        repeats_after=len(new),
        engine_speed_before_rpm=speeds[0],
        engine_speed_after_rpm=speeds[1],
        times=times,
        levels=(*_air_rows(old, new, terms), *_power_rows(old, new, sizes, terms)),
        build_up=_build_up([s for _, s in old], [s for _, s in new]),
    )


def _build_up(old: Sequence[LoadStep], new: Sequence[LoadStep]) -> tuple[BuildUpRow, ...]:
    """Return the pressure after the step for as long as every repeat lasts."""
    last = min(float(s.time_s[-1]) for s in (*old, *new))
    grid = np.arange(0.0, min(last, BUILD_UP_S) + 1e-9, BUILD_UP_STEP_S)
    sides = [
        np.array([np.interp(grid, s.time_s, s.p_manifold_pa) for s in side]) for side in (old, new)
    ]
    ends = [(v.mean(axis=0), v.min(axis=0), v.max(axis=0)) for v in sides]
    return tuple(
        BuildUpRow(
            time_s=float(at),
            before=Interval(*(float(x[k]) for x in ends[0])),
            after=Interval(*(float(x[k]) for x in ends[1])),
        )
        for k, at in enumerate(grid)
    )


def _joint(verdicts: Sequence[SpoolVerdict]) -> SpoolVerdict:
    return verdicts[0] if len(set(verdicts)) == 1 else SpoolVerdict.NOT_RESOLVED


def _time_rows(old: Sequence[LoadStep], new: Sequence[LoadStep], terms: _Terms) -> list[TimeRow]:
    start = float(np.mean([s.p_start_pa for s in old]))
    rise = float(np.mean([s.rise_pa for s in old]))
    rows = []
    for share in SHARES:
        for which in Rise:
            sides = [
                _Side(
                    value=np.array(
                        [
                            s.time_to_s(
                                s.p_start_pa + share * s.rise_pa
                                if which is Rise.OWN
                                else start + share * rise
                            )
                            for s in side
                        ]
                    ),
                    floor=float(np.mean([s.u_time_s**2 for s in side])),
                )
                for side in (old, new)
            ]
            rows.append(_time_row(which, share, sides, terms))
    return rows


def _time_row(which: Rise, share: float, sides: Sequence[_Side], terms: _Terms) -> TimeRow:
    difference = _difference(sides[0], sides[1], 0.0, terms.coverage)
    verdict = SpoolVerdict.NOT_RESOLVED
    if terms.comparable and difference.high < 0.0:
        verdict = SpoolVerdict.QUICKER
    elif terms.comparable and difference.low > 0.0:
        verdict = SpoolVerdict.SLOWER
    return TimeRow(
        rise=which,
        share_of_rise=share,
        before_s=_mean(sides[0], terms.coverage),
        after_s=_mean(sides[1], terms.coverage),
        difference_s=difference,
        verdict=verdict,
    )


def _mean(side: _Side, coverage: float) -> Interval:
    """Return the mean of a configuration's repeats with Student's interval."""
    value = float(np.mean(side.value))
    if side.value.size < 2:
        return Interval(value, UNKNOWN, UNKNOWN)
    return _around(value, side.variance, side.value.size - 1.0, coverage)


def _difference(old: _Side, new: _Side, u_between: float, coverage: float) -> Interval:
    """Return new less old with Welch's interval; without bounds from a single repeat."""
    value = float(np.mean(new.value) - np.mean(old.value))
    if min(old.value.size, new.value.size) < 2 or not np.isfinite(u_between):
        return Interval(value, UNKNOWN, UNKNOWN)
    variance = np.array([old.variance, new.variance, u_between**2])
    dof = welch_satterthwaite(
        variance, np.array([old.value.size - 1.0, new.value.size - 1.0, np.inf])
    )
    return _around(value, float(variance.sum()), dof, coverage)


def _around(value: float, variance: float, dof: float, coverage: float) -> Interval:
    unit = single(0.0, float(np.sqrt(variance)), min(dof, 1e6))
    half = float(unit.quantile(0.5 * (1.0 + coverage)))
    return Interval(value, value - half, value + half)


Side = Sequence[tuple[Trace, LoadStep]]


def _air_rows(old: Side, new: Side, terms: _Terms) -> list[LevelRow]:
    like = old[0][0]
    values = [np.array([s.at_s(_AT, t.mdot_kgps) for t, s in side]) for side in (old, new)]
    return _level_rows("mass_air_flow", like.method, values, like.u_between, terms)


def _power_rows(old: Side, new: Side, sizes: Defaults, terms: _Terms) -> list[LevelRow]:
    between = influence_of(sizes.brake_power, key="brake_power").between
    values = [np.array([s.at_s(_AT, s.run.power_w) for _, s in side]) for side in (old, new)]
    return _level_rows("brake_power", "logged", values, between, terms)


_AT = np.array(FIXED_TIMES_S)


def _level_rows(
    quantity: str, method: str, values: Sequence[FloatArray], u_between: float, terms: _Terms
) -> list[LevelRow]:
    """Return a row for each fixed time at which every repeat has a positive value."""
    rows = []
    for k, time_s in enumerate(FIXED_TIMES_S):
        old, new = values[0][:, k], values[1][:, k]
        if not (np.all(old > 0.0) and np.all(new > 0.0)):  # NaN fails too
            continue
        sides = _Side(value=np.log(old)), _Side(value=np.log(new))
        ln = _difference(*sides, u_between, terms.coverage)
        verdict = LevelVerdict.NOT_RESOLVED
        if terms.comparable and ln.low > 0.0:
            verdict = LevelVerdict.HIGHER
        elif terms.comparable and ln.high < 0.0:
            verdict = LevelVerdict.LOWER
        rows.append(
            LevelRow(
                quantity=quantity,
                method=method,
                time_s=time_s,
                before=float(np.mean(old)),
                after=float(np.mean(new)),
                change=Interval(*(float(np.expm1(v)) for v in (ln.value, ln.low, ln.high))),
                verdict=verdict,
            )
        )
    return rows


def _sentence(verdict: SpoolVerdict, last: TimeRow, speeds: Sequence[float], terms: _Terms) -> str:
    if not terms.comparable:
        return (
            f"The load steps are at {speeds[0]:.0f} and {speeds[1]:.0f} rpm: not the same test, "
            "so nothing is said of the response."
        )
    d = last.difference_s
    if not np.isfinite(d.value):
        return "The second configuration never reaches 90 % of the baseline's boost rise."
    when = "sooner" if d.value < 0.0 else "later"
    shown = f"90 % of the baseline's boost rise comes {abs(d.value):.2f} s {when}"
    if not np.isfinite(d.low):
        return f"{shown}, but there is a single repeat: not resolved."
    span = f"{shown} ({d.low:+.2f} to {d.high:+.2f} s)"
    if verdict is not last.verdict:
        return (
            f"{span}, but 90 % of its own rise does not: a changed boost target or pressure "
            "sensor would do the same, so it is not resolved."
        )
    if verdict is SpoolVerdict.NOT_RESOLVED:
        return f"{span}: not resolved."
    return f"{verdict.value.capitalize()}: {span}, and the own rise agrees."
