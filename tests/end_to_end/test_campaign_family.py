"""The intake's parts of several pairs: counted over simulated campaigns."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.jobs.campaign import compare_campaign
from tests.campaign_logs import SHARED, campaign_of, in_order, session
from tests.simulate.case import Case
from tests.simulate.engines import ENGINES

pytestmark = pytest.mark.slow

CAMPAIGNS_AN_ENGINE = 5
ORDER = "ABCDDCBAABCD"


def test_the_intakes_parts_of_a_campaign_hold_what_is_true() -> None:
    rng = np.random.default_rng(11)
    held: list[bool] = []
    best: list[float] = []
    for k in range(CAMPAIGNS_AN_ENGINE * len(ENGINES)):
        cases = [
            Case(
                skew=float(rng.choice([0.0, 0.03, -0.03])),
                restriction_before=4.0,
                restriction_factor=float(rng.choice([1.0, 0.6, 0.3])),
                log_depression=True,
                **SHARED,
            )
            for _ in range(3)
        ]
        made = session(cases, seed=200 + k, engine=ENGINES[k % len(ENGINES)])
        logs, runs = in_order(made.logs, ORDER)
        found = compare_campaign(campaign_of(runs), logs, made.setup)
        window = found.window.engine_speed_rpm
        air = {"A": 0.0} | {n: t.airflow_change(*window) for n, t in made.truth.items()}
        for pair in found.pairs:
            assert pair.airflow_change_intake is not None
            held.append(pair.airflow_change_intake.contains(air[pair.intake]))
        top = max(air, key=lambda n: air[n])
        best.append(next(r.probability_best for r in found.ranking if r.intake == top))
    count = len(held)
    # 95 % less three standard deviations, the pairs of a campaign counted as one of three.
    assert sum(held) >= 0.95 * count - 3.0 * np.sqrt(0.95 * 0.05 * count), (sum(held), count)
    # The intake that is best in truth gets more than the quarter of a blind guess.
    assert np.mean(best) > 0.3
