"""What a plan promises is what a comparison of simulated logs then gives."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.evidence.planning.resolution import Wish, forecast, look
from airsense.evidence.planning.states import PlannedQuantity, Template
from airsense.evidence.verdict import ReadingCause, Verdict
from airsense.jobs.compare import compare_logs
from airsense.jobs.observe import make_runs
from airsense.jobs.planning.pilot import channels_of, pilot_of
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case, own_channels
from tests.simulate.engine_model import EngineModel
from tests.simulate.engines import LARGE_TURBO_DIESEL, TURBO_DIESEL, TURBO_PETROL

pytestmark = pytest.mark.slow

WITHIN = 0.15
CAMPAIGNS = 8
CASES = {
    "lambda": Case(),
    "no lambda": Case(log_lambda=False),
    "own channels": own_channels(Case()),
}
READ = (
    PlannedQuantity.INDICATED_SURPLUS,
    PlannedQuantity.SENSOR_SKEW,
    PlannedQuantity.AIRFLOW_CHANGE,
)


def pilot_from(made: SimulatedCampaign, runs: int) -> Template:
    found = pilot_of(make_runs(made.before[:runs], made.setup), made.setup)
    assert found is not None
    return found


def check(engine: EngineModel, case: Case, campaigns: int) -> None:
    made = simulate_campaigns(engine, [case] * campaigns, 3)
    pairs = [compare_logs(c.before, c.after, c.setup).pairs[0] for c in made]
    pilots = [pilot_from(c, 1) for c in made[:2]]
    for quantity in READ:
        reported = [getattr(p, quantity.value).half_width for p in pairs]
        planned = [look(p, quantity, 3).half_width(0.95) for p in pilots]
        assert np.mean(planned) == pytest.approx(float(np.median(reported)), rel=WITHIN)


@pytest.mark.parametrize("engine", [TURBO_DIESEL, LARGE_TURBO_DIESEL, TURBO_PETROL])
@pytest.mark.parametrize("name", CASES)
def test_the_promised_interval_is_that_of_compare(engine: EngineModel, name: str) -> None:
    check(engine, CASES[name], CAMPAIGNS)


def test_a_promised_claim_is_made() -> None:
    quantity, wish = PlannedQuantity.INDICATED_SURPLUS, Wish()
    first = simulate_campaigns(TURBO_DIESEL, [CASES["own channels"]], 3)[0]
    promised = forecast(pilot_from(first, 3), quantity, 3, wish).detectable_change
    made = simulate_campaigns(TURBO_DIESEL, [own_channels(Case(skew=promised))] * 20, 9)
    pairs = [compare_logs(c.before, c.after, c.setup).pairs[0] for c in made]
    shown = [
        p.verdict is Verdict.READING_ONLY or p.reading_cause is not ReadingCause.OPEN for p in pairs
    ]
    # 90 % are promised; of twenty, fewer than 14 in less than one case of 400.
    assert sum(shown) >= 14


def test_pilot_logs_teach_channels_and_scatter() -> None:
    widths = []
    for scatter in (0.2, 4.0):
        case = Case(n_before=4, n_after=1, scatter=scatter)
        made = simulate_campaigns(TURBO_DIESEL, [case], 5)[0]
        channels = channels_of(make_runs(made.before, made.setup))
        assert {"mass_air_flow", "manifold_pressure", "charge_temperature", "lambda"} <= channels
        template = pilot_from(made, 4)
        widths.append(look(template, PlannedQuantity.AIRFLOW_CHANGE, 3).half_width(0.95))
    assert widths[1] > 1.5 * widths[0]


def test_a_pilot_with_seconds_at_rest_plans_with_them() -> None:
    made = simulate_campaigns(TURBO_DIESEL, [CASES["own channels"]], 3)[0]
    assert pilot_from(made, 1).rest.size == 2
    bare = simulate_campaigns(TURBO_DIESEL, [Case(log_lambda=False)], 3)[0]
    assert pilot_from(bare, 1).rest.size == 0
