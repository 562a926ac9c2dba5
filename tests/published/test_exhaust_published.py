"""Lambda from exhaust gas: cantera's equilibrium, atoms by hand, published formulas."""

from __future__ import annotations

import math

import cantera
import numpy as np
import pytest

from airsense.errors import InputError
from airsense.physics.constants import AIR_PER_OXYGEN
from airsense.physics.exhaust import lambda_from_carbon_dioxide_dry, lambda_from_oxygen_dry

CH185 = (1.85, 0.0)
LEAN = [1.2, 1.5, 2.0, 3.0]


def dry_gas(lam, h_c, o_c):
    """Moles of O2 and CO2 in a mole of dry exhaust, counted atom by atom per carbon (or H2)."""
    carbon, hydrogen, oxygen = (1.0, h_c, o_c) if math.isfinite(h_c) else (0.0, 1.0, 0.0)
    demand = carbon + hydrogen / 4.0 - oxygen / 2.0
    left, inert = (lam - 1.0) * demand, lam * demand * (AIR_PER_OXYGEN - 1.0)
    total = carbon + left + inert
    return left / total, carbon / total


@pytest.mark.parametrize("lam", [1.05, *LEAN])
def test_cantera_equilibrium_of_a_lean_mixture(lam):
    # Goodwin, Moffat et al., Cantera, Zenodo; GRI-Mech 3.0 thermodynamics. H/C 1.85 from 0.85
    # C2H4 and 0.15 C2H2; equilibrium at 400 K is complete combustion.
    gas = cantera.Solution("gri30.yaml")
    gas.TP = 400.0, 101325.0
    gas.set_equivalence_ratio(1.0 / lam, {"C2H4": 0.85, "C2H2": 0.15}, "O2:1, N2:3.773")
    h = gas.elemental_mole_fraction("H") / gas.elemental_mole_fraction("C")
    assert h == pytest.approx(1.85, rel=1e-9)
    gas.equilibrate("TP")
    dry = 1.0 - gas["H2O"].X[0]
    oxygen, dioxide = gas["O2"].X[0] / dry, gas["CO2"].X[0] / dry
    assert lambda_from_oxygen_dry(oxygen, *CH185) == pytest.approx(lam, abs=3e-6)
    assert lambda_from_carbon_dioxide_dry(dioxide, *CH185) == pytest.approx(lam, abs=3e-6)


@pytest.mark.parametrize(
    ("h_c", "o_c"), [CH185, (3.0, 0.5), (4.0, 1.0), (4.0, 0.0), (math.inf, 0.0)]
)
def test_round_trips(h_c, o_c):
    """Products of lean combustion, dried: Heywood, section 4.9."""
    lam = np.array([1.0, *LEAN, 6.0])
    oxygen, dioxide = dry_gas(lam, h_c, o_c)
    assert lambda_from_oxygen_dry(oxygen, h_c, o_c) == pytest.approx(lam, rel=1e-12)
    if math.isfinite(h_c):
        assert lambda_from_carbon_dioxide_dry(dioxide, h_c, o_c) == pytest.approx(lam, rel=1e-12)


@pytest.mark.parametrize("lam", [1.2, 3.0])
def test_brettschneider_agrees(lam):
    # J. Brettschneider, Bosch Technische Berichte 6 (1979) 177, Stuttgart, without CO, HC and NO:
    # lambda = (CO2 + O2 + (H/4 - O/2) CO2) / ((1 + H/4 - O/2) CO2).
    oxygen, dioxide = dry_gas(lam, *CH185)
    quarter = CH185[0] / 4.0
    published = (dioxide + oxygen + quarter * dioxide) / ((1.0 + quarter) * dioxide)
    assert lambda_from_oxygen_dry(oxygen, *CH185) == pytest.approx(published, rel=1e-9)


@pytest.mark.parametrize(
    ("lam", "air_fuel"), list(zip(LEAN, [17.465, 21.829, 29.104, 43.652], strict=True))
)
def test_spindt_agrees(lam, air_fuel):
    # Spindt, SAE 650507 (from memory): A/F = 11.492 Fc (1 + R/2 + Q)/(1 + R) + 120 Fh/(3.5 + R).
    oxygen, dioxide = dry_gas(lam, *CH185)
    w_c = 12.011 / (12.011 + 1.008 * 1.85)
    spindt = 11.492 * w_c * (1.0 + oxygen / dioxide) + 120.0 * (1.0 - w_c) / 3.5
    assert spindt == pytest.approx(air_fuel, rel=1.5e-3)
    assert lambda_from_oxygen_dry(oxygen, *CH185) == pytest.approx(spindt / 14.5717, rel=1.6e-3)


@pytest.mark.parametrize(
    ("lam", "shortcut"), list(zip(LEAN, [1.2142, 1.5355, 2.0710, 3.1419], strict=True))
)
def test_the_shortcut_reads_high(lam, shortcut):
    oxygen, _ = dry_gas(lam, *CH185)
    assert 1.0 + oxygen / (1.0 / AIR_PER_OXYGEN - oxygen) == pytest.approx(shortcut, rel=5e-4)
    assert lambda_from_oxygen_dry(oxygen, *CH185) == pytest.approx(lam, rel=1e-9)


def test_no_combustion_has_no_lambda():
    air = 1.0 / AIR_PER_OXYGEN
    assert np.isnan(lambda_from_oxygen_dry([air, 0.21, np.nan], *CH185)).all()
    assert np.isnan(lambda_from_carbon_dioxide_dry([0.0, np.nan], *CH185)).all()


def test_more_dioxide_than_stoichiometric_has_no_lambda():
    assert np.isnan(lambda_from_carbon_dioxide_dry(0.16, *CH185))
    _, stoichiometric = dry_gas(1.0, *CH185)
    assert lambda_from_carbon_dioxide_dry(stoichiometric, *CH185) == pytest.approx(1.0)


def test_zero_drift_of_an_analyser_is_no_error():
    assert lambda_from_oxygen_dry(-0.001, *CH185) == pytest.approx(0.9956, abs=1e-4)


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("o2_frac", lambda: lambda_from_oxygen_dry(1.2, *CH185)),
        ("o2_frac", lambda: lambda_from_oxygen_dry(-0.02, *CH185)),
        ("co2_frac", lambda: lambda_from_carbon_dioxide_dry(1.2, *CH185)),
        ("co2_frac", lambda: lambda_from_carbon_dioxide_dry(-0.1, *CH185)),
        ("carbon in the fuel", lambda: lambda_from_carbon_dioxide_dry(0.1, math.inf, 0.0)),
    ],
)
def test_impossible_arguments_are_refused_by_name(name, call):
    with pytest.raises(InputError, match=f"^{name} is not a possible value"):
        call()
