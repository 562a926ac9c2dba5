"""One configuration: when a reading is credible, and when that cannot be said."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.estimates.defaults import DEFAULT_DOF
from airsense.estimates.estimate import Influence
from airsense.estimates.routes import Unused
from airsense.evidence.level import PLAUSIBLE_HALF_WIDTH, CheckVerdict, Level, judge_level
from airsense.evidence.scatter import SET_DOF
from airsense.evidence.student import single, welch_satterthwaite
from tests.evidence_inputs import table_of


def influence(key: str, absolute: float, run: float = 0.003) -> Influence:
    return Influence(key=key, label=key, absolute=absolute, run=run, between=0.0)


def level(
    error: float, *, u_ve: float = 0.05, u_fuel: float = 0.04, routes: int = 2, fuel: float = 0.0
) -> Level:
    shape = np.zeros((3, 5)) - 2.3 + np.linspace(0, 0.3, 5)
    ln = {
        "mass_air_flow": shape + np.log1p(error),
        "speed_density": shape,
        "fuel_lambda": shape + fuel,
    }
    budgets = {
        "mass_air_flow": (influence("mass_air_flow", 0.0),),
        "speed_density": (influence("volumetric_efficiency", u_ve),),
        "fuel_lambda": (influence("fuel", u_fuel),),
    }
    names = list(ln)[: routes + 1]
    p = np.full((3, 5), 2e5)
    return judge_level(
        table_of(
            {n: ln[n] for n in names}, p_manifold_pa=p, t_charge_k=p * 0 + 315, boost_pa=p / 2
        ),
        {n: budgets[n] for n in names},
        (Unused(method="brake_power", reason="no brake power or torque was logged"),),
        controlled=True,
    )


def test_an_error_inside_what_the_routes_can_know_is_plausible() -> None:
    got = level(0.02)
    assert got.verdict is CheckVerdict.PLAUSIBLE
    assert got.sensor_error.contains(0.0)
    assert got.sensor_error.contains(0.02)
    assert got.sensor_error.half_width < PLAUSIBLE_HALF_WIDTH
    assert "agrees" in got.sentence


@pytest.mark.parametrize("error", [0.30, -0.25])
def test_an_error_far_beyond_is_implausible(error: float) -> None:
    got = level(error)
    assert got.verdict is CheckVerdict.IMPLAUSIBLE
    assert got.sensor_error.contains(error)
    assert "disagrees" in got.sentence


def test_routes_that_know_too_little_settle_nothing() -> None:
    got = level(0.02, u_ve=0.2, routes=1)
    assert got.verdict is CheckVerdict.UNDETERMINED
    assert got.sensor_error.half_width > PLAUSIBLE_HALF_WIDTH
    assert got.sentence.startswith("Undetermined")


def test_an_error_at_the_edge_is_undetermined_not_implausible() -> None:
    found = [level(e) for e in np.linspace(0.05, 0.25, 21)]
    order = [CheckVerdict.PLAUSIBLE, CheckVerdict.UNDETERMINED, CheckVerdict.IMPLAUSIBLE]
    ranks = [order.index(v.verdict) for v in found]
    assert ranks == sorted(ranks)
    assert {0, 2} <= set(ranks)
    for one in found:
        outside = not one.sensor_error.contains(0.0)
        assert (one.verdict is CheckVerdict.PLAUSIBLE) != outside


def test_each_routes_own_answer_has_its_absolute_uncertainty() -> None:
    got = level(0.1)
    used = [e for e in got.estimates if e.used]
    assert [e.method for e in used] == ["speed_density", "fuel_lambda"]
    for row, u_abs in zip(used, (0.05, 0.04), strict=True):
        assert row.sensor_error is not None
        assert row.sensor_error.value == pytest.approx(0.1, abs=1e-6)
        assert row.reason == "independent of the sensor"
        # Scatter of two sensors over three runs, narrowed by perfect repeats to nu/(nu + 2), and
        # before that, over two contrasts of three routes, to nu/(nu + 4).
        run = 2 / 3 * 0.003**2 * DEFAULT_DOF / (DEFAULT_DOF + 2) * SET_DOF / (SET_DOF + 4)
        plain = single(np.log1p(0.1), np.hypot(u_abs, np.sqrt(run)), DEFAULT_DOF).interval()
        assert row.sensor_error.low == pytest.approx(plain.low, abs=5e-4)
        assert row.sensor_error.high == pytest.approx(plain.high, abs=5e-4)
        assert row.u_repeat == pytest.approx(np.sqrt(run + 2 * 1e-6 / 15), rel=0.1)
    (unused,) = [e for e in got.estimates if not e.used]
    assert (unused.method, unused.sensor_error) == ("brake_power", None)
    assert "no brake power" in unused.reason


def test_one_bin_of_speed_has_its_own_error_and_samples() -> None:
    got = level(0.1)
    assert len(got.by_speed) == 5
    for row in got.by_speed:
        assert row.sensor_error.contains(0.1)
        assert row.samples == 30
    assert [r.engine_speed_rpm for r in got.by_speed] == pytest.approx(
        [2000, 2400, 2800, 3200, 3600]
    )


def test_two_routes_narrow_what_one_leaves() -> None:
    assert level(0.1).sensor_error.half_width < level(0.1, routes=1).sensor_error.half_width


def test_next_measurement_does_not_speak_of_two_configurations() -> None:
    assert "configurations" not in level(0.1).next_measurement.measurement
    assert "tubes" not in level(0.1, routes=1).next_measurement.measurement


def test_degrees_of_freedom_are_those_of_the_budget() -> None:
    got = level(0.1)
    variance = np.array([p.u**2 for p in got.budget])
    assert got.degrees_of_freedom == pytest.approx(
        welch_satterthwaite(variance, np.array([p.dof for p in got.budget]))
    )
