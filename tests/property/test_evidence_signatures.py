"""What each cause does to the observations: on which route, with which sign, where, and when."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.cause import Cause
from airsense.estimates import brake_power, compressor_map, fuel_lambda, speed_density
from airsense.estimates.segments import Kind
from airsense.evidence.priors import PriorTable
from airsense.evidence.rest import Rest
from airsense.evidence.signatures import (
    curve_columns,
    effects_of,
    leak_shapes,
    load_share,
    observed,
    pulsation_shapes,
)
from tests.evidence_inputs import AMBIENT_PA, cells_of, forms_of, rest_of

SD, FUEL, POWER = speed_density.METHOD, fuel_lambda.METHOD, brake_power.METHOD
ALL = (SD, FUEL, POWER)
EVERY = [c for c in Cause if c is not Cause.NONE]
REST = rest_of(before=(0.0, 0.0, 0.0), after=(0.01, 0.01, 0.01))


@pytest.mark.parametrize("cause", EVERY)
def test_nothing_is_moved_before_the_change(cause: Cause) -> None:
    cells = cells_of(routes=ALL, idle=True)
    forms = forms_of(cause, cells, REST)
    assert forms
    for form in forms:
        assert not np.any(form.cells[:, ~cells.after])
        assert not np.any(form.rest[~REST.after])
        assert np.any(form.cells[:, cells.after]) or np.any(form.rest[REST.after])


@pytest.mark.parametrize("cause", EVERY)
def test_sizes_have_a_proper_prior_and_forms_share_one_probability(cause: Cause) -> None:
    forms = forms_of(cause, cells_of(routes=ALL, idle=True), REST)
    for form in forms:
        assert np.linalg.eigvalsh(form.precision + form.fixed).min() > 0.0
        assert form.cells.shape[2] == form.rest.shape[1] == form.precision.shape[0]
    assert sum(f.share for f in forms) == pytest.approx(1.0)


# cause: sign of its first column on speed density, fuel x lambda, brake power, and at rest
SIGNS = {
    Cause.SENSOR_SCALE: (1, 1, 1, 0),
    Cause.SENSOR_SHAPE: (1, 1, 1, 0),
    Cause.PULSATION: (1, 1, 1, 0),
    Cause.LEAK_AFTER_COMPRESSOR: (1, 1, 1, 0),
    Cause.LEAK_BEFORE_COMPRESSOR: (-1, -1, -1, 0),
    Cause.MANIFOLD_PRESSURE_GAIN: (-1, 0, 0, 1),
    Cause.MANIFOLD_PRESSURE_OFFSET: (-1, 0, 0, 1),
    Cause.CHARGE_TEMPERATURE: (1, 0, 0, 0),
    Cause.VOLUMETRIC_EFFICIENCY: (1, 0, 0, 0),
    Cause.RECIRCULATION: (-1, 0, 0, 0),
    Cause.FUEL_SCALE: (0, -1, 0, 0),
    Cause.LAMBDA_SCALE: (0, -1, -1, 0),
}


def test_every_cause_is_tabled() -> None:
    assert set(SIGNS) == set(EVERY) == {p.cause for p in PriorTable().rows()}


@pytest.mark.parametrize("cause", SIGNS)
def test_sign_on_each_route_and_at_rest(cause: Cause) -> None:
    """A sensor or route that shows more than there is: MAF over route by that sign."""
    cells = cells_of(routes=ALL)
    laden = cells.after & (cells.ln_maf > np.quantile(cells.ln_maf, 0.5))
    for form in forms_of(cause, cells, REST):
        on_routes = [int(np.sign(form.cells[k, laden, 0].mean())) for k in range(len(ALL))]
        at_rest = int(np.sign(form.rest[REST.after, 0].mean()))
        assert (*on_routes, at_rest) == SIGNS[cause]


def test_a_factor_is_one_everywhere_and_the_curve_gives_it_anywhere() -> None:
    cells = cells_of(idle=True)
    (form,) = forms_of(Cause.SENSOR_SCALE, cells)
    np.testing.assert_array_equal(form.cells[:, cells.after, 0], 1.0)
    seen = observed(cells, rest_of())
    columns = curve_columns(seen, cells.ln_maf[cells.after])
    np.testing.assert_allclose(columns, form.cells[0, cells.after])
    wide = observed(cells, rest_of(), (np.log(0.001), np.log(1.0)))
    assert wide.basis.knots[0] == pytest.approx(np.log(0.001))
    assert wide.basis.knots[-1] == pytest.approx(0.0)


def test_splines_of_the_curve_add_to_one() -> None:
    """So that a factor can be told as a bend of the whole curve, and has to be cheap as one."""
    cells = cells_of()
    columns = curve_columns(observed(cells, rest_of()), cells.ln_maf)
    np.testing.assert_allclose(columns[:, 1:].sum(axis=1), 1.0)


def test_a_pressure_gain_goes_with_pressure_and_an_offset_does_not() -> None:
    cells = cells_of(idle=True)
    (gain,) = forms_of(Cause.MANIFOLD_PRESSURE_GAIN, cells, REST)
    (offset,) = forms_of(Cause.MANIFOLD_PRESSURE_OFFSET, cells, REST)
    np.testing.assert_array_equal(gain.cells[0, cells.after, 0], -1.0)
    np.testing.assert_allclose(
        offset.cells[0, cells.after, 0], -1e5 / cells.p_manifold_pa[cells.after]
    )
    np.testing.assert_array_equal(gain.rest[REST.after, 0], 1.0)
    np.testing.assert_allclose(offset.rest[REST.after, 0], 1e5 / REST.pressure_pa[REST.after])


def test_a_kelvin_of_charge_temperature_is_worth_its_share() -> None:
    cells = cells_of(idle=True)
    (form,) = forms_of(Cause.CHARGE_TEMPERATURE, cells)
    idle = cells.after & (cells.kind == Kind.IDLE)
    laden = cells.after & (cells.kind == Kind.PULL)
    np.testing.assert_allclose(form.cells[0, laden].sum(axis=1), 2.0 / 315.0)
    np.testing.assert_allclose(form.cells[0, idle].sum(axis=1), 1.0 / 315.0)


def test_lambda_moves_brake_power_where_the_mixture_is_lean() -> None:
    """Rich, the power goes with the air that is burnt, whatever lambda shows of the fuel."""
    lean = cells_of(routes=ALL)
    rich = cells_of(routes=ALL, lambda_=np.full(lean.size, 0.88))
    for cells, moved in ((lean, True), (rich, False)):
        (form,) = forms_of(Cause.LAMBDA_SCALE, cells)
        assert bool(np.any(form.cells[2])) is moved
        assert np.any(form.cells[1])


def test_a_cause_without_its_route_cannot_show_and_is_none() -> None:
    cells = cells_of(routes=(SD,))
    assert forms_of(Cause.FUEL_SCALE, cells) == ()
    assert forms_of(Cause.LAMBDA_SCALE, cells) == ()
    by_fuel = cells_of(routes=(FUEL,))
    assert forms_of(Cause.CHARGE_TEMPERATURE, by_fuel) == ()
    assert forms_of(Cause.MANIFOLD_PRESSURE_GAIN, by_fuel) == ()
    assert forms_of(Cause.MANIFOLD_PRESSURE_GAIN, by_fuel, REST), "it shows at rest"


# Leaks


def test_a_leak_behind_the_compressor_grows_with_boost_and_is_one_at_full_boost() -> None:
    plain = cells_of(idle=True)
    idling = plain.kind == Kind.IDLE
    cells = replace(plain, p_manifold_pa=np.where(idling, 0.99e5, plain.p_manifold_pa))
    full = cells.boost_pa >= 0.9 * cells.boost_pa.max()
    shapes = leak_shapes(cells)
    assert len(shapes) == 4
    for shape in shapes:
        assert shape[full].mean() == pytest.approx(1.0)
        np.testing.assert_array_equal(shape[idling], 0.0)
        assert np.all(shape[~idling] > 0.0)
    by_joint = shapes[2]
    np.testing.assert_allclose(by_joint / by_joint.max(), cells.boost_pa / cells.boost_pa.max())


def test_a_hole_of_one_size_loses_a_larger_share_of_a_small_flow() -> None:
    cells = cells_of(p_manifold_pa=np.full(48, 2.0e5))
    hole = leak_shapes(cells)[0]
    order = np.argsort(cells.ln_maf[:8])
    assert np.all(np.diff(hole[:8][order]) < 0.0)


def test_what_a_crack_loses_goes_as_the_pressure_drop() -> None:
    """Flow exponent 1, that of a hole 1/2 at a small drop: ISO 9972:2015, from memory."""
    p = np.where(np.arange(48) % 2 == 0, AMBIENT_PA + 1.0e3, AMBIENT_PA + 2.0e3)
    top = AMBIENT_PA + 9.0e3
    cells = cells_of(p_manifold_pa=np.where(np.arange(48) < 8, p, top))
    flow = np.exp(cells.ln_maf)
    hole, crack = (shape * flow for shape in leak_shapes(cells)[:2])
    assert crack[1] / crack[0] == pytest.approx(2.0)
    assert hole[1] / hole[0] == pytest.approx(np.sqrt(2.0), rel=0.01)


def test_without_boost_there_is_no_leak_behind_the_compressor() -> None:
    cells = cells_of(p_manifold_pa=np.full(48, AMBIENT_PA))
    assert leak_shapes(cells) == ()
    assert forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells) == ()


def test_a_leak_ahead_of_the_compressor_grows_with_flow() -> None:
    cells = cells_of()
    for form in forms_of(Cause.LEAK_BEFORE_COMPRESSOR, cells):
        np.testing.assert_allclose(form.cells[0, cells.after, 0], -load_share(cells)[cells.after])
        assert form.one_sided


def test_only_leaks_are_one_sided() -> None:
    for cause in EVERY:
        one_sided = {f.one_sided for f in forms_of(cause, cells_of(routes=ALL, idle=True), REST)}
        assert one_sided == {cause.value.startswith("leak")}


def test_the_compressor_map_lies_ahead_of_the_leak_and_follows_the_pressure() -> None:
    routes = (SD, compressor_map.METHOD)
    cells = cells_of(routes=routes, map_slope=np.full(48, -2.0))
    for form in forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells):
        assert not np.any(form.cells[1, :, 0])
        assert np.any(form.cells[0, :, 0])
    (gain,) = forms_of(Cause.MANIFOLD_PRESSURE_GAIN, cells)
    np.testing.assert_allclose(gain.cells[0, cells.after, 0], -1.0)
    np.testing.assert_allclose(gain.cells[1, cells.after, 0], 2.0)


# Pulsation and recirculation


def test_pulsation_lives_at_low_speed_and_high_load_and_never_at_idle() -> None:
    cells = cells_of(idle=True)
    one = slice(0, 9)
    for shape in pulsation_shapes(cells):
        pull = shape[one][cells.kind[one] == Kind.PULL]
        assert pull[0] == pull.max() or pull[0] > 0.3
        assert pull[-1] < 0.5 * pull[0]
        np.testing.assert_array_equal(shape[cells.kind == Kind.IDLE], 0.0)


def test_pulsation_fades_with_load_at_one_speed() -> None:
    half = np.arange(48) % 2 == 0
    plain = cells_of()
    cells = cells_of(
        speed_rpm=np.full(48, 1700.0), ln_maf=np.where(half, np.log(0.08), np.log(0.04))
    )
    assert plain.size == cells.size
    for shape in pulsation_shapes(cells):
        assert shape[~half].max() < 0.6 * shape[half].min()


def test_idle_alone_has_no_pulsation() -> None:
    cells = cells_of(kind=np.full(48, int(Kind.IDLE)))
    assert pulsation_shapes(cells) == ()
    assert forms_of(Cause.PULSATION, cells) == ()


def test_recirculation_at_idle_is_told_apart_from_that_under_load() -> None:
    cells = cells_of(idle=True)
    (form,) = forms_of(Cause.RECIRCULATION, cells)
    idle = cells.after & (cells.kind == Kind.IDLE)
    np.testing.assert_array_equal(form.cells[0, idle, 0], 0.0)
    np.testing.assert_array_equal(form.cells[0, idle, 1], -1.0)
    assert form.precision[1, 1] < form.precision[0, 0], "at idle it may be larger"


def test_a_level_is_judged_with_all_cells_in_one_configuration() -> None:
    cells = cells_of()
    level = cells.of_runs(range(6), [True] * 6)
    seen = observed(level, Rest(**{**_fields(REST), "after": np.ones(6, dtype=bool)}))
    for prior in PriorTable().rows():
        for form in effects_of(prior, seen):
            assert np.any(form.cells[..., 0][:, :24])


def _fields(rest: Rest) -> dict[str, object]:
    return {name: getattr(rest, name) for name in rest.__dataclass_fields__}


def test_behind_a_closed_throttle_the_manifold_does_not_show_a_leak_ahead_of_it() -> None:
    """The charge pipe may be under pressure there, so that a leak is free at part load."""
    p = np.where(np.arange(48) % 8 == 0, 6.0e4, cells_of().p_manifold_pa)
    cells = cells_of(p_manifold_pa=p)
    form = forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells)[0]
    throttled = cells.after & (p < AMBIENT_PA)
    np.testing.assert_array_equal(form.cells[0][throttled][:, :2], 0.0)
    np.testing.assert_array_equal(form.cells[0][throttled][:, 2], 1.0)
    assert not np.any(form.cells[0][cells.after & ~throttled][:, 2])
    assert forms_of(Cause.LEAK_AFTER_COMPRESSOR, cells_of())[0].cells.shape[-1] == 2
