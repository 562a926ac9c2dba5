"""One configuration: when a reading is credible, and when that cannot be said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import t as student_t

from airsense.cause import Cause
from airsense.estimates.defaults import DEFAULT_DOF, defaults_for
from airsense.estimates.estimate import Estimate, Influence
from airsense.estimates.routes import Unused
from airsense.estimates.segments import Kind
from airsense.evidence.budget import route_budget
from airsense.evidence.cells import Cells
from airsense.evidence.level import (
    BENDING,
    MOST_RECIRCULATION,
    PLAUSIBLE_HALF_WIDTH,
    CheckVerdict,
    Level,
    judge_level,
    level_table,
)
from airsense.evidence.level_routes import LevelInput, Recirculation, level_estimates
from airsense.evidence.matched import LnChange
from airsense.evidence.priors import LEVEL_SIZE, PriorTable
from airsense.evidence.rest import Rest, RestKind
from airsense.setup.engine import Uncertainty

ROUTES = ("speed_density", "fuel_lambda")
SIZES = defaults_for(Uncertainty(), charge_temperature_estimated=False)
CELLS = 24


def cells_of(error: float, routes: int = 2, fuel: float = 0.0) -> Cells:
    """Return two runs over a range of speed and pressure whose reading is off by a fraction."""
    run = np.repeat([0, 1], CELLS // 2)
    share = np.tile(np.linspace(0.0, 1.0, CELLS // 2), 2)
    speed, p = 1600.0 + 2000.0 * share, 1.6e5 + 0.8e5 * share
    ln_air = np.log(0.08) + np.log(speed / 2600.0) + np.log(p / 2e5)
    plain = np.zeros(CELLS)
    route = np.array([ln_air, ln_air + fuel])[:routes]
    return Cells(
        routes=ROUTES[:routes],
        run=run,
        after=np.ones(CELLS, dtype=bool),
        kind=np.full(CELLS, int(Kind.DRIVE)),
        sweep=np.zeros(CELLS, dtype=bool),
        time_s=np.arange(CELLS, dtype=float),
        length_s=np.ones(CELLS),
        ln_maf=ln_air + np.log1p(error),
        ln_route=route,
        u_noise=np.full((routes, CELLS), 0.005),
        speed_rpm=speed,
        p_manifold_pa=p,
        p_ambient_pa=plain + 1e5,
        t_charge_k=plain + 315.0,
        t_inlet_k=plain * np.nan,
        lambda_=plain + 1.4,
        map_slope=plain * np.nan,
        rate_ps=plain,
    )


def rest_of(value: float | None) -> Rest:
    """Return one reading of the pressure sensor with the engine still, or none."""
    n = 0 if value is None else 1
    return Rest(
        run=np.zeros(n, dtype=np.int64),
        after=np.ones(n, dtype=bool),
        kind=np.full(n, int(RestKind.STILL)),
        value=np.full(n, 0.0 if value is None else value),
        pressure_pa=np.full(n, 1e5),
        u_noise=np.full(n, 1e-3),
    )


def influence(key: str, absolute: float, run: float = 0.003) -> Influence:
    return Influence(key=key, label=key, absolute=absolute, run=run, between=0.0)


def given(
    error: float,
    *,
    u_ve: float = 0.05,
    u_fuel: float = 0.04,
    routes: int = 2,
    fuel: float = 0.0,
    recirculation: Recirculation = Recirculation.EXCLUDED,
    rest: float | None = None,
) -> LevelInput:
    budgets = (influence("volumetric_efficiency", u_ve), influence("fuel", u_fuel))
    estimates = {
        name: [Estimate(method=name, mdot_kgps=np.ones(1), budget=(budget,))]
        for name, budget in zip(ROUTES[:routes], budgets, strict=False)
    }
    return LevelInput(
        cells=cells_of(error, routes, fuel),
        rest=rest_of(rest),
        budget=route_budget(estimates, SIZES),
        unused=(Unused(method="brake_power", reason="no brake power or torque was logged"),),
        recirculation=recirculation,
    )


def level(error: float, **more: object) -> Level:
    return judge_level(given(error, **more))  # type: ignore[arg-type]


def test_an_error_inside_what_the_routes_can_know_is_plausible() -> None:
    got = level(0.02)
    assert got.verdict is CheckVerdict.PLAUSIBLE
    assert got.sensor_error is not None
    assert got.sensor_error.contains(0.0)
    assert got.sensor_error.contains(0.02)
    assert got.sensor_error.half_width < PLAUSIBLE_HALF_WIDTH
    assert "agrees" in got.sentence


@pytest.mark.parametrize("error", [0.30, -0.25])
def test_an_error_far_beyond_is_implausible(error: float) -> None:
    got = level(error)
    assert got.verdict is CheckVerdict.IMPLAUSIBLE
    assert got.sensor_error is not None
    assert got.sensor_error.contains(error)
    assert "disagrees" in got.sentence
    assert got.causes[0].cause is Cause.SENSOR_SCALE


def test_routes_that_know_too_little_settle_nothing() -> None:
    got = level(0.02, u_ve=0.2, routes=1)
    assert got.verdict is CheckVerdict.UNDETERMINED
    assert got.sensor_error is not None
    assert got.sensor_error.half_width > PLAUSIBLE_HALF_WIDTH
    assert got.sentence.startswith("Undetermined")


def test_an_error_at_the_edge_is_undetermined_not_implausible() -> None:
    found = [level(e) for e in np.linspace(0.03, 0.25, 12)]
    order = [CheckVerdict.PLAUSIBLE, CheckVerdict.UNDETERMINED, CheckVerdict.IMPLAUSIBLE]
    ranks = [order.index(v.verdict) for v in found]
    assert ranks == sorted(ranks)
    assert set(ranks) == {0, 1, 2}
    for one in found:
        assert one.sensor_error is not None
        if one.verdict is CheckVerdict.IMPLAUSIBLE:
            assert not one.sensor_error.contains(0.0)


def test_the_interval_is_that_of_least_squares_over_the_routes() -> None:
    got = level(0.1)
    assert got.sensor_error is not None
    # Two routes of 5 and 4 %, each with two runs of 0.3 %; sensor 0.3 % in both.
    own = np.diag([0.05**2 + 0.003**2 / 2, 0.04**2 + 0.003**2 / 2]) + 0.003**2 / 2
    u = float(1.0 / np.sqrt(np.linalg.inv(own).sum()))
    plain = LnChange(value=float(np.log1p(0.1)), u=u, dof=DEFAULT_DOF).interval()
    # Faults that the routes leave open make it a little wider, never narrower.
    assert 0.97 * plain.half_width < got.sensor_error.half_width < 1.25 * plain.half_width
    assert got.sensor_error.value == pytest.approx(0.1, abs=0.01)


def test_each_routes_own_answer_has_its_absolute_uncertainty() -> None:
    got = level(0.1)
    used = [e for e in got.estimates if e.used]
    assert [e.method for e in used] == list(ROUTES)
    for row, u_abs in zip(used, (0.05, 0.04), strict=True):
        assert row.sensor_error is not None
        assert row.sensor_error.value == pytest.approx(0.1, abs=1e-6)
        repeat = np.sqrt((0.003**2 + SIZES.mass_air_flow.run**2) / 2 + 0.005**2 / CELLS)
        assert row.u_repeat == pytest.approx(repeat, rel=0.1)
        whole = LnChange(
            value=float(np.log1p(0.1)), u=float(np.hypot(u_abs, repeat)), dof=DEFAULT_DOF
        ).interval()
        assert row.sensor_error.low == pytest.approx(whole.low, abs=2e-3)
        assert row.sensor_error.high == pytest.approx(whole.high, abs=2e-3)
        assert row.state is not None
        assert row.state.t_k == pytest.approx(315.0)
    (unused,) = [e for e in got.estimates if not e.used]
    assert (unused.method, unused.sensor_error) == ("brake_power", None)


def test_a_speed_has_its_own_error_and_states() -> None:
    got = level(0.1)
    assert len(got.by_speed) > 3
    for row in got.by_speed:
        assert row.sensor_error.contains(0.1)
        assert row.samples > 0
    speeds = [r.engine_speed_rpm for r in got.by_speed]
    assert speeds == sorted(speeds)


def test_two_routes_narrow_what_one_leaves() -> None:
    two, one = level(0.1).sensor_error, level(0.1, routes=1).sensor_error
    assert two is not None
    assert one is not None
    assert two.half_width < one.half_width


@pytest.mark.parametrize("seen", [Recirculation.POSSIBLE, Recirculation.SUSPECTED])
def test_what_exhaust_gas_can_make_is_never_the_sensors(seen: Recirculation) -> None:
    got = level(-0.35, routes=1, recirculation=seen)
    assert got.verdict is CheckVerdict.UNDETERMINED
    assert "recirculation" in got.sentence
    assert "35 %" in got.sentence
    assert got.table.of(Cause.RECIRCULATION).size > PriorTable().of(Cause.RECIRCULATION).size
    assert Cause.RECIRCULATION in {c.cause for c in got.causes}


def test_exhaust_gas_excuses_neither_a_high_reading_nor_more_than_it_can_take() -> None:
    high = level(0.5, routes=1, recirculation=Recirculation.SUSPECTED)
    assert high.verdict is CheckVerdict.IMPLAUSIBLE
    assert high.table.of(Cause.RECIRCULATION) == PriorTable().of(Cause.RECIRCULATION)
    lost = level(-MOST_RECIRCULATION - 0.15, routes=1, recirculation=Recirculation.SUSPECTED)
    assert lost.verdict is CheckVerdict.IMPLAUSIBLE
    second = level(-0.35, recirculation=Recirculation.SUSPECTED)
    assert second.verdict is CheckVerdict.IMPLAUSIBLE, "fuel x lambda is not moved by it"
    shut = level(-0.35, routes=1)
    assert shut.verdict is CheckVerdict.IMPLAUSIBLE


def test_one_route_cannot_tell_a_bent_reading_from_its_own_curve() -> None:
    table = level_table(PriorTable(), routes=1)
    assert not {p.cause for p in table.rows()} & set(BENDING)
    bent = given(0.3, routes=1)
    curve = 0.1 * (bent.cells.ln_maf - bent.cells.ln_maf.mean())
    got = judge_level(replace(bent, cells=replace(bent.cells, ln_maf=bent.cells.ln_maf + curve)))
    assert got.causes[0].cause is Cause.SENSOR_SCALE
    assert set(BENDING) <= set(got.causes[0].not_separable_from)


def test_the_factor_of_a_level_is_wide() -> None:
    scale = level_table(PriorTable(), routes=2).of(Cause.SENSOR_SCALE)
    assert (scale.size, scale.heavy_share) == (LEVEL_SIZE, 0.0)


def test_a_pressure_sensor_that_is_off_at_rest_is_at_work() -> None:
    """With fuel x lambda beside it: what the sensor shows at rest tells which route is false."""
    blind, seen = (level(0.0, fuel=0.15, rest=r) for r in (0.0, -0.15))
    gains = [
        sum(c.probability for c in got.causes if c.cause.value.startswith("manifold_pressure"))
        for got in (blind, seen)
    ]
    assert gains[1] > 2.0 * gains[0]


@pytest.mark.parametrize("kind", [Kind.IDLE, Kind.OVERRUN])
def test_nothing_under_load_is_undetermined_with_a_sentence(kind: Kind) -> None:
    made = given(0.4)
    got = judge_level(replace(made, cells=replace(made.cells, kind=np.full(CELLS, int(kind)))))
    assert got.verdict is CheckVerdict.UNDETERMINED
    assert got.sensor_error is None
    assert "under load" in got.sentence
    assert not any(e.used for e in got.estimates)


def test_a_window_of_speed_limits_what_is_judged() -> None:
    got = judge_level(replace(given(0.1), rpm=(2000.0, 2400.0)))
    assert all(1990.0 < r.engine_speed_rpm < 2410.0 for r in got.by_speed)
    assert judge_level(replace(given(0.1), rpm=(5000.0, 6000.0))).sensor_error is None


def test_a_routes_level_is_as_good_as_its_absolute_size_and_no_better_by_repeats():
    """u = sqrt(sum of squares): JCGM 100:2008, 5.1.2."""
    (row, other, _) = level_estimates(given(0.0), np.ones(CELLS, dtype=bool))
    assert (row.method, other.method) == ROUTES
    error = row.sensor_error
    assert error is not None
    t95 = student_t.ppf(0.975, DEFAULT_DOF)
    # Two runs of route and sensor, 0.3 % each, and the noise of the cells.
    repeat = np.sqrt((0.003**2 + 0.003**2) / 2 + 0.005**2 / CELLS)
    half = t95 * np.sqrt(0.05**2 + repeat**2)
    assert row.u_repeat == pytest.approx(repeat, rel=0.02)
    assert 0.5 * (np.log1p(error.high) - np.log1p(error.low)) == pytest.approx(half, rel=0.02)
