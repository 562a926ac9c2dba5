"""What a workshop really drives, against the truth: own channels, holds, steps, drives, mixtures.

Run as `python -m tests.bench.driving --campaigns N --set own_channels|holds|steps|drives|
mixtures|all [--seed 11] [--planted a,b]`: N campaigns a set, as many of each planted effect.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from math import ceil

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from airsense.errors import InputError
from airsense.jobs.compare import compare_logs
from tests.bench.answers import VERDICTS, Answer, answer_of
from tests.bench.coverage_cases import BREATHING_DRIFT, MARGIN, NO_CHANGE, NO_SKEW
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, Driving, own_channels
from tests.simulate.engines import ENGINES, LARGE_TURBO_DIESEL, TURBO_DIESEL, EngineModel

Draw = Callable[[np.random.Generator], Mapping[str, float]]
DIESELS = (TURBO_DIESEL, LARGE_TURBO_DIESEL)


@dataclass(frozen=True, slots=True)
class Planted:
    """What is planted, the causes that name it, and what the reading's surplus is due to."""

    name: str
    draw: Draw
    causes: frozenset[str]
    reading: str


@dataclass(frozen=True, slots=True)
class Kind:
    """A way to drive and log: the case it makes of a drawn one, and its engines."""

    name: str
    make: Callable[[Case, np.random.Generator], Case]
    engines: tuple[EngineModel, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one campaign gave, against its truth; `answer` is none where it was refused."""

    name: str
    skew: float
    surplus: float
    change: float | None
    answer: Answer | None
    refused: str = ""

    @property
    def planted(self) -> Planted:
        """What was planted."""
        return next(p for p in PLANTED if p.name == self.name)

    def covers(self, key: str, truth: float | None) -> bool | None:
        """Return whether an interval holds the truth; none where there is none to hold it."""
        found = self.answer.interval(key) if self.answer else None
        return None if found is None or truth is None else found.contains(truth)

    def half_width(self, key: str) -> float:
        """Return the half-width of an interval; NaN where there is none."""
        found = self.answer.interval(key) if self.answer else None
        return float("nan") if found is None else found.half_width

    @property
    def decided(self) -> bool:
        """Whether the verdict says anything."""
        return self.answer is not None and self.answer.verdict != "undetermined"

    @property
    def wrong(self) -> bool:
        """Whether it claims what is not there, or the other sign of what is."""
        return self.answer is not None and (
            _wrong_reading(self.answer, self.surplus) or _wrong_air(self.answer, self.change)
        )

    @property
    def sayable(self) -> frozenset[str]:
        """What the reading's cause may be called: near none, both words are right."""
        words = {"none"} if abs(self.surplus) < MARGIN else set()
        return frozenset(
            words | ({self.planted.reading} if abs(self.surplus) >= NO_SKEW else set())
        )

    @property
    def reading_right(self) -> bool:
        """Whether the reading's cause is called by a right word; `open` is none."""
        return self.answer is not None and self.answer.reading_cause in self.sayable

    @property
    def contradicted(self) -> bool:
        """Whether the reading's cause is put down to the wrong family; `open` never is."""
        return self.answer is not None and self.answer.reading_cause not in self.sayable | {"open"}

    def named_within(self, places: int) -> bool:
        """Return whether every planted cause is among the first causes."""
        return self.answer is not None and self.planted.causes <= set(self.answer.causes[:places])


def _wrong_reading(answer: Answer, surplus: float) -> bool:
    """Whether the verdict claims a surplus that is not there, of the other sign, or denies one."""
    if answer.verdict == "no_change":
        return abs(surplus) > MARGIN
    if answer.verdict not in {"reading_only", "partly_supported"}:
        return False
    found = answer.interval("indicated_surplus")
    if found is None:
        return True
    if abs(surplus) < NO_SKEW:
        return abs(found.value) >= 0.5 * MARGIN
    return found.value * surplus < 0.0


def _wrong_air(answer: Answer, change: float | None) -> bool:
    """Whether the verdict claims a change of the engine's air of the other sign, or of none."""
    up = {"gain_supported", "partly_supported", "gain_elsewhere"}
    if answer.verdict in up:
        return change is None or change <= NO_CHANGE
    return answer.verdict == "loss_supported" and (change is None or change >= -NO_CHANGE)


def _either(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(low, high))


SENSOR = frozenset({"sensor_scale"})
PRESSURE = frozenset({"manifold_pressure_gain"})
PLANTED = (
    Planted("none", lambda r: {}, frozenset({"none"}), "none"),
    Planted("skew", lambda r: {"skew": _either(r, 0.05, 0.08)}, SENSOR, "sensor"),
    Planted("gain", lambda r: {"boost_change": r.uniform(0.03, 0.07)}, frozenset({"none"}), "none"),
    Planted(
        "skew and gain",
        lambda r: {"skew": _either(r, 0.05, 0.08), "boost_change": r.uniform(0.03, 0.07)},
        SENSOR,
        "sensor",
    ),
    Planted("pressure gain", lambda r: {"map_gain": _either(r, 0.04, 0.04)}, PRESSURE, "none"),
    Planted(
        "pressure gain and skew",
        lambda r: {"map_gain": _either(r, 0.04, 0.04), "skew": _either(r, 0.05, 0.08)},
        PRESSURE | SENSOR,
        "sensor",
    ),
    Planted(
        "leak",
        lambda r: {"leak_after_compressor": r.uniform(0.03, 0.06)},
        frozenset({"leak_after_compressor"}),
        "air_lost_behind_sensor",
    ),
    Planted(
        "pulsation",
        lambda r: {"pulsation": r.uniform(0.06, 0.12)},
        frozenset({"pulsation"}),
        "sensor",
    ),
)


def _own(case: Case, _rng: np.random.Generator) -> Case:
    return own_channels(case)


def _road(*driving: Driving, runs: int) -> Callable[[Case, np.random.Generator], Case]:
    def make(case: Case, rng: np.random.Generator) -> Case:
        return _with(case, rng, driving, runs)

    return make


def _with(case: Case, rng: np.random.Generator, driving: tuple[Driving, ...], runs: int) -> Case:
    return replace(
        case,
        driving=driving,
        n_before=runs,
        n_after=runs,
        sample_rate_hz=10.0,
        road_recirculation_frac=float(rng.uniform(0.25, 0.45)),
    )


MIXTURES = (
    (Driving.SWEEP, Driving.DRIVE, Driving.IDLE),
    (Driving.SWEEP, Driving.SWEEP, Driving.IDLE),
    (Driving.HOLD, Driving.DRIVE),
    (Driving.STEPS, Driving.SWEEP, Driving.IDLE),
)


def _mixture(case: Case, rng: np.random.Generator) -> Case:
    driving = MIXTURES[int(rng.integers(len(MIXTURES)))]
    return _with(case, rng, driving, len(driving))


KINDS = (
    Kind("own_channels", _own, DIESELS),
    Kind("holds", _road(Driving.HOLD, runs=2), ENGINES),
    Kind("steps", _road(Driving.STEPS, runs=2), ENGINES),
    Kind("drives", _road(Driving.DRIVE, runs=2), DIESELS),
    Kind("mixtures", _mixture, DIESELS),
)


def judge(campaign: SimulatedCampaign, planted: Planted) -> Outcome:
    """Compare one campaign and put its truth beside the answer."""
    answer, refused = None, ""
    try:
        answer = answer_of(compare_logs(campaign.before, campaign.after, campaign.setup))
    except InputError as error:
        refused = error.what
    sweep = campaign.engine.sweep
    window = answer.window_rpm if answer else None
    low, high = window or (sweep.start_rpm, sweep.end_rpm)
    matched = answer is not None and answer.interval("airflow_change") is not None
    # With matched full load the answer is about it; else about all that was driven.
    truth = campaign.truth if matched else campaign
    return Outcome(
        name=planted.name,
        skew=truth.skew(low, high),
        surplus=truth.surplus(low, high),
        change=campaign.truth.airflow_change(low, high) if matched else None,
        answer=answer,
        refused=refused,
    )


def _work(task: tuple[int, int, int, int, int]) -> list[Outcome]:
    kind_index, planted_index, engine_index, count, seed = task
    kind, planted = KINDS[kind_index], PLANTED[planted_index]
    rng = np.random.default_rng(seed)
    cases = [
        kind.make(
            Case(
                name=f"{kind.name}, {planted.name}",
                **{"ve_change": rng.normal(0.0, BREATHING_DRIFT), **planted.draw(rng)},  # type: ignore[arg-type]
            ),
            rng,
        )
        for _ in range(count)
    ]
    return [judge(c, planted) for c in simulate_campaigns(kind.engines[engine_index], cases, seed)]


def study(kind: Kind, campaigns: int, seed: int, names: Sequence[str]) -> list[Outcome]:
    """Run one set: as many campaigns of each planted effect, over the engines in turn."""
    place = KINDS.index(kind)
    chosen = [k for k, p in enumerate(PLANTED) if not names or p.name in names]
    each = ceil(campaigns / len(chosen))
    seeds = np.random.SeedSequence((seed, place)).generate_state(len(PLANTED) * len(kind.engines))
    tasks = []
    for k in chosen:
        for e in range(len(kind.engines)):
            count = len(range(e, each, len(kind.engines)))
            if count:
                tasks.append((place, k, e, count, int(seeds[k * len(kind.engines) + e])))
    with ProcessPoolExecutor() as pool:
        return [row for rows in pool.map(_work, tasks) for row in rows]


def _share(held: Sequence[bool | None]) -> str:
    """Return the share of those that are known, and `-` where none is."""
    known = [h for h in held if h is not None]
    return f"{np.mean(known):.2f}" if known else "-"


def _median(widths: Sequence[float]) -> str:
    known = [w for w in widths if np.isfinite(w)]
    return f"{100.0 * np.median(known):.2f}" if known else "-"


HEAD = (
    "planted", "n", "refused", "no match", "covers surplus", "covers skew", "covers change",
    "half-width surplus %", "skew %", "decided", "wrong", "reading right", "contradicted",
    "cause first", "first two", "verdicts",
)  # fmt: skip


def line(name: str, rows: Sequence[Outcome]) -> str:
    """Return one row of the table."""
    verdicts = Counter(r.answer.verdict for r in rows if r.answer)
    places = 2 if any(len(r.planted.causes) > 1 for r in rows) else 1
    cells = (
        name,
        str(len(rows)),
        str(sum(r.answer is None for r in rows)),
        str(sum(r.answer is not None and "no_match" in r.answer.findings for r in rows)),
        _share([r.covers("indicated_surplus", r.surplus) for r in rows]),
        _share([r.covers("sensor_skew", r.skew) for r in rows]),
        _share([r.covers("airflow_change", r.change) for r in rows]),
        _median([r.half_width("indicated_surplus") for r in rows]),
        _median([r.half_width("sensor_skew") for r in rows]),
        _share([r.decided for r in rows]),
        _share([r.wrong for r in rows]),
        _share([r.reading_right for r in rows if r.answer]),
        _share([r.contradicted for r in rows]),
        "-" if places > 1 else _share([r.named_within(1) for r in rows]),
        _share([r.named_within(2) for r in rows]),
        ", ".join(f"{w} {verdicts[w]}" for w in VERDICTS if verdicts[w]),
    )
    return "| " + " | ".join(cells) + " |"


def report(kind: Kind, rows: Sequence[Outcome]) -> str:
    """Return the table of one set as Markdown, and what was refused or wrong."""
    lines = [f"\n{kind.name}", "| " + " | ".join(HEAD) + " |", "|---" * len(HEAD) + "|"]
    for planted in PLANTED:
        own = [r for r in rows if r.planted.name == planted.name]
        if own:
            lines.append(line(planted.name, own))
    lines.append(line("all", rows))
    lines += [
        f"  refused: {what} ({n})" for what, n in Counter(r.refused for r in rows).items() if what
    ]
    lines += [
        f"  wrong: {r.planted.name}: {r.answer.verdict}, truth surplus {100 * r.surplus:+.2f} %, "
        f"{r.answer.intervals.get('indicated_surplus')}, change {r.change}"
        for r in rows
        if r.wrong and r.answer
    ]
    return "\n".join(lines)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=48)
    parser.add_argument("--set", default="all", choices=["all", *(k.name for k in KINDS)])
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--planted", default="")
    given = parser.parse_args()
    names = [n for n in given.planted.split(",") if n]
    for kind in KINDS:
        if given.set in {"all", kind.name}:
            start = time.perf_counter()
            rows = study(kind, given.campaigns, given.seed, names)
            print(report(kind, rows))
            print(f"{time.perf_counter() - start:.0f} s", flush=True)


if __name__ == "__main__":
    main()
