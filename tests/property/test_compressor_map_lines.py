"""A map's speed lines give back the flow of a closed-form compressor; flat lines give doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.errors import InputError
from airsense.estimates.compressor_map import MAX_SENSITIVITY, compressor_map, speed_lines
from airsense.estimates.defaults import defaults_for
from airsense.estimates.run import Run
from airsense.logs.log import Log
from airsense.setup.compressor_map import MapPoints
from airsense.setup.engine import CompressorMap, EngineSetup, Uncertainty
from tests.compressor_maps import (
    P_REF_PA,
    SPEEDS_RPM,
    T_REF_K,
    choke_kgps,
    points,
    ratio_of,
    write_map,
)
from tests.simulate.engines import TURBO_DIESEL

SIZES = defaults_for(Uncertainty(), charge_temperature_estimated=False)
LINES = speed_lines(points())


def test_the_points_of_the_map_are_given_back() -> None:
    given_points = points()
    right = given_points.mdot_kgps > 0.36 * choke_kgps(given_points.speed_rpm)
    # The ends of the lines and of the map are ends of the interpolation: stay a hair inside.
    inner = right & (given_points.speed_rpm < 0.99 * SPEEDS_RPM[-1])
    inner &= given_points.mdot_kgps < 0.95 * choke_kgps(given_points.speed_rpm)
    found = LINES.flow_kgps(given_points.speed_rpm[inner], given_points.pressure_ratio[inner])
    assert inner.sum() > 50
    np.testing.assert_allclose(found, given_points.mdot_kgps[inner], rtol=2e-3)


@given(speed=st.floats(62e3, 172e3), share=st.floats(0.45, 0.93))
def test_between_the_lines_the_flow_is_that_of_the_compressor(speed: float, share: float) -> None:
    flow = share * choke_kgps(np.array([speed]))
    found = LINES.flow_kgps(np.array([speed]), ratio_of(np.array([speed]), flow))
    assert found[0] == pytest.approx(flow[0], rel=0.012)


@given(speed=st.floats(62e3, 172e3), share=st.floats(0.5, 0.9))
def test_more_back_pressure_less_flow_more_speed_more_flow(speed: float, share: float) -> None:
    n = np.array([speed])
    ratio = ratio_of(n, share * choke_kgps(n))
    here = LINES.flow_kgps(n, ratio)[0]
    assert LINES.flow_kgps(n, ratio * 1.005)[0] < here
    assert LINES.flow_kgps(n * 1.005, ratio)[0] > here


@pytest.mark.parametrize(
    ("speed", "ratio"),
    [(30e3, 1.02), (210e3, 2.0), (100e3, 3.0), (100e3, 1.0), (float("nan"), 1.5), (1e5, np.nan)],
)
def test_outside_the_map_there_is_no_flow(speed: float, ratio: float) -> None:
    assert np.isnan(LINES.flow_kgps(np.array([speed]), np.array([ratio]))[0])


def test_the_order_of_the_points_does_not_matter() -> None:
    given_points = points()
    order = np.random.default_rng(1).permutation(given_points.speed_rpm.size)
    mixed = speed_lines(
        replace(
            given_points,
            speed_rpm=given_points.speed_rpm[order],
            mdot_kgps=given_points.mdot_kgps[order],
            pressure_ratio=given_points.pressure_ratio[order],
        )
    )
    np.testing.assert_array_equal(mixed.pressure_ratio, LINES.pressure_ratio)


def test_points_of_one_line_may_scatter_in_speed() -> None:
    given_points = points()
    jitter = 1.0 + 5e-4 * np.sin(np.arange(given_points.speed_rpm.size))
    lines = speed_lines(replace(given_points, speed_rpm=given_points.speed_rpm * jitter))
    assert lines.speed_rpm.size == SPEEDS_RPM.size


def one_line() -> MapPoints:
    return points(speeds_rpm=SPEEDS_RPM[:1])


def rising() -> MapPoints:
    given_points = points()
    return replace(given_points, pressure_ratio=1.2 + given_points.mdot_kgps)


@pytest.mark.parametrize("bad", [one_line(), rising()])
def test_a_map_that_cannot_be_interpolated_is_refused(bad: MapPoints) -> None:
    with pytest.raises(InputError, match="cannot be interpolated") as caught:
        speed_lines(bad)
    assert caught.value.where == "map.csv"


# -- the route ----------------------------------------------------------------


def setup_with(path: object, **how: float) -> EngineSetup:
    plain = TURBO_DIESEL.setup()
    return plain.model_copy(update={"compressor_map": CompressorMap(file=str(path), **how)})


def run_at(speed_rpm: np.ndarray, share: np.ndarray, *, t_k: float, p_pa: float) -> Run:
    """Return a run whose compressor turns at corrected speeds, at shares of the choking flow."""
    n = speed_rpm.size
    ratio = ratio_of(speed_rpm, share * choke_kgps(speed_rpm))
    return Run(
        name="run",
        log=Log(path="run", reader="test", sha256="", channels={}),
        time_s=0.1 * np.arange(n),
        speed_rpm=np.full(n, 3000.0),
        native_step_s=0.1,
        p_manifold_pa=ratio * p_pa,
        p_ambient_pa=p_pa,
        t_ambient_k=t_k,
        turbo_speed_rpm=speed_rpm * np.sqrt(t_k / T_REF_K),
    )


@pytest.mark.parametrize(("t_k", "p_pa"), [(T_REF_K, P_REF_PA), (310.0, 92e3), (273.0, 101e3)])
def test_the_route_undoes_the_correction(tmp_path: object, t_k: float, p_pa: float) -> None:
    speed, share = np.linspace(90e3, 160e3, 40), np.linspace(0.55, 0.85, 40)
    run = run_at(speed, share, t_k=t_k, p_pa=p_pa)
    found = compressor_map(run, setup_with(write_map(tmp_path)), SIZES)
    # Corrected terms, from memory of SAE J1826: m = m_corr (p / p_ref) / sqrt(T / T_ref).
    expected = share * choke_kgps(speed) * (p_pa / P_REF_PA) / np.sqrt(t_k / T_REF_K)
    np.testing.assert_allclose(found.mdot_kgps, expected, rtol=6e-3)


def test_the_uncertainty_is_that_of_the_maps_steepness(tmp_path: object) -> None:
    setup = setup_with(write_map(tmp_path))
    speed = np.full(30, 130e3)
    u = {}
    for share in (0.5, 0.85):
        run = run_at(speed, np.full(30, share), t_k=T_REF_K, p_pa=P_REF_PA)
        found = compressor_map(run, setup, SIZES)
        (pressure,) = [i for i in found.budget if i.key == "manifold_pressure"]
        flow = share * choke_kgps(speed)
        step = 1e-4
        slope = np.log(ratio_of(speed, flow * (1 + step)) / ratio_of(speed, flow * (1 - step)))
        assert pressure.sensitivity == pytest.approx(float((2 * step / slope)[0]), rel=0.05)
        assert pressure.sensitivity < 0.0
        u[share] = float(found.u_kgps[0] / found.mdot_kgps[0])
    # Near the peak the lines are flat: the same pressure says less of the flow.
    assert u[0.5] > 1.5 * u[0.85]


def test_flat_parts_of_the_map_give_no_flow(tmp_path: object) -> None:
    run = run_at(np.full(9, 130e3), np.linspace(0.34, 0.8, 9), t_k=T_REF_K, p_pa=P_REF_PA)
    flow = compressor_map(run, setup_with(write_map(tmp_path)), SIZES).mdot_kgps
    assert np.isnan(flow[0])
    assert np.isfinite(flow[-1])
    assert MAX_SENSITIVITY > 3.0


def test_what_is_assumed_is_noted(tmp_path: object) -> None:
    run = run_at(np.full(9, 130e3), np.full(9, 0.7), t_k=T_REF_K, p_pa=P_REF_PA)
    path = write_map(tmp_path)
    bare = compressor_map(replace(run, t_ambient_k=None), setup_with(path), SIZES)
    full = compressor_map(
        replace(run, depression_pa=np.full(9, 2e3)), setup_with(path, cooler_drop_kpa=5.0), SIZES
    )
    assert len(bare.notes) == 3
    assert full.notes == ()
