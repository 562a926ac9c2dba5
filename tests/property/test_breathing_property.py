"""What must hold for any engine."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airsense.physics.breathing import (
    filling_flow_kgps,
    fresh_air_fraction,
    ideal_charge_flow_kgps,
    volumetric_efficiency,
)

pressures = st.floats(20e3, 5e5)
temperatures = st.floats(250.0, 420.0)
speeds = st.floats(400.0, 9000.0)
displacements = st.floats(1e-4, 0.06)
cycles = st.sampled_from([0.5, 1.0])
scales = st.floats(0.1, 10.0)
gas = st.floats(280.0, 300.0)


@given(pressures, temperatures, speeds, displacements, cycles, scales)
def test_flow_scales_with_pressure_speed_size_and_density(p, t, n, v, c, k):
    """m = p V n / (120 R T) for four strokes: Heywood, section 2.10."""

    def flow(p=p, t=t, n=n, v=v, r=287.0, z=1.0):
        return float(
            ideal_charge_flow_kgps(p, t, n, displacement_m3=v, cycles_per_rev=c, r_jpkgk=r, z=z)
        )

    base = flow()
    assert flow(p=k * p) == pytest.approx(k * base, rel=1e-12)
    assert flow(n=k * n) == pytest.approx(k * base, rel=1e-12)
    assert flow(v=k * v) == pytest.approx(k * base, rel=1e-12)
    assert flow(t=k * t) == pytest.approx(base / k, rel=1e-12)
    assert flow(r=k * 287.0) == pytest.approx(base / k, rel=1e-12)
    assert flow(z=k) == pytest.approx(base / k, rel=1e-12)


@given(st.floats(0.3, 1.4), pressures, temperatures, speeds, cycles, gas)
def test_volumetric_efficiency_inverts_the_flow(ve, p, t, n, c, r):
    """Air drawn over air that fits: Heywood, section 2.10, volumetric efficiency."""
    geometry = {"displacement_m3": 2e-3, "cycles_per_rev": c, "r_jpkgk": r, "z": 0.999}
    flow = ve * ideal_charge_flow_kgps(p, t, n, **geometry)
    assert volumetric_efficiency(flow, p, t, n, **geometry) == pytest.approx(ve, rel=1e-12)


@given(st.floats(0.0, 1.0))
def test_fresh_and_recirculated_make_the_charge(rate):
    """Recirculated over all charge: Wahlstrom and Eriksson, recirculation fraction."""
    assert fresh_air_fraction(rate) + rate == pytest.approx(1.0, rel=1e-12)


@given(st.floats(-5e5, 5e5), st.floats(1e-3, 0.05), temperatures, gas, scales)
def test_filling_is_linear(rate, v, t, r, k):
    """dm/dt = V/(R T) dp/dt at one temperature: Guzzella and Onder, receivers."""
    base = float(filling_flow_kgps(rate, volume_m3=v, t_charge_k=t, r_jpkgk=r))
    assert filling_flow_kgps(k * rate, volume_m3=v, t_charge_k=t, r_jpkgk=r) == pytest.approx(
        k * base, rel=1e-12
    )
    assert filling_flow_kgps(rate, volume_m3=k * v, t_charge_k=t, r_jpkgk=r) == pytest.approx(
        k * base, rel=1e-12
    )
    assert base == pytest.approx(rate * v / (r * t), rel=1e-12)


def test_missing_samples_stay_missing_and_shapes_broadcast():
    p = np.array([[1e5], [np.nan]])
    out = ideal_charge_flow_kgps(
        p,
        300.0,
        np.array([1000.0, 2000.0]),
        displacement_m3=2e-3,
        cycles_per_rev=0.5,
        r_jpkgk=287.0,
    )
    assert out.shape == (2, 2)
    assert np.isfinite(out[0]).all()
    assert np.isnan(out[1]).all()
