"""The 1976 standard atmosphere against its tables and an independent library."""

from __future__ import annotations

import ambiance
import numpy as np
import pytest

from airsense.errors import InputError
from airsense.physics.atmosphere import (
    SEA_LEVEL_PA,
    standard_pressure_pa,
    standard_temperature_k,
)
from tests.published.published import Published

R_1976_JPKGK = 8.31432 / 28.9644e-3  # as the standard has them
US76 = "U.S. Standard Atmosphere, 1976, geometric altitude (from memory; two libraries agree)"


@pytest.mark.parametrize(
    ("altitude_m", "t_k", "p_pa", "rho_kgpm3"),
    [
        (0.0, "288.150", "101325.0", "1.22500"),
        (500.0, "284.900", "95461.3", "1.167273"),
        (1000.0, "281.651", "89876.3", "1.111660"),
        (1500.0, "278.402", "84559.7", "1.058104"),
        (3000.0, "268.659", "70121.1", "0.909254"),
    ],
)
def test_table_of_the_standard(altitude_m, t_k, p_pa, rho_kgpm3):
    Published(US76, t_k).check(standard_temperature_k(altitude_m))
    why = "the molar mass of air in the standard has six digits"
    Published(US76, p_pa, model_offset=1e-6, why=why).check(standard_pressure_pa(altitude_m))
    rho = standard_pressure_pa(altitude_m) / (R_1976_JPKGK * standard_temperature_k(altitude_m))
    Published(US76, rho_kgpm3, model_offset=1e-6, why=why).check(rho)


def test_against_a_library_from_below_sea_level_to_the_tropopause():
    """Against ambiance."""
    z = np.linspace(-4900.0, 11000.0, 60)
    library = ambiance.Atmosphere(z)
    assert standard_temperature_k(z) == pytest.approx(library.temperature, rel=1e-7)
    assert standard_pressure_pa(z) == pytest.approx(library.pressure, rel=1.2e-6)


def test_geopotential_altitude_is_not_taken_for_geometric():
    """U.S. Standard Atmosphere, closed form in geopotential altitude."""
    # Closed form in geopotential altitude, 3000 m: 70108.5 Pa, 0.018 % lower.
    ratio = float(standard_pressure_pa(3000.0)) / 70108.5
    assert ratio == pytest.approx(1.00018, abs=2e-6)


@pytest.mark.parametrize("altitude_m", [-5001.0, 11001.0])
def test_no_road_is_there(altitude_m):
    with pytest.raises(InputError, match=r"^altitude_m is not a possible value"):
        standard_pressure_pa(altitude_m)


def test_missing_altitude_stays_missing():
    out = standard_pressure_pa([0.0, np.nan])
    assert out[0] == SEA_LEVEL_PA
    assert np.isnan(out[1])
