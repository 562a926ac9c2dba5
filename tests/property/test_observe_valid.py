"""Where a route holds: fuel x lambda while lambda follows, pulls without their run-up."""

from __future__ import annotations

import numpy as np
import pytest

from airsense.estimates.fuel_lambda import METHOD
from airsense.jobs.comparison.odd_pull import disturbed
from airsense.jobs.observe import make_runs, observe
from airsense.logs.log import Log
from tests.evidence_inputs import channel, setup_of

AFR = 14.5


def drive(lambda_: np.ndarray, time: np.ndarray) -> Log:
    """Return steady driving at 2000 rpm in which only lambda moves."""
    air = np.full(time.size, 0.05)
    values = {
        "engine_speed": np.full(time.size, 2000.0),
        "mass_air_flow": air,
        "manifold_pressure": np.full(time.size, 1.5e5),
        "charge_temperature": np.full(time.size, 310.0),
        "barometric_pressure": np.full(time.size, 1e5),
        "fuel_mass_flow": air / (AFR * 1.4),
        "lambda": lambda_,
    }
    return Log(
        path="drive.csv",
        reader="t",
        sha256="",
        channels={k: channel(k, time, v) for k, v in values.items()},
    )


@pytest.mark.parametrize(
    ("lambda_after", "kept"), [(1.45, True), (2.2, False)], ids=["settled", "on its way"]
)
def test_fuel_times_lambda_waits_for_the_sensor(lambda_after: float, *, kept: bool) -> None:
    time = np.arange(0.0, 12.0, 0.1)
    log = drive(np.where(time < 6.0, 1.4, lambda_after), time)
    runs = make_runs([log], setup_of())
    flow = observe(runs, setup_of(), [False]).estimates[METHOD][0].mdot_kgps
    own = runs[0].time_s
    assert np.isfinite(flow[(own > 1.5) & (own < 5.5)]).all()
    assert np.isfinite(flow[(own > 6.2) & (own < 6.8)]).all() == kept
    assert np.isfinite(flow[(own > 7.5) & (own < 11.5)]).all()


def test_very_lean_gas_under_load_says_nothing() -> None:
    time = np.arange(0.0, 12.0, 0.1)
    noise = 1.0 + 0.01 * np.random.default_rng(2).standard_normal(time.size)
    log = drive(np.where(time < 6.0, 4.5, 1.4) * noise, time)
    runs = make_runs([log], setup_of())
    flow = observe(runs, setup_of(), [False]).estimates[METHOD][0].mdot_kgps
    assert not np.isfinite(flow[runs[0].time_s < 5.5]).any()
    assert np.isfinite(flow[runs[0].time_s > 7.5]).all()


def test_the_run_up_from_idle_is_no_slip() -> None:
    """From idle the speed is brought up at part load before the pedal goes down."""
    time = np.arange(0.0, 22.0, 0.1)
    speed = np.interp(time, [0, 6, 7.2, 8.5, 18, 22], [820, 820, 2200, 2200, 4000, 3600])
    pressure = np.interp(time, [0, 6.5, 8.5, 10, 18, 18.4], [1e5, 1.05e5, 1.4e5, 2.2e5, 2.2e5, 1e5])
    values = {
        "engine_speed": speed,
        "manifold_pressure": pressure,
        "mass_air_flow": 0.9 * pressure * speed * 2e-3 / (120.0 * 287.0 * 310.0),
        "charge_temperature": np.full(time.size, 310.0),
        "barometric_pressure": np.full(time.size, 1e5),
    }
    log = Log(
        path="pull.csv",
        reader="t",
        sha256="",
        channels={k: channel(k, time, v) for k, v in values.items()},
    )
    runs = make_runs([log], setup_of())
    assert disturbed(runs[0], observe(runs, setup_of(), [False]).cuts[0]) == ""
