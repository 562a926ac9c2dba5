"""How good is a rescaled table? Simulated tube changes on three engines, with known truth.

Run as a script: ``python -m tests.bench.rescale_coverage [CAMPAIGNS]``. Prints, for each kind of
case, the root mean square error of the measured breakpoints, how many of their 95 % intervals and
of those of held breakpoints hold the truth, the decisions, the named causes, and how often a
comparison of the same logs says something else of the reading.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from airsense.jobs.compare import compare_logs
from airsense.jobs.comparison.result import PairResult
from airsense.jobs.rescale import rescale_logs
from airsense.jobs.rescaling.result import RescaleResult
from airsense.transfer.model import SignalKind, TransferTable
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, Driving
from tests.simulate.engines import ENGINES
from tests.simulate.sensor import rescaled_table, transfer_table


@dataclass
class Score:
    """What came out over the campaigns of one kind."""

    errors: list[float] = field(default_factory=list)
    written: list[float] = field(default_factory=list)
    hits: list[bool] = field(default_factory=list)
    held_hits: list[bool] = field(default_factory=list)
    half_widths: list[float] = field(default_factory=list)
    measured: list[int] = field(default_factory=list)
    words: Counter = field(default_factory=Counter)
    monotone: bool = True
    contradictions: int = 0

    def line(self, name: str) -> str:
        def of(values: list, how) -> str:
            return f"{100.0 * how(values):5.1f}" if values else "    -"

        def rms(values: list) -> float:
            return float(np.sqrt(np.mean(np.square(values))))

        return (
            f"{name:28s} rms {of(self.errors, rms)} % (written {of(self.written, rms)} %)  "
            f"covered {of(self.hits, np.mean)} %  "
            f"held {of(self.held_hits, np.mean)} %  "
            f"half-width {of(self.half_widths, np.median)} %  "
            f"measured {np.mean(self.measured):4.1f}  contradictions {self.contradictions}  "
            f"{dict(self.words)}"
        )


def table_of(engine) -> TransferTable:
    """The simulator's table as it would be read from a file."""
    made = transfer_table(engine)
    return TransferTable(
        signal=made.signal_v,
        flow_kgps=made.mdot_kgps,
        kind=SignalKind.VOLTAGE,
        flow_unit="kg/s",
        flow_factor=1.0,
    )


def score(campaign: SimulatedCampaign, score: Score) -> RescaleResult:
    """Rescale one campaign and add it to the score."""
    table = table_of(campaign.engine)
    result = rescale_logs(
        campaign.after, campaign.setup, table, baseline=campaign.before, max_step=0.25
    )
    true = rescaled_table(campaign.engine, campaign.case).mdot_kgps
    measured = 0
    for cell, flow in zip(result.cells, true, strict=True):
        truth = flow / cell.flow_old if cell.flow_old > 0.0 else np.nan
        if cell.support.value == "held" and result.decision.value != "refused" and truth > 0.0:
            score.held_hits.append(cell.low <= truth <= cell.high)
        if cell.support.value != "measured":
            continue
        measured += 1
        score.errors.append(cell.correction / truth - 1.0)
        if result.decision.value == "change":
            score.written.append(score.errors[-1])
        score.hits.append(cell.low <= truth <= cell.high)
        score.half_widths.append(0.5 * (cell.high - cell.low))
    score.measured.append(measured)
    score.words[result.decision.value] += 1
    score.words[result.model.value] += 1
    for finding in result.findings:
        if finding.severity.value == "error":
            score.words[finding.code] += 1
    pair = compare_logs(campaign.before, campaign.after, campaign.setup).pairs[0]
    score.contradictions += contradicts(pair, result)
    new = np.array([cell.flow_new for cell in result.cells])
    score.monotone &= bool(np.all(np.diff(new) > 0.0))
    return result


def contradicts(pair: PairResult, result: RescaleResult) -> bool:
    """Whether a comparison of the same logs says that the reading did not change, or not surely."""
    quiet = pair.verdict.value in {"no_change", "undetermined"}
    changed = pair.reading_cause.value in {"sensor", "air_lost_behind_sensor"}
    said = result.decision.value
    if pair.reading_cause.value == "air_lost_behind_sensor":
        return said != "refused"
    return (quiet and said == "change") or (changed and said == "leave_it")


