"""How good is a rescaled table? Simulated tube changes on three engines, with known truth.

Run as a script: ``python -m tests.bench.rescale_coverage [CAMPAIGNS]``. Prints, for each kind of
case, the root mean square error of the measured breakpoints, how many of their 95 % intervals hold
the truth, the verdicts and the named causes.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from airsense.jobs.rescale import rescale_logs
from airsense.simulate.campaign import SimulatedCampaign, simulate_campaigns
from airsense.simulate.case import Case
from airsense.simulate.engines import ENGINES
from airsense.simulate.sensor import rescaled_table, transfer_table
from airsense.transfer.model import SignalKind, TransferTable
from airsense.transfer.result import RescaleResult


@dataclass
class Score:
    """What came out over the campaigns of one kind."""

    errors: list[float] = field(default_factory=list)
    hits: list[bool] = field(default_factory=list)
    half_widths: list[float] = field(default_factory=list)
    measured: list[int] = field(default_factory=list)
    words: Counter = field(default_factory=Counter)
    monotone: bool = True

    def line(self, name: str) -> str:
        rms = 100.0 * float(np.sqrt(np.mean(np.square(self.errors))))
        return (
            f"{name:28s} rms {rms:5.2f} %  covered {100.0 * np.mean(self.hits):5.1f} %  "
            f"half-width {100.0 * np.median(self.half_widths):4.2f} %  "
            f"measured {np.mean(self.measured):4.1f}  {dict(self.words)}"
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
        if cell.support.value != "measured":
            continue
        measured += 1
        truth = flow / cell.flow_old
        score.errors.append(cell.correction / truth - 1.0)
        score.hits.append(cell.low <= truth <= cell.high)
        score.half_widths.append(0.5 * (cell.high - cell.low))
    score.measured.append(measured)
    score.words[result.decision.value] += 1
    score.words[result.model.value] += 1
    for finding in result.findings:
        if finding.severity.value == "error":
            score.words[finding.code] += 1
    new = np.array([cell.flow_new for cell in result.cells])
    score.monotone &= bool(np.all(np.diff(new) > 0.0))
    return result


Make = Callable[[np.random.Generator], dict[str, float]]


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
    }


# The simulator's own drifts between the configurations are 0.6 of the default uncertainties; with
# this factor the defaults are true, and 95 % intervals have to hold the truth in 95 %.
AS_DECLARED = {"drift": 1.65, "scatter": 1.4}


def study(
    campaigns: int, seed: int = 4, *, only: str = "", as_declared: bool = True
) -> dict[str, Score]:
    """Run all kinds; `campaigns` of each, over the three engines in turn."""
    drifts = AS_DECLARED if as_declared else {}
    out = {}
    for number, (name, make) in enumerate(kinds().items()):
        if only and only != name:
            continue
        rng = np.random.default_rng([seed, number])
        score_of = Score()
        for k, engine in enumerate(ENGINES):
            count = len(range(k, campaigns, len(ENGINES)))
            cases = [Case(log_maf_signal=True, **drifts, **make(rng)) for _ in range(count)]
            for campaign in simulate_campaigns(engine, cases, 100 * seed + 10 * number + k):
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
