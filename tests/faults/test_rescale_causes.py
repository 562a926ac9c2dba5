"""What no table can mend is named and not baked into one, and compare says nothing else."""

from __future__ import annotations

from dataclasses import replace

import pytest

from airsense.jobs.compare import compare_logs
from airsense.jobs.rescale import rescale_logs
from airsense.transfer.cells import Support
from airsense.transfer.decision import Decision
from tests.bench.rescale_coverage import DRIVES, table_of
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import TURBO_DIESEL

pytestmark = pytest.mark.slow

TABLE = table_of(TURBO_DIESEL)
PLANTED = {
    "leak": {"leak_after_compressor": 0.05},
    "pulsation": {"pulsation": 0.10},
    "pressure gain": {"map_gain": 0.06},
}


@pytest.fixture(scope="module")
def campaigns() -> dict[str, SimulatedCampaign]:
    return {
        name: simulate_campaigns(TURBO_DIESEL, [Case(log_maf_signal=True, **how, **DRIVES)], 7)[0]
        for name, how in PLANTED.items()
    }


def answer(campaign: SimulatedCampaign, **how):
    return rescale_logs(campaign.after, campaign.setup, TABLE, baseline=campaign.before, **how)


@pytest.mark.parametrize("name", PLANTED)
def test_a_fault_beside_the_table_is_refused_and_nothing_is_called_measured(campaigns, name):
    result = answer(campaigns[name])
    assert result.decision is Decision.REFUSED
    assert result.sentence.startswith("Refused")
    assert all(c.support is not Support.MEASURED for c in result.cells)
    assert all(c.flow_new == c.flow_old for c in result.cells)
    errors = [f for f in result.findings if f.severity.value == "error"]
    assert errors
    assert all("log again" in f.fix for f in errors)


@pytest.mark.parametrize("name", PLANTED)
def test_the_judgement_is_that_of_compare(campaigns, name):
    own = campaigns[name]
    result = answer(own)
    pair = compare_logs(own.before, own.after, own.setup).pairs[0]
    assert result.reading_cause is pair.reading_cause
    shown, compared = result.indicated_surplus, pair.indicated_surplus
    # the table turns the logged signal into flow again, which rounds it
    assert shown.value == pytest.approx(compared.value, abs=0.003)


def test_a_leak_is_baked_in_only_when_forced(campaigns):
    forced = answer(campaigns["leak"], force_cause=True)
    assert forced.decision is Decision.CHANGE
    assert forced.scale.high < 1.0
    assert {p.cause for p in forced.priors}.isdisjoint({"leak_after_compressor", "pulsation"})


def test_a_log_with_a_hose_off_is_left_out_of_the_table_as_of_the_comparison():
    """One of three pulls reads a fifth more: the others make the table, and it is named."""
    (own,) = simulate_campaigns(TURBO_DIESEL, [Case(skew=0.06)], 11)
    maf = own.after[1]["mass_air_flow"]
    channels = {**own.after[1].channels, "mass_air_flow": replace(maf, value=1.2 * maf.value)}
    after = [own.after[0], replace(own.after[1], channels=channels), own.after[2]]
    result = rescale_logs(after, own.setup, TABLE, baseline=own.before)
    pair = compare_logs(own.before, after, own.setup).pairs[0]
    (row,) = [log for log in result.logs if not log.used]
    assert row.odd
    assert "hose off" in row.reason
    assert "odd_log" in {f.code for f in result.findings}
    assert result.scale.low < 1.0 / 1.06 < result.scale.high
    assert pair.sensor_skew.low < 0.06 < pair.sensor_skew.high
    assert result.indicated_surplus.value == pytest.approx(pair.indicated_surplus.value, abs=0.003)
