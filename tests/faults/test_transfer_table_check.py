"""A mistyped row is seen; sound tables of several makes are not accused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.physics.hot_film import KingsLaw
from airsense.setup.engine import Engine
from airsense.transfer.model import SignalKind, TransferTable
from airsense.transfer.table_check import mistyped_rows, require_engine


def table(n: float, power: float = 2.0, rows: int = 20) -> TransferTable:
    flow = 0.3 * np.linspace(0.05, 1.0, rows) ** power
    return TransferTable(
        signal=KingsLaw(1.1, 35.0, n).voltage_v(flow),
        flow_kgps=flow,
        kind=SignalKind.VOLTAGE,
        flow_unit="kg/s",
        flow_factor=1.0,
    )


@pytest.mark.parametrize("n", [0.35, 0.45, 0.5, 0.6])
@pytest.mark.parametrize("bend", [0.0, 0.15, -0.15])
def test_a_sound_table_is_not_accused(n, bend):
    # real tables leave King's law by a slow bend over the range
    sound = table(n)
    bent = sound.flow_kgps * np.exp(bend * np.sin(np.linspace(0.0, np.pi, 20)))
    assert not mistyped_rows(replace(sound, flow_kgps=bent))


@pytest.mark.parametrize("row", [5, 10, 17])
@pytest.mark.parametrize("slip", [1.12, 0.88])
def test_a_slip_of_one_row_is_seen(row, slip):
    wrong = table(0.5)
    flow = wrong.flow_kgps.copy()
    flow[row] *= slip
    (finding,) = mistyped_rows(replace(wrong, flow_kgps=flow))
    assert finding.code == "table_row_stands_out"
    assert f"{wrong.signal[row]:g} V" in finding.message


def test_other_sensors_are_left_alone():
    wrong = replace(table(0.5), kind=SignalKind.FREQUENCY)
    assert not mistyped_rows(wrong)


# Half of what an engine of a cubic metre breathes unboosted at 2000 rpm, four-stroke. [kg/s]
SLOWEST = 0.5 * 1.2 * 0.5 * 2000.0 / 60.0


def of_top(top_kgps: float, unit: str, factor: float) -> TransferTable:
    made = table(0.5)
    flow = made.flow_kgps * top_kgps / made.flow_kgps.max()
    return replace(made, flow_kgps=flow, flow_unit=unit, flow_factor=factor, path="t.csv")


@pytest.mark.parametrize("displacement_m3", [1.0e-3, 2.0e-3, 3.0e-3, 7.2e-3])
def test_a_unit_that_cannot_belong_to_the_engine_is_refused(displacement_m3):
    # a sensor for up to 150 g/s a litre, typed in g/s under the header of another unit
    printed = 150.0 * displacement_m3 * 1e3
    sound = of_top(1e-3 * printed, "g/s", 1e-3)
    engine = Engine(displacement_l=1e3 * displacement_m3, cylinders=4, ignition="spark")
    require_engine(sound, engine)
    pounds = 0.45359237 / 60.0
    with pytest.raises(InputError, match="cannot belong to this engine") as caught:
        wrong = of_top(pounds * printed, "lb/min", pounds)
        require_engine(wrong, engine)
    # a two-stroke breathes each turn
    wide = of_top(2.9 * SLOWEST * displacement_m3, "kg/s", 1.0)
    require_engine(wide, engine)
    with pytest.raises(InputError):
        require_engine(of_top(0.9 * SLOWEST * displacement_m3, "kg/s", 1.0), engine)
    with pytest.raises(InputError):
        require_engine(
            of_top(1.9 * SLOWEST * displacement_m3, "kg/s", 1.0),
            engine.model_copy(update={"strokes": 2}),
        )
    assert all((caught.value.where, caught.value.got, caught.value.allowed, caught.value.fix))
