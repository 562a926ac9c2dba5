"""Simulated campaigns of several intakes for tests: one engine, one session, known truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from airsense.logs.log import Log
from airsense.setup.campaign import Campaign, CampaignIntake, CampaignRun
from airsense.setup.engine import EngineSetup
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.demo import engine_toml
from tests.simulate.engine_model import EngineModel
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.truth import Truth
from tests.simulate.writing import write_csv

# No constant sensor errors and no soak: then runs of separately simulated pairs belong together.
SHARED = {"absolute_errors": 0.0, "heat_soak": False}


@dataclass(frozen=True)
class Session:
    """Logs by intake name; "A" is the baseline, and `truth` is that of the others against it."""

    setup: EngineSetup
    logs: dict[str, list[Log]]
    truth: dict[str, Truth]


def session(
    cases: Sequence[Case], seed: int, *, engine: EngineModel = TURBO_DIESEL, names: str = "BCDE"
) -> Session:
    """Simulate one session: runs of the baseline from every case, and those of each case."""
    done = simulate_campaigns(engine, cases, seed)
    logs = {"A": list(done[0].before)}
    logs |= {name: list(c.after) for name, c in zip(names, done, strict=False)}
    truth = {name: c.truth for name, c in zip(names, done, strict=False)}
    return Session(setup=done[0].setup, logs=logs, truth=truth)


def drifted(log: Log, factor: float) -> Log:
    """Return the log of an engine that breathes more by a factor: all routes see it alike."""
    moved = {
        name: replace(channel, value=channel.value * factor)
        for name, channel in log.channels.items()
        if name in {"mass_air_flow", "manifold_pressure", "fuel_per_stroke", "brake_power"}
    }
    return replace(log, channels={**log.channels, **moved})


def in_order(
    logs: dict[str, list[Log]], plan: str, *, drift_per_run: float = 0.0, tune: str = "t"
) -> tuple[list[Log], tuple[CampaignRun, ...]]:
    """Return logs and runs in the order of a plan such as "ABBA", with drift by order."""
    left = {name: list(own) for name, own in logs.items()}
    chosen = [
        drifted(left[name].pop(0), 1.0 + drift_per_run * k) for k, name in enumerate(plan, start=1)
    ]
    runs = tuple(
        CampaignRun(log=f"{k}.csv", intake=name, tune=tune, order=k)
        for k, name in enumerate(plan, start=1)
    )
    return chosen, runs


def campaign_of(runs: Sequence[CampaignRun], intakes: Sequence[CampaignIntake] = ()) -> Campaign:
    """Return a campaign with baseline "A"."""
    return Campaign(engine="engine.toml", baseline="A", run=tuple(runs), intake=tuple(intakes))


def write_campaign(folder: Path, logs: Sequence[Log], runs: Sequence[CampaignRun]) -> Path:
    """Write logs, engine.toml and campaign.toml; return the path of the last."""
    lines = ['engine = "engine.toml"', 'baseline = "A"']
    for log, run in zip(logs, runs, strict=True):
        path = write_csv(replace(log, path=Path(run.log).stem), folder)[0]
        lines += ["", "[[run]]", f'log = "{path.name}"', f'intake = "{run.intake}"']
        lines += [f'tune = "{run.tune}"', f"order = {run.order}"]
    (folder / "engine.toml").write_text(engine_toml(TURBO_DIESEL))
    target = folder / "campaign.toml"
    target.write_text("\n".join(lines) + "\n")
    return target
