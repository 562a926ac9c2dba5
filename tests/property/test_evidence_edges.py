"""Edges of the evidence: dense algebra beside the model's own, and the last row of each table."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from airsense.estimates.segments import Kind
from airsense.evidence.level_routes import State
from airsense.evidence.normal import (
    U_STATE_CONFIGURATION,
    U_STATE_RUN,
    normal_equations,
)
from airsense.evidence.planning.channels import STILL, missing, template_for, with_still
from airsense.evidence.planning.resolution import Look, _declared
from airsense.evidence.planning.states import PlannedQuantity, _fair
from airsense.evidence.rest import RestKind, no_rest
from airsense.evidence.screening import MIN_LOGS, Levels, against_others, at_one_state, fit_drift
from airsense.evidence.signatures import leak_shapes
from airsense.evidence.verdict import (
    SURE,
    Claimed,
    Evidence,
    Question,
    Verdict,
    decide,
    decide_tune,
)
from airsense.setup.engine import EngineSetup
from airsense.transfer.file import read_table
from airsense.transfer.findings import rounding_finding
from airsense.transfer.model import SignalKind
from airsense.transfer.table_check import mistyped_rows
from tests.evidence_inputs import budget_of, cells_of

SETUP = EngineSetup.model_validate(
    {"engine": {"displacement_l": 3.0, "cylinders": 6, "ignition": "compression"}}
)
PLAIN = frozenset({"engine_speed", "mass_air_flow"})


def spread(mean: float, u: float) -> Evidence:
    values = mean + u * norm.ppf((np.arange(4000) + 0.5) / 4000)
    return Evidence(stated=Claimed(values=values, weight=np.full(4000, 1 / 4000)), varied=())


@pytest.mark.parametrize(
    ("intake_u", "surplus_u", "wanted"),
    [
        (0.003, 0.003, Verdict.NO_CHANGE),
        (0.020, 0.003, Verdict.UNDETERMINED),
        (0.003, 0.020, Verdict.UNDETERMINED),
    ],
)
def test_no_change_needs_both_the_reading_and_the_intake_to_be_quiet(
    intake_u: float, surplus_u: float, wanted: Verdict
) -> None:
    question = Question(
        surplus=spread(0.0, surplus_u),
        surplus_high=2.0 * surplus_u,
        intake=spread(0.0, intake_u),
        engine=spread(0.0, intake_u),
    )
    assert decide(question) is wanted


@pytest.mark.parametrize("inside", [SURE - 0.01, SURE + 0.002])
def test_no_gain_of_a_tune_is_said_from_the_declared_probability_on(inside: float) -> None:
    u = 0.01 / norm.ppf(0.5 + 0.5 * inside)
    wanted = Verdict.TUNE_NO_GAIN if inside >= SURE else Verdict.UNDETERMINED
    assert decide_tune(spread(0.0, u)) is wanted


def test_normal_equations_are_those_of_a_dense_least_squares() -> None:
    """Weighted least squares, X'WX and X'Wy: JCGM 102, 5.2; two routes share a cell's noise."""
    rng = np.random.default_rng(4)
    cells = cells_of(runs=2, size=5)
    route = cells.ln_route + 0.01 * rng.standard_normal(cells.ln_route.shape)
    route[1, ::3] = np.nan  # one route alone there
    cells = replace(cells, ln_route=route)
    x = rng.standard_normal((2, cells.size, 3))
    mean = np.array([0.1, -0.2, 0.3])
    got = normal_equations(x, np.zeros((0, 3)), mean, cells, no_rest())
    own = U_STATE_RUN**2 + 2.0 * U_STATE_CONFIGURATION**2
    rows, y, w = [], [], []
    for k in range(2):
        for i in range(cells.size):
            if not np.isfinite(route[k, i]):
                continue
            both = np.isfinite(route[:, i]).all()
            rows.append(x[k, i])
            y.append(cells.residual[k, i] - x[k, i] @ mean)
            w.append(1.0 / ((cells.u_noise[k, i] ** 2 + own) * (1.5 if both else 1.0)))
    dense, weight, left = np.array(rows), np.array(w), np.array(y)
    np.testing.assert_allclose(got.xwx, dense.T @ (weight[:, None] * dense), rtol=1e-12)
    np.testing.assert_allclose(got.xwy, dense.T @ (weight * left), rtol=1e-12)
    assert got.ywy == pytest.approx(float(weight @ left**2))


