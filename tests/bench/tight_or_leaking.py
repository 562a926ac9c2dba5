"""Does a pressure test of the charge pipe settle whether the sensor or lost air is to blame?

Run as `python -m tests.bench.tight_or_leaking [CAMPAIGNS]`: so many campaigns of each engine on
workshop channels without lambda, half with a skew and a tight pipe, half with a leak and its loss.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from airsense.jobs.compare import compare_logs
from airsense.jobs.comparison.result import CompareResult
from airsense.setup.measured import ChargePipePressureTest
from tests.bench.coverage_cases import BREATHING_DRIFT
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, own_channels
from tests.simulate.engines import ENGINES

SKEWS, LEAKS = (-0.06, -0.05, 0.05, 0.06, 0.08), (0.03, 0.05, 0.08)
# A loss is read with this scatter, as far as the likelihood allows it.
READ = 0.1
TOP_RPM = 300.0
WHAT, AFTER = "charge_pipe_pressure_test", "after"
TIGHT = ChargePipePressureTest(what=WHAT, configuration=AFTER, result="tight")


def loss_of(
    campaign: SimulatedCampaign, high_rpm: float, *, scatter: float = 0.0
) -> ChargePipePressureTest:
    """Return what a test at full boost would find: the share lost, of the flow at the top speed."""
    log = campaign.after[0]
    boost_pa = float(np.max(log["manifold_pressure"].value)) - 1.0e5
    flow_gps = 1e3 * float(np.quantile(log["mass_air_flow"].value, 0.95))
    top = high_rpm - TOP_RPM, high_rpm
    lost = (1.0 + campaign.surplus(*top)) / (1.0 + campaign.skew(*top)) - 1.0
    return ChargePipePressureTest(
        what=WHAT,
        configuration=AFTER,
        loss_gps=max(flow_gps * lost / (1.0 + lost) * (1.0 + scatter), 0.0),
        at_boost_kpa=1e-3 * boost_pa,
    )


def answer_with(campaign: SimulatedCampaign, *made: ChargePipePressureTest) -> CompareResult:
    """Return the answer with the results of tests, or without any."""
    setup = campaign.setup.model_copy(update={"measured": made})
    return compare_logs(campaign.before, campaign.after, setup)


@dataclass
class Score:
    """Words after the test; whether skew and surplus lie inside."""

    words: Counter[str] = field(default_factory=Counter)
    skew: list[bool] = field(default_factory=list)
    surplus: list[bool] = field(default_factory=list)

    def add(self, campaign: SimulatedCampaign, result: CompareResult) -> None:
        """Add one campaign."""
        pair, window = result.pairs[0], result.window.engine_speed_rpm
        assert pair.sensor_skew is not None and pair.indicated_surplus is not None
        self.words[pair.reading_cause.value] += 1
        self.skew.append(pair.sensor_skew.contains(campaign.skew(*window)))
        self.surplus.append(pair.indicated_surplus.contains(campaign.surplus(*window)))

    def line(self) -> str:
        """Return the score in one line."""
        held = f"skew held {np.mean(self.skew):.3f}, surplus {np.mean(self.surplus):.3f}"
        return f"{dict(self.words)}; {held}"


def study(campaigns: int, seed: int = 900) -> dict[str, Score]:
    """Test the pipe of so many campaigns of each kind and engine."""
    out = {"tight": Score(), "leak": Score()}
    for number, engine in enumerate(ENGINES):
        rng = np.random.default_rng(seed + number)
        planted = [{"skew": float(rng.choice(SKEWS))} for _ in range(campaigns)]
        planted += [{"leak_after_compressor": float(rng.choice(LEAKS))} for _ in range(campaigns)]
        cases = [
            own_channels(Case(ve_change=rng.normal(0.0, BREATHING_DRIFT), **p))  # type: ignore[arg-type]
            for p in planted
        ]
        for made in simulate_campaigns(engine, cases, seed + number):
            leaks = made.case.leak_after_compressor > 0.0
            scatter = READ * float(rng.standard_normal())
            told = TIGHT
            if leaks:
                _, high_rpm = answer_with(made).window.engine_speed_rpm
                told = loss_of(made, high_rpm, scatter=scatter)
            out["leak" if leaks else "tight"].add(made, answer_with(made, told))
    return out


if __name__ == "__main__":
    for name, score in study(int(sys.argv[1]) if len(sys.argv) > 1 else 10).items():
        print(f"{name:6s} {score.line()}")
