"""How the answers stand on campaigns of a plain engine that nothing was fitted to.

Run as a script: ``python -m tests.bench.plain_campaigns [CAMPAIGNS] [SEED] ["KIND;KIND"]``. Prints
by kind how many intervals hold the truth, their median half-width, the words, and which were wrong.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import airsense
from airsense.jobs.comparison.result import CompareResult, PairResult
from airsense.results import Interval
from tests.bench.plain_engine import Campaign, Plan, campaign_of

LAWS = ("absolute", "gauge", "ratio_ambient", "ratio_inlet")
HELD_LAWS = LAWS[:3]
SKEWS, MORE_SKEWS = (-0.06, 0.06), (-0.06, 0.0, 0.06)
Draw = Callable[[np.random.Generator], Plan]


def _skewed(**how: object) -> Draw:
    return lambda r: Plan(skew=r.choice(SKEWS), **how)


def _maybe_skewed(**how: object) -> Draw:
    return lambda r: Plan(skew=r.choice(MORE_SKEWS), **how)


KINDS: dict[str, Draw] = {
    "own channels": lambda r: Plan(),
    "own, skew": _skewed(),
    "own, skew and demand": lambda r: Plan(skew=r.choice(SKEWS), demand=r.uniform(0.02, 0.08)),
    "own, pressure sensor": lambda r: Plan(pressure_gain=r.choice((-0.04, 0.04))),
    "own, pressure and skew": lambda r: Plan(
        pressure_gain=r.choice((-0.04, 0.04)), skew=r.choice(SKEWS)
    ),
    "own, leak": lambda r: Plan(leak=r.uniform(0.03, 0.07)),
    "no rest": _skewed(rest=False),
    "lambda": _skewed(lambda_logged=True, rest=False),
    "one pull each": _maybe_skewed(lambda_logged=True, rest=False, repeats=1),
    "petrol": _skewed(lambda_logged=True, petrol=True),
    "weather": lambda r: Plan(weather=True, law=r.choice(LAWS)),
    "weather and relief": lambda r: Plan(
        weather=True, relief=r.uniform(0.2, 0.9), law=r.choice(LAWS), depression_logged=True
    ),
    "relief, declared": lambda r: Plan(
        relief=r.uniform(0.4, 0.9), law=r.choice(LAWS), law_declared=True
    ),
    "demand logged": lambda r: Plan(
        weather=True, demand=r.uniform(0.0, 0.1), demand_logged=True, law=r.choice(HELD_LAWS)
    ),
    "hold": _skewed(drive="hold", lambda_logged=True),
    "steps": _skewed(drive="steps", lambda_logged=True),
    "drive": _maybe_skewed(drive="drive", repeats=2),
    "drive, lambda": _maybe_skewed(drive="drive", repeats=2, lambda_logged=True),
    "drive, no pedal": _maybe_skewed(drive="drive", repeats=2, pedal=False),
    "drive, petrol": _maybe_skewed(drive="drive", repeats=2, petrol=True),
    "charge in the inlet's name": _maybe_skewed(temperature="charge in the inlet's name"),
    "inlet alone": _maybe_skewed(temperature="inlet alone"),
    "charge alone, weather": lambda r: Plan(weather=True, temperature="charge alone"),
    "US units": _skewed(us_units=True, rest=False, lambda_logged=True),
    "US units, no barometer": _skewed(us_units=True, barometer=False),
    "polled": _skewed(polled=True),
    "hose off": _maybe_skewed(hose_off=True),
    "hose off, lambda": _maybe_skewed(hose_off=True, lambda_logged=True),
    "second tune": lambda r: Plan(second_tune=True, demand=r.uniform(0.05, 0.12)),
    "second tune, weather": lambda r: Plan(
        second_tune=True, weather=True, law=r.choice(LAWS), lambda_logged=True
    ),
}
QUANTITIES = {
    "skew": "sensor_skew",
    "change": "airflow_change",
    "weather": "airflow_change_weather",
    "intake": "airflow_change_intake",
    "demand": "airflow_change_demand",
}


def campaigns(kind: str, count: int, seed: int) -> Iterator[Campaign]:
    """Yield so many campaigns of a kind."""
    for k in range(count):
        rng = np.random.default_rng([seed, k, *kind.encode()])
        yield campaign_of(rng, KINDS[kind](rng))


def compared(campaign: Campaign) -> CompareResult:
    """Return the answer to a campaign."""
    with tempfile.TemporaryDirectory() as folder:
        engine = Path(folder) / "engine.toml"
        engine.write_text(campaign.engine_toml)
        tunes = ("first", "second") if campaign.plan.second_tune else None
        return airsense.compare(campaign.before, campaign.after, engine, tunes=tunes)


def intervals(pair: PairResult, campaign: Campaign) -> dict[str, tuple[Interval, float]]:
    """Return each interval that was given, with the truth."""
    given = {name: getattr(pair, key) for name, key in QUANTITIES.items()}
    return {n: (i, campaign.truth[n]) for n, i in given.items() if i is not None}


def held(interval: Interval, truth: float) -> bool:
    """Whether the interval holds the truth, to rounding."""
    return interval.low - 1e-4 <= truth <= interval.high + 1e-4


# Words and causes, and when each is confidently wrong: by truth, and whether air was lost.
WRONG: dict[str, Callable[[dict[str, float], bool], bool]] = {
    "gain_supported": lambda t, lost: t["intake"] < 0.003,
    "partly_supported": lambda t, lost: t["intake"] < 0.003,
    "loss_supported": lambda t, lost: t["intake"] > -0.003,
    "gain_elsewhere": lambda t, lost: t["intake"] > 0.6 * t["change"],
    "reading_only": lambda t, lost: abs(t["skew"]) < 0.004 and not lost,
    "no_change": lambda t, lost: max(abs(t["skew"]), abs(t["intake"])) > 0.015,
    "tune_gain_supported": lambda t, lost: t["demand"] < 0.003,
    "tune_no_gain": lambda t, lost: t["demand"] > 0.015,
    "sensor": lambda t, lost: abs(t["skew"]) < 0.004,
    "air_lost_behind_sensor": lambda t, lost: not lost,
    "none": lambda t, lost: abs(t["skew"]) > 0.015,
}


def wrong(pair: PairResult, campaign: Campaign) -> list[str]:
    """Return the words that claim what is not so."""
    said = (pair.verdict.value, pair.reading_cause.value)
    lost = campaign.plan.leak > 0.0
    return [word for word in said if word in WRONG and WRONG[word](campaign.truth, lost)]


def study(kind: str, count: int, seed: int) -> str:
    """Return a line of the table."""
    words: Counter[str] = Counter()
    false: Counter[str] = Counter()
    hits: dict[str, list[bool]] = {name: [] for name in QUANTITIES}
    widths: dict[str, list[float]] = {name: [] for name in QUANTITIES}
    for own in campaigns(kind, count, seed):
        (pair,) = compared(own).pairs
        words.update((pair.verdict.value, pair.reading_cause.value))
        false.update(wrong(pair, own))
        for name, (interval, truth) in intervals(pair, own).items():
            hits[name].append(held(interval, truth))
            widths[name].append(interval.half_width)
    cells = [
        f"{name} {sum(hits[name])}/{len(hits[name])} {100.0 * np.median(widths[name]):.1f} %"
        if hits[name]
        else f"{name} -"
        for name in QUANTITIES
    ]
    return f"{kind:27s} {'  '.join(cells)}  {dict(words)}  wrong {dict(false)}"


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    start = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    for label in sys.argv[3].split(";") if len(sys.argv) > 3 else KINDS:
        print(study(label, number, start), flush=True)
