"""What the figures draw: means of bins, repeats in order, apparent breathing."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.estimates import maf, speed_density
from airsense.estimates.estimate import Influence
from airsense.estimates.recirculation import apparent_ve
from airsense.evidence.bins import BinTable
from airsense.evidence.curves import MOST_VE_POINTS, apparent_points, draw_curves
from tests.evidence_inputs import run_of, setup_of

ROUTE = speed_density.METHOD
OF = ("old", "old", "new", "new")
BUDGET = (
    Influence(key="p", label="pressure", absolute=0.015, run=0.003, between=0.002),
    Influence(key="t", label="temperature", absolute=0.006, run=0.003, between=0.0, sensitivity=-1),
)


def table(reading: list[float], route: list[float]) -> BinTable:
    """Return four repeats in three bins whose flows differ by repeat; one bin lacks one repeat."""
    base = np.log([0.05, 0.08, 0.10])
    ln = {
        maf.METHOD: base + np.array(reading)[:, None],
        ROUTE: base + np.array(route)[:, None],
    }
    ln[ROUTE][3, 2] = np.nan
    return BinTable(
        centre_rpm=np.array([2000.0, 3000.0, 4000.0]),
        edges_rpm=np.array([1500.0, 2500.0, 3500.0, 4500.0]),
        labels=("1", "2", "3", "4"),
        ln=ln,
        state={},
        samples=np.full((4, 3), 9),
    )


def test_a_curve_is_the_mean_of_its_repeats_with_what_differs_between_them() -> None:
    drawn = draw_curves(
        table([0.0, 0.02, 0.05, 0.05], [0.0, 0.02, 0.01, 0.01]), {ROUTE: BUDGET}, OF
    )
    (old,) = (c for c in drawn.flows if (c.configuration, c.method) == ("old", ROUTE))
    assert [p.engine_speed_rpm for p in old.points] == [2000.0, 3000.0, 4000.0]
    flows = [p.flow_kgps.value for p in old.points]
    assert flows == pytest.approx(np.exp(np.log([0.05, 0.08, 0.10]) + 0.01))
    u = np.sqrt((0.003**2 + 0.003**2) / 2.0 + 0.5 * 0.002**2)
    for point in old.points:
        half = 0.5 * np.log(point.flow_kgps.high / point.flow_kgps.low)
        assert half == pytest.approx(1.959964 * u, rel=1e-4)
    assert old.u_common == pytest.approx(np.hypot(0.015, 0.006))
    (new,) = (c for c in drawn.flows if (c.configuration, c.method) == ("new", ROUTE))
    assert new.points[2].flow_kgps.value == pytest.approx(0.10 * np.exp(0.01))
    widths = [np.log(p.flow_kgps.high / p.flow_kgps.low) for p in new.points]
    assert widths[2] > widths[0], "one repeat alone is known less well"


def test_repeats_stand_in_their_order_against_the_mean_of_the_first_configuration() -> None:
    drawn = draw_curves(table([0.01, 0.03, 0.06, 0.08], [0.0, 0.02, 0.01, 0.03]), {}, OF)
    of_route = [r for r in drawn.repeats if r.method == ROUTE]
    assert [(r.order, r.label, r.configuration) for r in of_route] == [
        (1, "1", "old"), (2, "2", "old"), (3, "3", "new"), (4, "4", "new"),
    ]  # fmt: skip
    flows = np.log1p([r.flow_change for r in of_route])
    assert flows == pytest.approx([-0.01, 0.01, 0.00, 0.02])
    readings = np.log1p([r.reading_change or 0.0 for r in of_route])
    # The sensor shows -0.01, 0.01, 0.04, 0.06 about the same mean.
    assert readings == pytest.approx([0.0, 0.0, 0.04, 0.04])
    of_sensor = [r for r in drawn.repeats if r.method == maf.METHOD]
    assert [r.reading_change for r in of_sensor] == [None] * 4


def test_repeats_without_a_bin_in_common_are_not_drawn() -> None:
    made = table([0.0] * 4, [0.0] * 4)
    made.ln[ROUTE][0, :2] = np.nan
    assert draw_curves(made, {}, OF).repeats == ()


def test_apparent_breathing_is_reading_over_what_the_cylinders_sweep() -> None:
    """2 l at 2400 rpm sweep 40 l/s; at 150 kPa and 300 K, R = 287: 69.7 g/s (ideal gas)."""
    run = run_of(900, mdot_maf_kgps=0.060, p_manifold_pa=1.5e5, t_charge_k=300.0, speed_rpm=2400.0)
    ve = apparent_ve(run, setup_of())
    assert ve is not None
    swept = 1.5e5 * 0.040 / (287.0 * 300.0)
    np.testing.assert_allclose(ve, 0.060 / swept)
    points = apparent_points([run, run], [None, None], setup_of(), ["old", "new"])
    assert {p.configuration for p in points} == {"old", "new"}
    assert len(points) <= MOST_VE_POINTS
    assert len(points) > 0.8 * MOST_VE_POINTS
    assert points[0].ve_frac == pytest.approx(0.060 / swept)
    assert not any(p.recirculation_suspected for p in points)
    blind = run_of(10, mdot_maf_kgps=0.060)
    assert apparent_ve(blind, setup_of()) is None
    assert apparent_points([blind], [None], setup_of(), ["old"]) == ()
