"""The transfer table: monotone, invertible, and rescaled to what the changed tube passes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.simulate.case import Case
from tests.simulate.engines import ENGINES, TURBO_DIESEL, EngineModel
from tests.simulate.sensor import (
    BREAKPOINTS,
    SIGNAL_SPAN_V,
    TABLE_END,
    rescaled_table,
    shape_frac,
    transfer_table,
)

engines = pytest.mark.parametrize("engine", ENGINES, ids=lambda e: e.name)


@engines
def test_the_table_rises_strictly_over_its_whole_span(engine: EngineModel) -> None:
    table = transfer_table(engine)
    assert table.signal_v.size == table.mdot_kgps.size == BREAKPOINTS
    assert np.all(np.diff(table.signal_v) > 0.0)
    assert np.all(np.diff(table.mdot_kgps) > 0.0)
    assert (table.signal_v[0], table.signal_v[-1]) == SIGNAL_SPAN_V
    assert table.mdot_kgps[-1] == pytest.approx(TABLE_END * engine.reference_flow_kgps, rel=0.01)


@engines
def test_the_table_follows_kings_law(engine: EngineModel) -> None:
    # King's law with the exponent one half: signal squared is linear in the root of flow.
    table = transfer_table(engine)
    root = np.sqrt(table.mdot_kgps[5:])
    squared = table.signal_v[5:] ** 2
    slope, offset = np.polyfit(root, squared, 1)
    assert np.max(np.abs(slope * root + offset - squared)) < 0.02 * squared.max()


@given(share=st.floats(0.0, 1.0))
def test_signal_and_flow_are_inverse(share: float) -> None:
    table = transfer_table(TURBO_DIESEL)
    flow = np.array([share * table.mdot_kgps[-1]])
    assert table.flow(table.signal(flow))[0] == pytest.approx(flow[0], abs=1e-12)


@given(
    skew=st.floats(-0.1, 0.12),
    shape=st.floats(-0.08, 0.08),
    share=st.floats(0.05, 0.75),
)
def test_the_rescaled_table_undoes_the_change_of_reading(
    skew: float, shape: float, share: float
) -> None:
    case = Case(skew=skew, skew_shape=shape)
    true = np.array([share * TABLE_END * TURBO_DIESEL.reference_flow_kgps])
    indicated = true * (1.0 + skew) * (1.0 + shape_frac(TURBO_DIESEL, shape, true))
    signal = transfer_table(TURBO_DIESEL).signal(indicated)
    new = rescaled_table(TURBO_DIESEL, case)
    assert np.all(np.diff(new.mdot_kgps) > 0.0)
    # Between breakpoints a shape is not quite linear.
    assert new.flow(signal)[0] == pytest.approx(true[0], rel=2e-3)


def test_no_change_leaves_the_table_alone() -> None:
    old, new = transfer_table(TURBO_DIESEL), rescaled_table(TURBO_DIESEL, Case())
    np.testing.assert_array_equal(new.mdot_kgps, old.mdot_kgps)
    np.testing.assert_array_equal(new.signal_v, old.signal_v)


@given(size=st.floats(-0.1, 0.1))
def test_a_shape_has_its_size_at_the_reference_flow_and_nothing_at_none(size: float) -> None:
    flow = np.array([0.0, TURBO_DIESEL.reference_flow_kgps])
    np.testing.assert_allclose(shape_frac(TURBO_DIESEL, size, flow), [0.0, size], atol=1e-15)
