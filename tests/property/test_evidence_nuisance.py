"""The nuisance columns of the model, the noise of a mean, and a slope: each against a reference."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress
from scipy.stats import t as student

from airsense.estimates import brake_power, depression, fuel_lambda, speed_density
from airsense.estimates.estimate import Estimate
from airsense.estimates.segments import Kind, segment
from airsense.evidence import run_order, sensor_shape
from airsense.evidence.cells import MAX_INFLATION, _inflation, cut
from airsense.evidence.design import (
    INLET_SLOPE,
    TEMPERATURE_SLOPE,
    U_BREATHING_BEND,
    U_BREATHING_SLOPE,
    U_EFFICIENCY_SLOPE,
    U_FUEL_SLOPE,
    U_LEAN_LAMBDA,
    Group,
    nuisance,
)
from airsense.evidence.rest import no_rest
from airsense.evidence.signatures import observed
from tests.evidence_inputs import budget_of, cells_of, run_of


def own_error(route: str, **cells: object) -> list[Group]:
    """Return the groups of one column that stand on one route alone."""
    made = cells_of(routes=(route,), **cells)
    groups = nuisance(observed(made, no_rest()), budget_of((route,)))
    return [g for g in groups if g.cells.shape[2] == 1 and g.run is None]


def column(groups: list[Group], like: np.ndarray) -> Group:
    """Return the group whose column is this one."""
    found = [g for g in groups if np.allclose(g.cells[0, :, 0], like, atol=1e-12)]
    assert len(found) == 1
    return found[0]


def centred(x: np.ndarray) -> np.ndarray:
    return np.asarray(x - x.mean())


def size_of(group: Group) -> float:
    return float(group.precision[0, 0] ** -0.5)


def test_a_pressure_route_may_lean_in_pressure_and_in_speed_times_pressure() -> None:
    cells = cells_of(routes=(speed_density.METHOD,))
    groups = own_error(speed_density.METHOD)
    n, p = centred(np.log(cells.speed_rpm)), centred(np.log(cells.p_manifold_pa))
    assert size_of(column(groups, p)) == pytest.approx(U_BREATHING_SLOPE)
    for bend in (n * p, p**2):
        assert size_of(column(groups, centred(bend))) == pytest.approx(U_BREATHING_BEND)


def test_a_pressure_route_follows_the_temperature_that_it_used() -> None:
    """Heat from the port walls: Heywood 1988, ch. 6.2, from memory."""
    size = cells_of().size
    t = 300.0 + np.linspace(0.0, 30.0, size)
    measured = own_error(speed_density.METHOD, t_charge_k=t)
    found = column(measured, centred(np.log(t)))
    assert (found.mean, size_of(found)) == pytest.approx(TEMPERATURE_SLOPE)
    estimated = own_error(speed_density.METHOD, t_inlet_k=t - 10.0)
    found = column(estimated, centred(np.log(t - 10.0)))
    assert (found.mean, size_of(found)) == pytest.approx(INLET_SLOPE)


@pytest.mark.parametrize(
    ("route", "lean"),
    [(fuel_lambda.METHOD, U_LEAN_LAMBDA), (brake_power.METHOD, U_EFFICIENCY_SLOPE)],
)
def test_a_fuel_route_follows_flow_and_lambda(route: str, lean: float) -> None:
    cells = cells_of(routes=(route,))
    lambda_ = 1.2 + 0.5 * np.linspace(0.0, 1.0, cells.size) ** 2
    groups = own_error(route, lambda_=lambda_)
    assert size_of(column(groups, centred(cells.ln_maf))) == pytest.approx(U_FUEL_SLOPE)
    assert size_of(column(groups, centred(np.log(lambda_)))) == pytest.approx(lean)


def test_a_power_route_knows_nothing_of_small_injected_quantities() -> None:
    lambda_ = 1.2 + 0.5 * np.linspace(0.0, 1.0, cells_of().size) ** 2
    fuel, power = (
        len(own_error(route, lambda_=lambda_)) for route in (fuel_lambda.METHOD, brake_power.METHOD)
    )
    assert fuel == power + 1


@pytest.mark.parametrize(("rho", "wanted"), [(0.0, 1.0), (0.5, 3.0), (0.8, 9.0)])
def test_noise_that_follows_itself_counts_as_fewer_looks(rho: float, wanted: float) -> None:
    """Variance of a mean of a first-order process, (1 + rho)/(1 - rho): Box and Jenkins, from
    memory; here against many simulated means as well."""
    rng = np.random.default_rng(5)
    n = 40_000
    x = np.empty(n)
    x[0] = rng.standard_normal()
    for k in range(1, n):
        x[k] = rho * x[k - 1] + np.sqrt(1.0 - rho**2) * rng.standard_normal()
    every, one = np.ones(n, dtype=bool), np.zeros(n, dtype=np.int64)
    found = _inflation(x, every, one)
    assert found == pytest.approx(min(wanted, MAX_INFLATION), rel=0.12)
    means = x.reshape(-1, 200).mean(axis=1)
    if wanted < MAX_INFLATION:
        assert 200.0 * np.var(means) == pytest.approx(found, rel=0.25)


def test_noise_that_alternates_or_jumps_between_runs_is_not_inflated() -> None:
    every = np.ones(400, dtype=bool)
    assert _inflation(np.tile([1.0, -1.0], 200), every, np.zeros(400, dtype=np.int64)) == 1.0
    pairs = np.repeat(np.random.default_rng(2).standard_normal(200), 2)
    apart = np.arange(400)
    assert _inflation(pairs, every, apart) == 1.0, "no two of them are of one run"


def test_a_cell_knows_how_a_route_answers_to_pressure() -> None:
    run = run_of(200, mdot_maf_kgps=0.05, p_manifold_pa=1.5e5, t_charge_k=310.0)
    flow = np.full(200, 0.05)
    slope = np.linspace(-0.4, -0.2, 200)
    plain = Estimate(method="speed_density", mdot_kgps=flow, budget=())
    mapped = Estimate(method="compressor_map", mdot_kgps=flow, budget=(), to_pressure=slope)
    found = segment(run)
    for estimates, wanted in (((plain,), np.nan), ((plain, mapped), -0.3)):
        cells = cut([run], [found], {e.method: [e] for e in estimates}, [False], [False])
        assert cells.size
        assert float(np.mean(cells.map_slope)) == pytest.approx(wanted, abs=0.05, nan_ok=True)
        assert set(cells.kind) <= {int(k) for k in Kind}


def line_of(slopes: list[float], noise: float, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Return ln(reading/depression flow) and ln(flow) of some repeats."""
    x = np.linspace(-1.0, 0.5, 30)
    rng = np.random.default_rng(seed)
    y = np.array([0.1 + s * x + noise * rng.standard_normal(x.size) for s in slopes])
    return y, np.tile(x, (len(slopes), 1))


