"""The compressibility table against CoolProp itself, and charge air as a real gas."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from airsense.errors import InputError
from airsense.physics.air import (
    gas_constant_moist_air_jpkgk,
    humidity_ratio,
    saturation_pressure_water_pa,
)
from airsense.physics.constants import R_DRY_AIR_JPKGK
from airsense.physics.real_gas import (
    TABLE_NAME,
    TABLE_P_PA,
    TABLE_T_K,
    build_compressibility_table,
    compressibility_charge_air,
)
from airsense.reference import reference_path
from tests.published.published import Published


def off_grid(p_low, p_high, t_low, t_high, count=4000):
    rng = np.random.default_rng(20)
    return rng.uniform(p_low, p_high, count), rng.uniform(t_low, t_high, count)


@pytest.mark.parametrize(
    ("box", "largest"),
    [((50e3, 600e3, 230.0, 480.0), 8e-6), ((1.0, 1e6, 220.0, 500.0), 1.6e-5)],
)
def test_table_error_between_its_points(box, largest):
    """Against CoolProp's equation of state of air."""
    p, t = off_grid(*box)
    error = compressibility_charge_air(p, t) - PropsSI("Z", "P", p, "T", t, "Air")
    assert np.max(np.abs(error)) < largest


def test_table_is_exact_at_its_points():
    """Against CoolProp's equation of state of air."""
    p, t = np.meshgrid(TABLE_P_PA[1:], TABLE_T_K)
    z = PropsSI("Z", "P", p.ravel(), "T", t.ravel(), "Air").reshape(p.shape)
    assert compressibility_charge_air(p, t) == pytest.approx(z, abs=6e-9)


def test_corners_are_inside_and_the_outside_is_unknown():
    corners = compressibility_charge_air([1e6, 1e6, 1.0, 1.0], [220.0, 500.0, 220.0, 500.0])
    assert np.all(np.isfinite(corners))
    beyond = compressibility_charge_air(
        [1.001e6, 1e5, 1e5, np.nan, 1e5], [300, 219.9, 500.1, 300, np.nan]
    )
    assert np.all(np.isnan(beyond))


def test_dilute_gas_is_ideal():
    """Z = 1 at no pressure: Moran and Shapiro, compressibility."""
    assert compressibility_charge_air(1e-3, 300.0) == pytest.approx(1.0, abs=1e-9)


def test_shapes_broadcast():
    assert compressibility_charge_air(np.full((3, 1), 2e5), np.full(4, 300.0)).shape == (3, 4)


@pytest.mark.parametrize(("name", "bad"), [("p_pa", (0.0, 300.0)), ("t_k", (1e5, 0.0))])
def test_impossible_states_are_refused(name, bad):
    with pytest.raises(InputError, match=f"^{name} is not a possible value"):
        compressibility_charge_air(*bad)


def ideal_over_real(p_pa, t_c):
    return float(compressibility_charge_air(p_pa, t_c + 273.15)) - 1.0


@pytest.mark.parametrize(
    ("p_pa", "t_c", "percent"),
    [
        (450e3, 20.0, -0.162),
        (450e3, 120.0, 0.077),
        (250e3, 20.0, -0.091),
        (250e3, 50.0, -0.032),
        (250e3, 80.0, 0.008),
        (250e3, 120.0, 0.042),
    ],
)
def test_ideal_gas_error_of_charge_air(p_pa, t_c, percent):
    # Ideal over real density is Z; CoolProp equation of state, computed elsewhere.
    assert 100.0 * ideal_over_real(p_pa, t_c) == pytest.approx(percent, abs=1.2e-3)


def test_ideal_gas_is_good_to_0_2_percent_for_charge_air():
    """-0.16 % at 4.5 bar and 20 C, as CoolProp's equation of state of air gives it."""
    p, t = np.meshgrid(np.linspace(150e3, 450e3, 31), np.linspace(20.0, 120.0, 51) + 273.15)
    departure = np.abs(compressibility_charge_air(p, t) - 1.0)
    assert 1.5e-3 < np.max(departure) < 2.0e-3


def test_charge_air_density():
    # 250 kPa, 50 C.
    z = compressibility_charge_air(250e3, 323.15)
    ideal = 250e3 / (R_DRY_AIR_JPKGK * 323.15)
    why = "table and last digits of the gas constant"
    Published("CoolProp 8.0.0 Air", "2.69601", model_offset=1e-5, why=why).check(ideal / z)
    Published("ideal gas, by hand", "2.69514", model_offset=1e-5, why=why).check(ideal)


def test_dry_factor_with_the_moist_gas_constant_serves_humid_charge_air():
    """Against CoolProp's humid air."""
    # Why there is no second table: the error stays below 0.05 %.
    p, t, x = (
        a.ravel()
        for a in np.meshgrid(
            [150e3, 250e3, 450e3], [303.15, 323.15, 353.15, 393.15], [0.01, 0.03, 0.045]
        )
    )
    unsaturated = x * p < 0.98 * saturation_pressure_water_pa(t)
    p, t, x = p[unsaturated], t[unsaturated], x[unsaturated]
    assert p.size > 20
    real = 1.0 / HAPropsSI("Vha", "T", t, "P", p, "W", humidity_ratio(x))
    ours = p / (compressibility_charge_air(p, t) * gas_constant_moist_air_jpkgk(x) * t)
    assert np.max(np.abs(ours / real - 1.0)) < 5e-4


def test_file_is_what_the_builder_writes():
    text = reference_path(TABLE_NAME).read_text(encoding="utf-8")
    built = build_compressibility_table()
    assert "CoolProp" in text
    assert "Lemmon" in text
    values = [line for line in text.splitlines() if not line.startswith("#")]
    fresh = [line for line in built.splitlines() if not line.startswith("#")]
    assert len(values) == TABLE_T_K.size + 1
    a = np.array([row.split(",") for row in values], dtype=float)
    b = np.array([row.split(",") for row in fresh], dtype=float)
    assert a == pytest.approx(b, abs=1e-7)


def test_running_needs_no_coolprop(run_python):
    code = (
        "import sys; from airsense.physics.real_gas import compressibility_charge_air as z;"
        "z(2e5, 300.0); print('CoolProp' in sys.modules, 'scipy' in sys.modules)"
    )
    assert run_python(code) == "False False"


@pytest.fixture
def run_python():
    import subprocess

    def run(code: str) -> str:
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        return done.stdout.strip()

    return run