def levels(error: np.ndarray, *, warm_k: float = 0.0, slope: float = 0.15) -> Levels:
    """Return logs whose reading follows temperature by a slope, at states that differ by log."""
    t = 310.0 + warm_k * np.linspace(-1.0, 1.0, error.size)
    states = tuple(
        State(t_k=float(x), p_manifold_pa=2e5, speed_rpm=2500.0, t_is_inlet=False) for x in t
    )
    return Levels(
        ln_ratio=slope * np.log(t / 310.0) + error, u=np.full(error.size, 0.01), states=states
    )


def test_a_log_lies_off_the_others_by_its_own_error() -> None:
    error = np.zeros(9)
    error[4] = 0.20
    found = against_others(levels(error))
    assert found[4] is not None
    assert found[4].value == pytest.approx(0.20, abs=0.01)
    others = [f.value for k, f in enumerate(found) if f is not None and k != 4]
    assert np.abs(others).max() < 0.02, "an odd log does not move what the others are held against"
    assert against_others(levels(np.zeros(2))) == (None, None)


@pytest.mark.parametrize("slope", [0.0, 0.15, 0.5])
def test_logs_of_other_temperature_are_compared_at_one(slope: float) -> None:
    """The slope is learned from the logs, about its prior of 0.15 +- 0.2."""
    y, u = at_one_state(levels(np.zeros(21), warm_k=25.0, slope=slope))
    assert np.ptp(y) < 0.3 * max(abs(slope - 0.15), 0.05) * np.log(335.0 / 285.0) + 1e-6
    assert np.all(u >= 0.01)
    assert u[0] > u[10], "the middle state needs no slope"


def test_three_logs_make_a_line_and_two_do_not() -> None:
    day = np.array([0.0, 10.0, 20.0])
    found = fit_drift(day, np.array([0.00, 0.01, 0.02]), np.full(3, 0.002))
    assert MIN_LOGS == 3
    assert found is not None
    assert found.change.value == pytest.approx(np.expm1(0.02), abs=1e-6)
    assert found.days == 20.0
    assert fit_drift(day[:2], np.zeros(2), np.full(2, 0.002)) is None
    assert fit_drift(np.zeros(3), np.zeros(3), np.full(3, 0.002)) is None


def test_a_leak_takes_nothing_where_there_is_no_boost() -> None:
    """ISO 9972, flow through a gap by its pressure drop: none at none, from memory."""
    cells = cells_of(idle=True)
    dip = replace(
        cells, p_manifold_pa=np.where(cells.kind == Kind.IDLE, 0.97e5, cells.p_manifold_pa)
    )
    for made in (cells, dip):
        for shape in leak_shapes(made):
            still = shape[made.p_manifold_pa < made.p_ambient_pa]
            np.testing.assert_array_equal(still, 0.0)
            full = made.boost_pa >= 0.9 * made.boost_pa.max()
            assert np.mean(shape[full]) == pytest.approx(1.0)
            assert np.all(shape >= 0.0)


@pytest.mark.parametrize("runs", [2, 3, 7])
def test_planned_runs_scatter_by_just_their_size(runs: int) -> None:
    z = _fair(np.random.default_rng(1), runs, (4, 5))
    np.testing.assert_allclose(z.mean(axis=0), 0.0, atol=1e-12)
    np.testing.assert_allclose(z.std(axis=0, ddof=1), 1.0, rtol=1e-12)
    assert not _fair(np.random.default_rng(1), 1, (4,)).any()