def fixed_parts(span: float, drop_pa: float) -> float:
    """Return the variance of what no repeat shows: exponent and zero of the depression."""
    own = (0.5 * depression.U_EXPONENT * span) ** 2
    return own + (0.5 * depression.U_ZERO_PA / drop_pa) ** 2


def half_width(variance: float, own: float, own_dof: float, rest_dof: float) -> float:
    """Return what JCGM 100, G.4.1 makes of a scatter and a declared part."""
    dof = variance**2 / (own**2 / own_dof + (variance - own) ** 2 / rest_dof)
    return float(np.sqrt(variance) * student.ppf(0.975, dof))


def test_the_slope_of_one_repeat_is_that_of_a_reference_library() -> None:
    """scipy.stats.linregress: slope and its standard error, n - 2 degrees of freedom."""
    y, x = line_of([0.04], 0.02)
    wanted = linregress(x[0], y[0])
    span, drop = 1.5, 800.0
    found = sensor_shape._change(y, x, span, drop)
    assert found.value == pytest.approx(np.expm1(span * wanted.slope), rel=1e-9)
    own = (span * wanted.stderr) ** 2
    total = own + fixed_parts(span, drop)
    got = 0.5 * (np.log1p(found.high) - np.log1p(found.low))
    # Between all of the degrees of freedom in the line and all in the declared parts.
    assert half_width(total, own, 28.0, 1e9) <= got <= half_width(total, own, 28.0, 3.0)


def test_repeats_that_disagree_widen_the_slope_and_their_mean_is_the_answer() -> None:
    y, x = line_of([0.00, 0.04, 0.08], 0.001)
    apart = sensor_shape._change(y, x, 1.5, 800.0)
    y, x = line_of([0.04, 0.04, 0.04], 0.001)
    alike = sensor_shape._change(y, x, 1.5, 800.0)
    assert apart.value == pytest.approx(alike.value, abs=0.002)
    # Standard error of three slopes 0.04 apart: 0.04/sqrt(3) x 1.5, two degrees of freedom.
    own = (0.04 / np.sqrt(3.0) * 1.5) ** 2
    total = own + fixed_parts(1.5, 800.0)
    got = 0.5 * (np.log1p(apart.high) - np.log1p(apart.low))
    assert half_width(total, own, 2.0, 1e9) * 0.97 <= got <= half_width(total, own, 2.0, 3.0) * 1.03
    assert alike.half_width < 0.7 * apart.half_width


def test_two_repeats_that_disagree_are_heard_too() -> None:
    y, x = line_of([0.00, 0.08], 0.001)
    found = sensor_shape._change(y, x, 1.5, 800.0)
    own = (0.08 / 2.0 * 1.5) ** 2  # standard error of two slopes 0.08 apart, one degree of freedom
    total = own + fixed_parts(1.5, 800.0)
    got = 0.5 * (np.log1p(found.high) - np.log1p(found.low))
    assert half_width(total, own, 1.0, 1e9) * 0.9 <= got <= half_width(total, own, 1.0, 3.0) * 1.1


def test_what_two_flows_say_of_one_drift_is_weighed_by_their_doubt() -> None:
    """Weights 1/u^2, 0.8 and 0.2: JCGM 100, 5.1; the scatter between them does not average."""
    mean, apart = run_order._together([(0.0, 1.0), (3.0, 2.0)])
    assert mean == pytest.approx(0.6)
    assert apart == pytest.approx(np.sqrt(0.8 * 0.6**2 + 0.2 * 2.4**2))
