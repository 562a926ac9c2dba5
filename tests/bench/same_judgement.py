"""Same logs, same judgement: does a pair of commands contradict each other?

Run as `python -m tests.bench.same_judgement [CAMPAIGNS]`: so many campaigns of every kind of
`rescale_coverage`. A comparison, a rescaling with baseline and a check of each side read the same
logs. That a plan promises what a comparison gives is measured in `test_plan_simulated`.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import log1p

import numpy as np

from airsense.jobs.check import CheckResult, CheckVerdict, check_logs
from airsense.jobs.compare import compare_logs
from airsense.jobs.comparison.result import PairResult
from airsense.jobs.rescale import rescale_logs
from airsense.jobs.rescaling.result import RescaleResult
from airsense.results import Interval
from airsense.transfer.decision import Decision
from tests.bench.rescale_coverage import AS_DECLARED, campaigns_of, contradicts, kinds, table_of
from tests.simulate.campaign import SimulatedCampaign


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the commands say of one campaign."""

    pair: PairResult
    rescaled: RescaleResult
    before: CheckResult
    after: CheckResult

    def contradictions(self) -> Iterator[str]:
        """Yield the pairs of commands that cannot both be right."""
        skew = self.pair.sensor_skew
        if contradicts(self.pair, self.rescaled):
            yield "compare and rescale, in words"
        if self.rescaled.decision is Decision.CHANGE and skew is not None:
            # A table is multiplied by what the reading has to be divided by.
            wanted = Interval(*(1.0 / (1.0 + x) - 1.0 for x in (skew.value, skew.high, skew.low)))
            scale = self.rescaled.scale
            if not overlap(wanted, Interval(scale.value - 1.0, scale.low - 1.0, scale.high - 1.0)):
                yield "compare and rescale, in figures"
        apart = change_of(self.before.sensor_error, self.after.sensor_error)
        if skew is not None and apart is not None and not overlap(skew, apart):
            yield "compare and check, in figures"
        fresh = (
            self.before.verdict is CheckVerdict.PLAUSIBLE
            and self.after.verdict is CheckVerdict.IMPLAUSIBLE
        )
        if fresh and self.pair.reading_cause.value == "none":
            yield "compare and check, in words"
        if fresh and self.rescaled.decision is Decision.LEAVE_IT:
            yield "check and rescale, in words"


def overlap(a: Interval, b: Interval) -> bool:
    """Return whether two intervals share a value."""
    return a.low <= b.high and b.low <= a.high


def change_of(before: Interval | None, after: Interval | None) -> Interval | None:
    """Return the change between two levels: what both have wrong in common cannot be told here."""
    if before is None or after is None:
        return None
    ln = log1p(after.value) - log1p(before.value)
    half = np.hypot(before.half_width, after.half_width)
    return Interval(*(float(np.expm1(ln + s * half)) for s in (0.0, -1.0, 1.0)))


@dataclass
class Score:
    """Contradictions of one kind, and the words that were said."""

    campaigns: int = 0
    found: Counter[str] = field(default_factory=Counter)
    words: Counter[str] = field(default_factory=Counter)

    def add(self, said: Said) -> None:
        """Count one campaign."""
        self.campaigns += 1
        self.found.update(said.contradictions())
        self.words[f"compare {said.pair.reading_cause.value}"] += 1
        self.words[f"rescale {said.rescaled.decision.value}"] += 1
        self.words[f"check {said.after.verdict.value}"] += 1


def ask(campaign: SimulatedCampaign) -> Said:
    """Ask all commands about one campaign."""
    setup = campaign.setup
    return Said(
        pair=compare_logs(campaign.before, campaign.after, setup).pairs[0],
        rescaled=rescale_logs(
            campaign.after, setup, table_of(campaign.engine), baseline=campaign.before,
            max_step=0.25,
        ),
        before=check_logs(campaign.before, setup),
        after=check_logs(campaign.after, setup),
    )  # fmt: skip


def study(campaigns: int, seed: int = 8) -> dict[str, Score]:
    """Ask about so many campaigns of each kind, over the engines in turn."""
    out = {}
    for number, (name, make) in enumerate(kinds().items()):
        score = Score()
        for campaign in campaigns_of(number, make, campaigns, seed, AS_DECLARED):
            score.add(ask(campaign))
        said = f"{dict(score.found)}  {dict(score.words)}"
        print(f"{name:28s} {score.campaigns:3d}  {said}", flush=True)
        out[name] = score
    return out


if __name__ == "__main__":
    scores = study(int(sys.argv[1]) if len(sys.argv) > 1 else 7).values()
    total = sum(s.campaigns for s in scores)
    print(f"{sum(sum(s.found.values()) for s in scores)} contradictions in {total} campaigns")
