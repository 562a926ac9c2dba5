"""The bars of a rescaled table on simulated campaigns; the full table is a bench script."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.rescale_coverage import study

CAMPAIGNS = 24

pytestmark = pytest.mark.slow


def lower_bound(share: float) -> float:
    """Two standard errors below a share, over campaigns whose breakpoints err together."""
    return share - 2.0 * np.sqrt(share * (1.0 - share) / CAMPAIGNS)


@pytest.mark.parametrize("kind", ["scale", "scale, no lambda", "shape", "shape, no lambda"])
def test_measured_breakpoints_are_within_one_percent_and_covered(kind):
    score = study(CAMPAIGNS, only=kind, as_declared=False)[kind]
    assert float(np.sqrt(np.mean(np.square(score.errors)))) <= 0.010
    assert score.monotone
    assert min(score.measured) >= 2
    assert score.words["refused"] <= 2
    # the simulator's drifts at the size that the uncertainties declare
    assert float(np.mean(study(CAMPAIGNS, only=kind)[kind].hits)) >= lower_bound(0.95)


def test_no_change_is_left_alone():
    score = study(CAMPAIGNS, only="no change")["no change"]
    assert score.words["leave_it"] >= CAMPAIGNS * lower_bound(0.95)


@pytest.mark.parametrize("kind", ["leak 5 %", "leak 5 %, no lambda"])
def test_a_leak_is_named_and_not_baked_in(kind):
    score = study(CAMPAIGNS, only=kind)[kind]
    assert score.words["leak_after_compressor"] >= CAMPAIGNS - 1
    assert score.words["refused"] >= CAMPAIGNS - 1


@pytest.mark.parametrize("kind", ["pressure gain", "pressure gain, no lambda"])
def test_a_pressure_gain_error_is_named_and_not_baked_in(kind):
    score = study(CAMPAIGNS, only=kind)[kind]
    assert score.words["manifold_pressure_suspected"] >= CAMPAIGNS - 2
    assert score.words["refused"] >= CAMPAIGNS - 1
