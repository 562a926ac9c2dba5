"""What made the true change, and what fuel did: by hand, from known changes of state."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from airsense.estimates.estimate import Influence
from airsense.evidence.attribution import (
    FEEDBACK_GAIN,
    FEEDBACK_GAIN_HIGH,
    Attribution,
    attribute,
    restriction_ceiling,
)
from airsense.evidence.change import pair_design
from airsense.results import Interval
from tests.evidence_inputs import table_of

DESIGN = pair_design([False] * 3 + [True] * 3)
ONES = np.ones((6, 6))
AFTER = (np.arange(6) >= 3)[:, None] * ONES
SOME_GAIN = Interval(0.05, 0.04, 0.06)
NO_SKEW = Interval(0.0, -0.01, 0.01)
ROUTES = ("mass_air_flow", "speed_density", "fuel_lambda")


def given(
    *,
    true: Interval = SOME_GAIN,
    skew: Interval = NO_SKEW,
    fuel: Interval | None = None,
    power: Interval | None = None,
    depression_pa: float | None = None,
    routes: tuple[str, ...] = ROUTES,
    influences: Sequence[Influence] = (),
    controlled: bool = True,
    **states: object,
) -> Attribution:
    return attribute(
        table_of(dict.fromkeys(routes, 0.0 * ONES), **states),  # type: ignore[arg-type]
        DESIGN,
        {route: influences if route == "speed_density" else () for route in routes},
        controlled=controlled,
        true=true,
        skew=skew,
        fuel=fuel,
        power=power,
        depression_pa=depression_pa,
        p_ambient_pa=1e5,
    )


def drift(key: str, between: float, *, run: float = 0.0, dof: float = 5.6) -> Influence:
    """A sensor that drifts between the configurations; flow follows it by -1, its state by 1."""
    return Influence(
        key=key, label=key, absolute=0.0, run=run, between=between, sensitivity=-1.0, dof=dof
    )


def test_parts_multiply_to_the_true_change() -> None:
    got = given(p_manifold_pa=2e5 * (1 + 0.04 * AFTER), t_charge_k=310.0 * (1 + 0.02 * AFTER))
    assert got.manifold_pressure is not None
    assert got.charge_temperature is not None
    assert got.volumetric_efficiency is not None
    assert got.manifold_pressure.value == pytest.approx(0.04, abs=1e-9)
    assert got.charge_temperature.value == pytest.approx(1 / 1.02 - 1, abs=1e-9)
    assert got.charge_temperature.low < got.charge_temperature.value
    assert got.charge_temperature.high > got.charge_temperature.value
    product = (
        (1 + got.manifold_pressure.value)
        * (1 + got.charge_temperature.value)
        * (1 + got.volumetric_efficiency.value)
    )
    assert product == pytest.approx(1.05, abs=1e-9)
    assert got.volumetric_efficiency.half_width > got.manifold_pressure.half_width
    assert got.volumetric_efficiency.half_width > 0.01
    assert got.engine_speed == Interval(0.0, 0.0, 0.0)


def test_each_state_has_the_uncertainty_of_its_own_sensor() -> None:
    """Perfect repeats of 3 and 3 runs: drift between, and what is left of the scatter."""
    states = {"p_manifold_pa": 2e5 * ONES, "t_charge_k": 310.0 * ONES}

    def widths(**sizes: float) -> tuple[float, float]:
        got = given(influences=[drift(key, u) for key, u in sizes.items()], **states)
        assert got.manifold_pressure is not None
        assert got.charge_temperature is not None
        return got.manifold_pressure.half_width, got.charge_temperature.half_width

    none = widths(fuel=0.03)
    assert none[0] == pytest.approx(none[1], rel=0.01), "the engine's own variation alone"
    assert none[0] < 0.02
    pressure = widths(manifold_pressure=0.03)
    barometer = widths(barometer=0.03)
    temperature = widths(charge_temperature=0.03)
    assert pressure[0] == pytest.approx(barometer[0])
    assert pressure[0] > 0.06
    assert pressure[1] == barometer[1] == none[1]
    assert temperature[1] > 0.06
    assert temperature[0] == none[0]


def test_an_uncertain_sensor_counts_with_its_degrees_of_freedom() -> None:
    states = {"p_manifold_pa": 2e5 * ONES, "t_charge_k": 310.0 * ONES}
    few, many = (
        given(influences=[drift("manifold_pressure", 0.05, dof=nu)], **states)
        for nu in (3.0, 300.0)
    )
    assert few.manifold_pressure is not None
    assert many.manifold_pressure is not None
    ratio = np.log1p(few.manifold_pressure.high) / np.log1p(many.manifold_pressure.high)
    assert ratio == pytest.approx(stats.t.ppf(0.975, 3.0) / stats.t.ppf(0.975, 300.0), rel=0.05)


def test_repeats_update_a_declared_size_once() -> None:
    """Perfect repeats of 3 and 3: s^2 = nu s0^2 / (nu + 4), by hand; the engine adds little."""
    states = {"p_manifold_pa": 2e5 * ONES, "t_charge_k": 310.0 * ONES}
    sensor = given(influences=[drift("manifold_pressure", 0.0, run=0.05, dof=300.0)], **states)
    assert sensor.manifold_pressure is not None
    u_sensor = np.log1p(sensor.manifold_pressure.high) / stats.t.ppf(0.975, 304.0)
    by_hand = np.sqrt(2.0 / 3.0 * 0.05**2 * 300.0 / 304.0)
    assert u_sensor == pytest.approx(by_hand, rel=0.02)


def test_driving_logs_do_not_repeat_a_state_as_sweeps_do() -> None:
    states = {"p_manifold_pa": 2e5 * ONES, "t_charge_k": 310.0 * ONES}
    sweeps, driving = (given(controlled=c, **states).manifold_pressure for c in (True, False))
    assert sweeps is not None
    assert driving is not None
    assert driving.half_width > 10.0 * sweeps.half_width


def test_half_widths_of_a_ratio_add_in_quadrature_of_logarithms() -> None:
    power, fuel = Interval(0.08, 0.06, 0.10), Interval(0.03, 0.02, 0.04)
    got = given(power=power, fuel=fuel)
    ratio = got.power_from_efficiency
    assert ratio is not None
    assert ratio.value == pytest.approx(1.08 / 1.03 - 1)
    half = np.hypot(0.5 * np.log(1.10 / 1.06), 0.5 * np.log(1.04 / 1.02))
    assert ratio.low == pytest.approx(1.08 / 1.03 * np.exp(-half) - 1)
    assert ratio.high == pytest.approx(1.08 / 1.03 * np.exp(half) - 1)
    assert got.power_from_fuel == fuel


def test_what_was_not_measured_is_not_attributed() -> None:
    got = given()
    assert got.manifold_pressure is None
    assert got.charge_temperature is None
    assert got.volumetric_efficiency is None
    assert got.power_from_fuel is None
    assert got.power_from_efficiency is None
    assert got.fuelling_feedback is None
    assert got.restriction_ceiling is None
    assert given(fuel=Interval(0.1, 0.0, 0.2)).power_from_fuel is None
    assert given(power=Interval(0.1, 0.0, 0.2)).power_from_efficiency is None


def test_breathing_is_the_rest_only_where_speed_density_is_a_route() -> None:
    states = {"p_manifold_pa": 2e5 * ONES, "t_charge_k": 310.0 * ONES}
    assert given(**states).volumetric_efficiency is not None
    assert given(
        routes=("mass_air_flow", "brake_power", "fuel_lambda"), **states
    ).volumetric_efficiency is None  # fmt: skip


@pytest.mark.parametrize(
    ("fuel", "skew", "value", "high"),
    [
        # Only as much fuel as the sensor over-reads, and only fuel that was added.
        (Interval(0.06, 0.05, 0.07), Interval(0.04, 0.03, 0.05), 0.4 * 0.04, 0.8 * 0.05),
        (Interval(0.02, 0.01, 0.03), Interval(0.04, 0.03, 0.05), 0.4 * 0.02, 0.8 * 0.03),
        (Interval(-0.02, -0.03, -0.01), Interval(0.04, 0.03, 0.05), 0.0, 0.0),
        (Interval(0.06, 0.05, 0.07), Interval(-0.04, -0.05, -0.03), 0.0, 0.0),
    ],
)
def test_feedback_through_fuelling(
    fuel: Interval, skew: Interval, value: float, high: float
) -> None:
    got = given(fuel=fuel, skew=skew).fuelling_feedback
    assert got is not None
    assert (got.value, got.low, got.high) == pytest.approx((value, 0.0, high))
    assert (FEEDBACK_GAIN, FEEDBACK_GAIN_HIGH) == (0.4, 0.8)


def test_ceiling_of_a_lower_restriction_by_hand() -> None:
    """3 kPa of 100 kPa: 100/97 = +3.093 % denser air at the compressor, pressure ratio kept."""
    got = restriction_ceiling(3e3, 1e5)
    assert got is not None
    assert got.value == pytest.approx(100 / 97 - 1)
    assert got.low == pytest.approx(100 / 97.3 - 1)
    assert got.high == pytest.approx(100 / 96.7 - 1)
    assert given(depression_pa=3e3).restriction_ceiling == got
    for nonsense in (None, 0.0, -50.0, 5e4, 9e4):
        assert restriction_ceiling(nonsense, 1e5) is None


@pytest.mark.parametrize(
    ("true", "depression", "boost", "words"),
    [
        (Interval(0.08, 0.06, 0.10), 3e3, 0.0, "larger than removing the whole intake restriction"),
        (Interval(0.03, 0.01, 0.05), 3e3, 0.0, ""),
        (Interval(0.03, 0.01, 0.05), None, 0.05, "comes with manifold pressure"),
        (Interval(0.03, -0.01, 0.07), None, 0.05, ""),
        (Interval(0.08, 0.06, 0.10), 3e3, 0.05, "larger than removing"),
    ],
)
def test_note(true: Interval, depression: float | None, boost: float, words: str) -> None:
    got = given(
        true=true,
        depression_pa=depression,
        p_manifold_pa=2e5 * (1 + boost * AFTER),
        t_charge_k=310.0 * ONES,
    )
    assert words in got.note
    assert bool(words) == bool(got.note)
