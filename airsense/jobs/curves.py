"""What the figures of a result draw, from runs made ready."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.evidence.curves import Curves, apparent_points, draw_curves
from airsense.jobs.pairing import Ready
from airsense.setup.engine import EngineSetup


def curves_of(ready: Ready, setup: EngineSetup, configuration: Sequence[str]) -> Curves:
    """Return what the figures draw; `configuration` names that of each run, baseline first."""
    return draw_curves(
        ready.table,
        ready.budgets,
        [configuration[k] for k in ready.run_of_segment],
        apparent_points(ready.runs, setup, configuration),
    )
