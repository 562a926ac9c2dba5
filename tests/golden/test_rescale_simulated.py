"""The bars of a rescaled table on simulated campaigns; the full table is a bench script."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.rescale_coverage import Score, study

CAMPAIGNS = 12

pytestmark = pytest.mark.slow


def scored(kind: str, *, as_declared: bool = False) -> Score:
    return study(CAMPAIGNS, only=kind, as_declared=as_declared)[kind]


def lower_bound(share: float) -> float:
    """Two standard errors below a share, over campaigns whose breakpoints err together."""
    return share - 2.0 * np.sqrt(share * (1.0 - share) / CAMPAIGNS)


def check_cells(score: Score) -> None:
    """Measured and held breakpoints hold the truth, and no command contradicts."""
    assert score.monotone
    assert float(np.mean(score.hits)) >= lower_bound(0.95)
    assert float(np.mean(score.held_hits)) >= lower_bound(0.95)
    assert score.contradictions == 0
    assert float(np.median(score.half_widths)) <= 0.03


@pytest.mark.parametrize("kind", ["scale and gain", "shape"])
def test_measured_breakpoints_are_covered_and_no_command_contradicts(kind):
    check_cells(scored(kind))


@pytest.mark.parametrize("kind", ["scale", "drive, scale"])
def test_a_factor_is_told_and_its_breakpoints_are_covered(kind):
    score = scored(kind)
    check_cells(score)
    # what is too small to be shown is left as it is, and is no error of what is written
    assert float(np.sqrt(np.mean(np.square(score.written)))) <= 0.010
    assert score.words["change"] >= 0.5 * CAMPAIGNS


@pytest.mark.parametrize("kind", ["no change", "drive, no change"])
def test_no_change_is_left_alone(kind):
    score = scored(kind, as_declared=True)
    assert score.words["leave_it"] >= CAMPAIGNS - 1
    assert score.words["change"] == 0


@pytest.mark.parametrize("kind", ["drive, leak", "drive, pulsation", "drive, pressure gain"])
def test_what_is_beside_the_table_is_never_baked_in(kind):
    score = scored(kind)
    assert score.words["change"] == 0
    assert score.words["refused"] >= CAMPAIGNS - 3
    assert score.contradictions == 0
