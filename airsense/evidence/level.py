"""One configuration: does the sensor agree with the routes within what both can know?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from airsense.estimates import maf
from airsense.estimates.estimate import Influence
from airsense.estimates.routes import Unused
from airsense.evidence.bins import BinTable
from airsense.evidence.causes import CauseResult, rank_causes
from airsense.evidence.change import build_level, conditions_of
from airsense.evidence.effects import change_dof, change_variance
from airsense.evidence.hypotheses import LEVEL_SIZES, hypotheses
from airsense.evidence.inference import Change, Part, Posterior, infer
from airsense.evidence.next_measurement import NextMeasurement, propose
from airsense.evidence.student import Mixture, single, welch_satterthwaite
from airsense.evidence.verdict import SKEW_BAR, range_text
from airsense.results import Interval

# A level is not a change: nothing is known beforehand about the flow itself.
FLAT_LN = 3.0
# An agreement says something only if the test could have shown a disagreement of this size.
PLAUSIBLE_HALF_WIDTH = 0.13


class CheckVerdict(Enum):
    """Whether the sensor's level is credible. UNDETERMINED is never merged into PLAUSIBLE."""

    PLAUSIBLE = "plausible"
    IMPLAUSIBLE = "implausible"
    UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelEstimate:
    """What one route says: `sensor_error` is indicated over this route's flow, less one.

    `u_repeat` is the part of its standard uncertainty (k = 1, logarithmic) that another log of
    the same vehicle does not share.
    """

    method: str
    sensor_error: Interval | None
    used: bool
    reason: str
    u_repeat: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRow:
    """The sensor's error in one bin of engine speed."""

    engine_speed_rpm: float
    sensor_error: Interval
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """The answer for one configuration."""

    verdict: CheckVerdict
    sentence: str
    sensor_error: Interval
    estimates: tuple[LevelEstimate, ...]
    causes: tuple[CauseResult, ...]
    by_speed: tuple[LevelRow, ...]
    next_measurement: NextMeasurement
    budget: tuple[Part, ...]
    degrees_of_freedom: float


def judge_level(
    table: BinTable,
    budgets: Mapping[str, Sequence[Influence]],
    unused: Sequence[Unused],
    *,
    controlled: bool,
) -> Level:
    """Return whether the sensor agrees with the routes.

    Raises
    ------
    InputError
        If fewer than two speed bins are filled.
    """
    level = build_level(table, budgets, controlled=controlled)
    conditions = conditions_of(table, level)
    posterior = infer(
        level, hypotheses(conditions, sizes=LEVEL_SIZES), true_size=FLAT_LN, true_shape_size=FLAT_LN
    )
    error = posterior.mixture("skew")
    interval = error.interval()
    verdict = _decide(error, interval)
    return Level(
        verdict=verdict,
        sentence=_sentence(verdict, interval),
        sensor_error=interval,
        estimates=(
            *(_estimate(level, name) for name in level.routes[1:]),
            *(
                LevelEstimate(method=u.method, sensor_error=None, used=False, reason=u.reason)
                for u in unused
            ),
        ),
        causes=rank_causes(posterior),
        by_speed=_by_speed(table, level, posterior),
        next_measurement=propose(posterior, level, one_configuration=True),
        budget=posterior.budget,
        degrees_of_freedom=posterior.dof,
    )


def _decide(error: Mixture, interval: Interval) -> CheckVerdict:
    if interval.contains(0.0):
        tight = interval.half_width <= PLAUSIBLE_HALF_WIDTH
        return CheckVerdict.PLAUSIBLE if tight else CheckVerdict.UNDETERMINED
    leading = int(np.argmax(error.weight))
    clear = abs(error.mean[leading]) > SKEW_BAR.uncertainties * error.scale[leading]
    below = error.below(0.0)
    sure = below <= SKEW_BAR.tail or below >= 1.0 - SKEW_BAR.tail
    return CheckVerdict.IMPLAUSIBLE if clear and sure else CheckVerdict.UNDETERMINED


def _sentence(verdict: CheckVerdict, error: Interval) -> str:
    shown = range_text(error)
    return {
        CheckVerdict.PLAUSIBLE: f"The sensor agrees with the routes that do not use it: its error "
        f"is {shown}, and zero lies inside.",
        CheckVerdict.IMPLAUSIBLE: f"The sensor disagrees with the routes: its error is {shown}.",
        CheckVerdict.UNDETERMINED: f"Undetermined: the sensor's error is {shown}, too wide or too "
        "close to zero to judge it.",
    }[verdict]


def _estimate(level: Change, method: str) -> LevelEstimate:
    row = level.routes.index(method)
    sensor = level.routes.index(maf.METHOD)
    parts = [
        (
            (e.sensitivity[sensor] - e.sensitivity[row]) ** 2
            * change_variance(e, level.run_weight),
            change_dof(e, level.run_weight),
        )
        for e in level.effects
    ]
    noise = float(np.sum(level.noise[row] + level.noise[sensor])) / level.n_bins**2
    variance = np.array([v for v, _ in parts] + [noise])
    dof = welch_satterthwaite(variance, np.array([d for _, d in parts] + [float(level.n_bins)]))
    common = sum(
        (e.sensitivity[sensor] - e.sensitivity[row]) ** 2 * e.absolute**2 for e in level.effects
    )
    mean = float(np.mean(level.value[sensor] - level.value[row]))
    return LevelEstimate(
        method=method,
        sensor_error=single(mean, float(np.sqrt(variance.sum())), dof).interval(),
        used=True,
        reason="independent of the sensor",
        u_repeat=float(np.sqrt(max(float(variance.sum()) - common, 0.0))),
    )


def _by_speed(table: BinTable, level: Change, posterior: Posterior) -> tuple[LevelRow, ...]:
    keep = np.isin(table.centre_rpm, level.speed_rpm)
    samples = table.samples[:, keep].sum(axis=0)
    errors = posterior.mixture("skew_by_bin").intervals()
    return tuple(
        LevelRow(engine_speed_rpm=float(n), sensor_error=errors[b], samples=int(samples[b]))
        for b, n in enumerate(level.speed_rpm)
    )
