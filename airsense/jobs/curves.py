"""What the figures of a result draw, from observations."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.evidence.curves import Curves, apparent_points, draw_curves
from airsense.evidence.matched import Matched
from airsense.jobs.observe import Observations
from airsense.setup.engine import EngineSetup


def curves_of(
    seen: Observations, matched: Matched | None, setup: EngineSetup, configuration: Sequence[str]
) -> Curves:
    """Return what the figures draw; `configuration` names that of each run, baseline first."""
    points = apparent_points(seen.runs, seen.shut, setup, configuration)
    if matched is None:
        return Curves(flows=(), repeats=(), apparent_ve=points)
    budgets = {name: per_run[0].budget for name, per_run in seen.estimates.items()}
    return draw_curves(matched.table, budgets, [configuration[k] for k in matched.run_of], points)
