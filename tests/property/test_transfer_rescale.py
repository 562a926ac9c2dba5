"""A new table: what is measured, what is held, the steps, and the passes that end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.evidence.judgement import judge
from airsense.evidence.priors import PriorTable
from airsense.jobs.observe import make_runs, observe
from airsense.jobs.rescale import rescale_logs
from airsense.logs.log import Log
from airsense.transfer.cells import Step, Support, coverage_of, make_cells
from airsense.transfer.correction import Correction
from airsense.transfer.decision import Decision
from tests.bench.rescale_coverage import DRIVES, table_of
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engines import TURBO_DIESEL

pytestmark = pytest.mark.slow

TABLE = table_of(TURBO_DIESEL)
SKEW = 0.06


@pytest.fixture(scope="module")
def driven() -> SimulatedCampaign:
    """Two drives before and after, the sensor reads 6 % high after."""
    return simulate_campaigns(TURBO_DIESEL, [Case(log_maf_signal=True, skew=SKEW, **DRIVES)], 5)[0]


@pytest.fixture(scope="module")
def first(driven):
    return rescale_logs(driven.after, driven.setup, TABLE, baseline=driven.before)


def signal_only(logs: list[Log]) -> list[Log]:
    return [
        replace(log, channels={k: c for k, c in log.channels.items() if k != "mass_air_flow"})
        for log in logs
    ]


def by_support(result, support: Support) -> list:
    return [c for c in result.cells if c.support is support]


def test_a_factor_comes_back_at_every_measured_breakpoint(first):
    assert first.decision is Decision.CHANGE
    assert len(by_support(first, Support.MEASURED)) >= 5
    for cell in by_support(first, Support.MEASURED):
        assert cell.low <= 1.0 / (1.0 + SKEW) <= cell.high
        assert cell.correction == pytest.approx(1.0 / (1.0 + SKEW), abs=0.012)
        assert cell.samples > 0
    assert first.residual_after < 0.5 * first.residual_before


def test_held_breakpoints_carry_the_mean_factor_of_the_measured_ones(first):
    held = [c for c in by_support(first, Support.HELD) if c.flow_old > 0.0]
    assert held
    for cell in held:
        assert cell.wanted == pytest.approx(first.scale.value, rel=1e-9)
        assert cell.low <= first.scale.low
        assert cell.high >= first.scale.high
    flows = [c.flow_old for c in by_support(first, Support.MEASURED)]
    for cell in by_support(first, Support.INTERPOLATED):
        assert min(flows) < cell.flow_old < max(flows)


@pytest.mark.parametrize("flow_logged", [True, False])
def test_a_second_pass_over_the_same_logs_has_converged(driven, flow_logged):
    after, before = list(driven.after), list(driven.before)
    if not flow_logged:
        after, before = signal_only(after), signal_only(before)
    told = {"baseline": before, "baseline_table": None if flow_logged else TABLE}
    one = rescale_logs(after, driven.setup, TABLE, **told)
    assert one.decision is Decision.CHANGE
    new = replace(TABLE, flow_kgps=np.array([c.flow_new for c in one.cells]))
    two = rescale_logs(after, driven.setup, new, **told)
    assert two.decision is Decision.LEAVE_IT
    assert two.scale.value == pytest.approx(1.0, abs=1e-3)
    assert "converged" in two.sentence
    assert all(c.flow_new == c.flow_old and c.low <= 1.0 <= c.high for c in two.cells)


def test_a_baseline_with_the_signal_only_needs_its_own_table(driven):
    with pytest.raises(InputError) as caught:
        rescale_logs(driven.after, driven.setup, TABLE, baseline=signal_only(driven.before))
    assert "--baseline-table" in caught.value.fix
    assert all((caught.value.where, caught.value.got, caught.value.allowed))


def test_half_of_the_correction_is_half_of_its_logarithm(driven, first):
    half = rescale_logs(driven.after, driven.setup, TABLE, baseline=driven.before, share=0.5)
    assert "part_applied" in {f.code for f in half.findings}
    for cell, whole in zip(half.cells, first.cells, strict=True):
        assert cell.correction == pytest.approx(np.sqrt(whole.correction), abs=1e-4)
        assert cell.wanted == pytest.approx(whole.wanted)


def test_what_was_driven_and_not_used_is_said_with_its_reason(first):
    told = [f for f in first.findings if f.code == "region_not_used"]
    unused = [s for log in first.logs for s in log.segments if not s.used]
    assert unused
    assert all(any(s.reason in f.message for f in told) for s in unused if s.stop_s - s.start_s > 1)


def test_what_did_not_change_is_left(driven):
    one, two = driven.before
    result = rescale_logs([one], driven.setup, TABLE, baseline=[two])
    assert result.decision is Decision.LEAVE_IT
    assert result.scale.contains(1.0)


@pytest.fixture(scope="module")
def judged(driven):
    runs = make_runs([*driven.before, *driven.after], driven.setup)
    seen = observe(runs, driven.setup, [False, False, True, True])
    posterior = judge(seen.cells, seen.rest, seen.budget, PriorTable()).posterior
    cover = coverage_of(TABLE, seen.cells, np.array([r.step_s for r in runs]))
    return Correction(posterior=posterior), cover


@settings(max_examples=25, deadline=None)
@given(st.floats(0.001, 1.0), st.floats(0.05, 1.0))
def test_the_new_table_keeps_order_zero_and_the_step(judged, largest, share):
    cells = make_cells(TABLE, *judged, Step(share=share, largest=largest))
    flow = np.array([c.flow_new for c in cells])
    assert np.all(np.diff(flow) > 0.0)
    for cell, old in zip(cells, TABLE.flow_kgps, strict=True):
        assert cell.low <= cell.wanted <= cell.high
        if old == 0.0:
            assert cell.flow_new == 0.0
        else:
            assert cell.correction == pytest.approx(cell.flow_new / old)
            assert abs(np.log(cell.correction)) <= np.log1p(largest) + 1e-9


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=60))
def test_bounds_hold_the_middle_and_do_not_depend_on_the_number_of_breakpoints(judged, offsets):
    correction, _ = judged
    at = np.clip(0.5 * (correction.low + correction.high) + np.array(offsets), -20.0, 20.0)
    found = correction.along(at)
    assert np.all(found.low <= found.middle + 1e-12)
    assert np.all(found.middle <= found.high + 1e-12)
    alone = correction.along(at[:1])
    assert found.middle[0] == pytest.approx(alone.middle[0], abs=2e-3)
    beyond = correction.beyond(at, correction.low, correction.high)
    mean = correction.factor(correction.low, correction.high)
    np.testing.assert_allclose(beyond.middle, mean.middle[0])
    assert np.all(beyond.low <= mean.low[0])
    assert np.all(beyond.high >= mean.high[0])


@pytest.mark.parametrize("factor", [2.2046, 3.6, 1.0 / 3.6])
def test_a_table_in_another_unit_is_refused(driven, factor):
    wrong = replace(TABLE, flow_kgps=factor * TABLE.flow_kgps)
    with pytest.raises(InputError) as caught:
        rescale_logs(driven.after, driven.setup, wrong, baseline=driven.before)
    assert "unit of flow" in caught.value.fix


def test_a_table_in_any_order_with_flat_ends_gives_the_same_answer(driven, first):
    last = TABLE.flow_kgps.size - 1
    order = np.r_[np.random.default_rng(1).permutation(last + 1), last]
    signal = TABLE.signal[order]
    signal[-1] = TABLE.signal[last] + 0.2  # the top once more, further on: a flat end
    mixed = replace(TABLE, signal=signal, flow_kgps=TABLE.flow_kgps[order])
    result = rescale_logs(driven.after, driven.setup, mixed, baseline=driven.before)
    for cell, place in zip(result.cells[:-1], order[:-1], strict=True):
        assert cell.correction == pytest.approx(first.cells[place].correction, abs=2e-3)
        assert cell.support is first.cells[place].support
    assert result.cells[-1].flow_new >= max(c.flow_new for c in result.cells[:-1]) - 1e-9
