"""Planned half-widths against simulated ones: from drawn effects, and from simulated logs."""

import numpy as np
import pytest

from airsense.evidence.planning import PlannedQuantity, Wish, forecast, weights_of
from airsense.evidence.planning_channels import Pilot, rows_for
from airsense.jobs.compare import compare_logs
from airsense.jobs.pairing import make_runs
from airsense.jobs.pilot import channels_of, pilot_of
from airsense.setup.engine import EngineSetup
from airsense.simulate.campaign import simulate_campaigns
from airsense.simulate.case import Case
from airsense.simulate.engines import LARGE_TURBO_DIESEL, TURBO_DIESEL, TURBO_PETROL

WITHIN = 0.15
SETUP = EngineSetup.model_validate(
    {"engine": {"displacement_l": 2.0, "cylinders": 4, "ignition": "compression"}}
)
CHANNEL_SETS = {
    "all": frozenset(
        {
            "engine_speed", "mass_air_flow", "manifold_pressure", "charge_temperature",
            "barometric_pressure", "fuel_mass_flow", "lambda", "brake_power",
        }
    ),
    "boost only": frozenset({"engine_speed", "mass_air_flow", "boost_pressure"}),
    "fuel and lambda": frozenset({"engine_speed", "mass_air_flow", "fuel_per_stroke", "lambda"}),
}  # fmt: skip


def order_of(runs, alternating):
    return np.array([k % 2 for k in range(2 * runs)] if alternating else [0] * runs + [1] * runs)


def simulated_errors(rows, quantity, runs, alternating, *, campaigns=20_000, seed=11):
    """Draw campaigns run by run, with scatter that has longer tails than the plan knows of.

    One speed bin is drawn: the mean over bins is exact algebra, tested elsewhere.
    """
    rng = np.random.default_rng(seed)
    after = order_of(runs, alternating)
    weights = weights_of(rows, quantity, runs, alternating=alternating)
    total = np.zeros(campaigns)
    for effect in rows.effects:
        s = float(effect.sensitivity @ weights)
        # Student's t with 8 degrees of freedom, scaled to unit variance.
        tails = rng.standard_t(8.0, (campaigns, 2 * runs)) * (6.0 / 8.0) ** 0.5
        per_run = effect.run * tails
        change = per_run[:, after == 1].mean(axis=1) - per_run[:, after == 0].mean(axis=1)
        tied = effect.key in {"volumetric_efficiency", "brake_efficiency", "bore"}
        draws = runs if alternating and not tied else 1
        drifts = effect.between * rng.normal(0.0, 1.0, (campaigns, draws))
        total += s * (change + drifts.mean(axis=1))
    return total


@pytest.mark.parametrize("channels", CHANNEL_SETS)
@pytest.mark.parametrize("quantity", list(PlannedQuantity)[:2])
@pytest.mark.parametrize(("runs", "alternating"), [(1, False), (3, False), (3, True), (8, True)])
def test_half_width_is_that_of_drawn_campaigns(channels, quantity, runs, alternating):
    rows = rows_for(CHANNEL_SETS[channels], SETUP, Pilot(speed_rpm=(2500.0,)))
    planned = forecast(rows, quantity, runs, alternating=alternating).half_width()
    errors = simulated_errors(rows, quantity, runs, alternating)
    simulated = float(np.quantile(np.abs(errors), 0.95))
    assert planned == pytest.approx(simulated, rel=WITHIN)


@pytest.mark.parametrize("runs", [4, 10])
def test_the_planned_power_is_reached(runs):
    """A change of the detectable size is seen in the wanted part of drawn campaigns."""
    rows = rows_for(CHANNEL_SETS["all"], SETUP, Pilot(speed_rpm=(2500.0,)))
    quantity, wish = PlannedQuantity.SENSOR_SKEW, Wish()
    planned = forecast(rows, quantity, runs)
    errors = simulated_errors(rows, quantity, runs, True)
    seen = float(np.mean(errors + planned.detectable(wish) > planned.half_width()))
    assert 0.86 < seen < 0.96


@pytest.mark.parametrize("engine", [TURBO_DIESEL, LARGE_TURBO_DIESEL, TURBO_PETROL])
@pytest.mark.parametrize("log_lambda", [True, False])
def test_half_width_is_the_one_that_compare_reports_on_simulated_logs(engine, log_lambda):
    campaigns = simulate_campaigns(engine, [Case(log_lambda=log_lambda)] * 15, 3)
    pairs = [compare_logs(c.before, c.after, c.setup).pairs[0] for c in campaigns]
    first = campaigns[0]
    runs = make_runs(first.before, first.setup)
    pilot = pilot_of(runs[:1], first.setup)
    rows = rows_for(channels_of(runs), first.setup, pilot)
    for quantity, reported in (
        (PlannedQuantity.SENSOR_SKEW, [p.sensor_skew.half_width for p in pairs]),
        (PlannedQuantity.AIRFLOW_CHANGE, [p.airflow_change.half_width for p in pairs]),
    ):
        planned = forecast(rows, quantity, 3, alternating=False).half_width()
        assert planned == pytest.approx(float(np.median(reported)), rel=WITHIN)


def test_pilot_logs_teach_channels_and_scatter():
    quiet, loud = (
        simulate_campaigns(TURBO_DIESEL, [Case(n_before=4, n_after=1, scatter=s)], 5)[0]
        for s in (0.2, 4.0)
    )
    widths = []
    for campaign in (quiet, loud):
        runs = make_runs(campaign.before, campaign.setup)
        pilot = pilot_of(runs, campaign.setup)
        channels = channels_of(runs)
        assert {"mass_air_flow", "manifold_pressure", "charge_temperature", "lambda"} <= channels
        rows = rows_for(channels, campaign.setup, pilot)
        widths.append(forecast(rows, PlannedQuantity.AIRFLOW_CHANGE, 3).half_width())
    assert widths[1] > 1.5 * widths[0]