DRIVES = {"driving": (Driving.DRIVE,), "n_before": 2, "n_after": 2, "sample_rate_hz": 10.0}

Make = Callable[[np.random.Generator], dict[str, Any]]


def kinds() -> dict[str, Make]:
    """The kinds of campaign; each draws its own sizes."""
    return {
        "no change": lambda rng: {},
        "scale": lambda rng: {"skew": rng.uniform(-0.08, 0.10)},
        "scale, no lambda": lambda rng: {"skew": rng.uniform(-0.08, 0.10), "log_lambda": False},
        "scale and gain": lambda rng: {
            "skew": rng.uniform(-0.08, 0.10),
            "boost_change": rng.uniform(0.0, 0.05),
        },
        "shape": lambda rng: {
            "skew": rng.uniform(-0.05, 0.05),
            "skew_shape": rng.uniform(-0.05, 0.05),
        },
        "shape, no lambda": lambda rng: {
            "skew": rng.uniform(-0.05, 0.05),
            "skew_shape": rng.uniform(-0.05, 0.05),
            "log_lambda": False,
        },
        "leak 5 %": lambda rng: {"leak_after_compressor": 0.05},
        "leak 5 %, no lambda": lambda rng: {"leak_after_compressor": 0.05, "log_lambda": False},
        "pressure gain": lambda rng: {"map_gain": rng.choice([-0.2, -0.08, 0.08])},
        "pressure gain, no lambda": lambda rng: {
            "map_gain": rng.choice([-0.2, -0.08, 0.08]),
            "log_lambda": False,
        },
        "drive, no change": lambda rng: DRIVES,
        "drive, scale": lambda rng: {"skew": rng.uniform(-0.08, 0.10), **DRIVES},
        "drive, shape": lambda rng: {
            "skew": rng.uniform(-0.05, 0.05),
            "skew_shape": rng.uniform(-0.05, 0.05),
            **DRIVES,
        },
        "drive, leak": lambda rng: {"leak_after_compressor": rng.uniform(0.03, 0.06), **DRIVES},
        "drive, pulsation": lambda rng: {"pulsation": rng.uniform(0.06, 0.12), **DRIVES},
        "drive, pressure gain": lambda rng: {"map_gain": rng.choice([-0.04, 0.04]), **DRIVES},
    }


# The simulator's own drifts between the configurations are 0.6 of the default uncertainties; with
# this factor the defaults are true, and 95 % intervals have to hold the truth in 95 %.
AS_DECLARED = {"drift": 1.65, "scatter": 1.4}


def campaigns_of(
    number: int, make: Make, campaigns: int, seed: int, drifts: dict[str, float]
) -> Iterator[SimulatedCampaign]:
    """Yield so many campaigns of the kind of that number, over the engines in turn."""
    rng = np.random.default_rng([seed, number])
    for k, engine in enumerate(ENGINES):
        count = len(range(k, campaigns, len(ENGINES)))
        cases = [Case(log_maf_signal=True, **drifts, **make(rng)) for _ in range(count)]
        yield from simulate_campaigns(engine, cases, 100 * seed + 10 * number + k)


def study(
    campaigns: int, seed: int = 4, *, only: str = "", as_declared: bool = True
) -> dict[str, Score]:
    """Run all kinds; `campaigns` of each, over the three engines in turn."""
    drifts = AS_DECLARED if as_declared else {}
    out = {}
    for number, (name, make) in enumerate(kinds().items()):
        if only and only != name:
            continue
        score_of = Score()
        for campaign in campaigns_of(number, make, campaigns, seed, drifts):
            score(campaign, score_of)
        out[name] = score_of
    return out


if __name__ == "__main__":
    began = time.perf_counter()
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    for declared in (True, False):
        print("drifts as declared" if declared else "drifts of the simulator, 0.6 of the declared")
        for label in sys.argv[2:] or kinds():
            one = study(number, only=label, as_declared=declared)[label]
            print(one.line(label), "" if one.monotone else "NOT MONOTONE", flush=True)
    print(f"{time.perf_counter() - began:.0f} s")
