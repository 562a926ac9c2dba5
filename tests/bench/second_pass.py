"""Does the loop of the calibrator end? A table from a first pass, then the logs of a second.

Run as `python -m tests.bench.second_pass [CAMPAIGNS]`. Half of the pulls after the change give a
new table. Read again through it they must ask for nothing; the other half, which are new pulls of
the corrected sensor, must leave it as it is, with 1 inside the interval.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from airsense.jobs.rescale import rescale_logs
from airsense.jobs.rescaling.result import RescaleResult
from airsense.logs.log import Log
from airsense.transfer.decision import Decision
from airsense.transfer.model import TransferTable
from tests.bench.rescale_coverage import AS_DECLARED, table_of
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, Driving
from tests.simulate.engines import ENGINES

KINDS = {
    "sweeps": {"n_after": 6},
    "drives": {
        "driving": (Driving.DRIVE,),
        "n_before": 2,
        "n_after": 4,
        "sample_rate_hz": 10.0,
    },
}


@dataclass
class Passes:
    """Decisions of both passes; how far the same logs are off, and whether new ones hold 1."""

    decisions: Counter[str] = field(default_factory=Counter)
    off: list[float] = field(default_factory=list)
    holds: list[bool] = field(default_factory=list)

    def add(self, campaign: SimulatedCampaign) -> None:
        """Make both passes of one campaign."""
        old = table_of(campaign.engine)
        half = len(campaign.after) // 2

        def rescaled(logs: tuple[Log, ...], table: TransferTable) -> RescaleResult:
            return rescale_logs(
                logs,
                campaign.setup,
                table,
                baseline=campaign.before,
                baseline_table=old,
                max_step=0.25,
            )

        first = rescaled(campaign.after[:half], old)
        self.decisions[f"first {first.decision.value}"] += 1
        if first.decision is not Decision.CHANGE:
            return
        new = replace(old, flow_kgps=np.array([c.flow_new for c in first.cells]))
        same, fresh = (
            rescaled(logs, new) for logs in (campaign.after[:half], campaign.after[half:])
        )
        self.off.append(abs(same.scale.value - 1.0))
        self.holds.append(fresh.scale.contains(1.0))
        self.decisions[f"same {same.decision.value}"] += 1
        self.decisions[f"fresh {fresh.decision.value}"] += 1


def study(campaigns: int, kind: str, seed: int = 9) -> Passes:
    """Make both passes of campaigns of the three engines, with factors of -8 to +10 %."""
    rng = np.random.default_rng(seed)
    out = Passes()
    for k, engine in enumerate(ENGINES):
        cases = [
            Case(log_maf_signal=True, skew=rng.uniform(-0.08, 0.10), **AS_DECLARED, **KINDS[kind])
            for _ in range(len(range(k, campaigns, len(ENGINES))))
        ]
        for campaign in simulate_campaigns(engine, cases, 100 * seed + k):
            out.add(campaign)
    return out


if __name__ == "__main__":
    for name in KINDS:
        done = study(int(sys.argv[1]) if len(sys.argv) > 1 else 40, name)
        most = f"{100.0 * max(done.off):.2f} %" if done.off else "-"
        print(
            f"{name}: {dict(done.decisions)}; same logs off by at most {most}; "
            f"new ones hold 1 in {sum(done.holds)} of {len(done.holds)}"
        )