@pytest.mark.parametrize(
    ("channels", "superfluous"),
    [
        ({"manifold_pressure"}, {"boost_pressure", "barometric_pressure"}),
        ({"boost_pressure"}, {"boost_pressure", STILL}),
        ({"manifold_pressure", STILL}, {STILL}),
        ({"fuel_mass_flow", "boost_pressure"}, {"fuel_per_stroke"}),
        ({"boost_pressure", "barometric_pressure"}, {"barometric_pressure"}),
    ],
)
def test_a_plan_proposes_nothing_that_is_there_or_says_nothing(
    channels: set[str], superfluous: set[str]
) -> None:
    have = PLAIN | channels
    proposed = {a.channel for a in missing(have, template_for(have, SETUP))}
    assert not superfluous & proposed
    assert not proposed & have


def test_what_a_plan_lacks_is_proposed() -> None:
    have = PLAIN | {"boost_pressure"}
    proposed = {a.channel for a in missing(have, template_for(have, SETUP))}
    assert {"barometric_pressure", "fuel_per_stroke", "charge_temperature"} <= proposed
    absolute = PLAIN | {"manifold_pressure"}
    assert STILL in {a.channel for a in missing(absolute, template_for(absolute, SETUP))}


def test_a_planned_reading_at_rest_is_one_of_the_first_run() -> None:
    rest = with_still(no_rest(), frozenset({STILL}))
    assert rest.count(RestKind.STILL) == 1
    assert (int(rest.run[0]), bool(rest.after[0]), float(rest.value[0])) == (0, False, 0.0)
    assert with_still(rest, frozenset({STILL})) is rest
    assert with_still(no_rest(), PLAIN).size == 0


def test_the_budget_of_a_plan_is_that_of_a_mean_of_runs() -> None:
    """u^2 of a change = between^2 + 2/n run^2: JCGM 100, 5.1.2, and 4.2.3 for the mean."""
    template = replace(
        template_for(PLAIN | {"manifold_pressure", "charge_temperature"}, SETUP),
        budget=budget_of(("speed_density",)),
    )
    for runs in (1, 3, 8):
        seen = Look(
            template=template,
            quantity=PlannedQuantity.SENSOR_SKEW,
            runs=runs,
            posterior=None,  # type: ignore[arg-type]
            judged=None,
        )
        for part, (label, u, averages) in zip(template.budget.parts, _declared(seen), strict=True):
            weight = 2.0 / runs
            moved = abs(float(part.sensitivity[0]))
            assert label == part.label
            assert u == pytest.approx(moved * np.sqrt(part.between**2 + weight * part.run**2))
            assert averages is bool(weight * part.run**2 > part.between**2)


def table_file(tmp_path: Path, flows: list[str], header: str = "signal (V),flow (kg/h)") -> Path:
    path = tmp_path / "table.csv"
    rows = [f"{0.5 + 0.4 * k:.2f},{flow}" for k, flow in enumerate(flows)]
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def test_whole_numbers_are_told_only_where_a_table_is_typed_in_them(tmp_path: Path) -> None:
    whole = read_table(table_file(tmp_path, ["10", "25", "60", "130", "260", "420", "600"]))
    coarse = whole.flow_kgps * 1.02
    found = rounding_finding(whole, coarse)
    assert found is not None, "10.2 kg/h cannot be typed"
    assert rounding_finding(whole, whole.flow_kgps) is None
    fine = read_table(
        table_file(tmp_path, ["10.0", "25.5", "60.2", "130.4", "260.1", "420", "600"])
    )
    assert rounding_finding(fine, coarse) is None
    assert rounding_finding(replace(whole, layout=None), coarse) is None


def test_only_a_voltage_follows_kings_law(tmp_path: Path) -> None:
    flows = [f"{4.0 * (1.0 + k) ** 2:.1f}" for k in range(14)]
    flows[8] = f"{1.15 * float(flows[8]):.1f}"
    volts = read_table(table_file(tmp_path, flows))
    assert len(mistyped_rows(volts)) == 1
    assert mistyped_rows(replace(volts, kind=SignalKind.FREQUENCY)) == ()
    few = replace(volts, signal=volts.signal[6:10], flow_kgps=volts.flow_kgps[6:10])
    assert mistyped_rows(few) == ()
