"""Lambda from exhaust gas: round trips, cantera, published formulas and their departures."""

from __future__ import annotations

import math

import cantera
import numpy as np
import pytest

from airsense.errors import InputError
from airsense.physics.constants import AIR_PER_OXYGEN
from airsense.physics.exhaust import (
    dry_exhaust,
    lambda_brettschneider,
    lambda_from_carbon_dioxide_dry,
    lambda_from_oxygen_dry,
    lambda_from_oxygen_wet,
)

CH185 = (1.85, 0.0)
LEAN = [1.2, 1.5, 2.0, 3.0]


def wet_oxygen(gas):
    return gas.oxygen / (1.0 + gas.water_per_dry)


@pytest.mark.parametrize(
    ("lam", "oxygen", "dioxide"), [(1.2, 3.696, 12.635), (1.5, 7.306, 9.991), (3.0, 14.282, 4.883)]
)
def test_dry_exhaust_of_a_lean_mixture(lam, oxygen, dioxide):
    # Stoichiometry with 20.95 % O2, confirmed by cantera equilibrium; percent, CH1.85.
    gas = dry_exhaust(lam, *CH185)
    assert 100.0 * gas.oxygen == pytest.approx(oxygen, abs=0.005)
    assert 100.0 * gas.carbon_dioxide == pytest.approx(dioxide, abs=0.005)
    assert gas.carbon_monoxide == 0.0
    assert gas.hydrogen == 0.0


@pytest.mark.parametrize(
    ("lam", "percent"), list(zip(LEAN, [3.309, 6.688, 10.139, 13.665], strict=True))
)
def test_wet_oxygen_of_a_lean_mixture(lam, percent):
    assert 100.0 * wet_oxygen(dry_exhaust(lam, *CH185)) == pytest.approx(percent, abs=0.005)


def test_humid_intake_air():
    # 2 % vapour, lambda 1.5: dry O2 unchanged 7.306 %, wet O2 6.560 %.
    gas = dry_exhaust(1.5, *CH185, x_vapour_intake=0.02)
    assert 100.0 * gas.oxygen == pytest.approx(7.306, abs=0.005)
    assert 100.0 * wet_oxygen(gas) == pytest.approx(6.560, abs=0.005)


@pytest.mark.parametrize("lam", [1.05, *LEAN])
def test_cantera_equilibrium_of_a_lean_mixture(lam):
    # H/C 1.85 from 0.85 C2H4 and 0.15 C2H2; equilibrium at 400 K is complete combustion.
    gas = cantera.Solution("gri30.yaml")
    gas.TP = 400.0, 101325.0
    gas.set_equivalence_ratio(1.0 / lam, {"C2H4": 0.85, "C2H2": 0.15}, "O2:1, N2:3.773")
    h = gas.elemental_mole_fraction("H") / gas.elemental_mole_fraction("C")
    assert h == pytest.approx(1.85, rel=1e-9)
    gas.equilibrate("TP")
    dry = 1.0 - gas["H2O"].X[0]
    ours = dry_exhaust(lam, *CH185)
    assert float(ours.oxygen) == pytest.approx(gas["O2"].X[0] / dry, abs=1e-7)
    assert float(ours.carbon_dioxide) == pytest.approx(gas["CO2"].X[0] / dry, abs=1e-7)
    assert float(ours.water_per_dry) == pytest.approx(gas["H2O"].X[0] / dry, abs=1e-7)


@pytest.mark.parametrize(
    ("lam", "monoxide", "dioxide"),
    [(0.85, 5.610, 11.571), (0.90, 3.679, 12.838), (0.95, 1.807, 14.083)],
)
def test_rich_exhaust_in_water_gas_equilibrium(lam, monoxide, dioxide):
    # CH1.87, K = 3.5; inverted by Brettschneider's formula.
    gas = dry_exhaust(lam, 1.87, 0.0)
    assert 100.0 * gas.carbon_monoxide == pytest.approx(monoxide, abs=0.001)
    assert 100.0 * gas.carbon_dioxide == pytest.approx(dioxide, abs=0.002)
    k = gas.carbon_monoxide * gas.water_per_dry / (gas.carbon_dioxide * gas.hydrogen)
    assert k == pytest.approx(3.5, rel=1e-9)
    got = lambda_brettschneider(
        gas.oxygen, gas.carbon_dioxide, gas.carbon_monoxide, h_c=1.87, o_c=0.0
    )
    assert got == pytest.approx(lam, abs=1e-6)


def test_printed_rich_gas_through_brettschneider():
    got = lambda_brettschneider(
        0.0, [0.11571, 0.12838, 0.14083], [0.05610, 0.03679, 0.01807], h_c=1.87, o_c=0.0
    )
    assert got == pytest.approx([0.85, 0.90, 0.95], abs=1e-4)


def test_brettschneider_of_the_printed_lean_gas():
    got = lambda_brettschneider([0.03696, 0.14282], [0.12635, 0.04883], h_c=1.85, o_c=0.0)
    assert got == pytest.approx([1.2, 3.0], abs=1e-3)


def test_brettschneider_term_by_term():
    # The formula as a gas-analyser maker quotes it from Bosch Techn. Ber. 6 (1979) 177.
    o2, co2, co, hc, no, hcv, ocv, k1 = 0.012, 0.13, 0.015, 3e-4, 2e-3, 1.7261, 0.0176, 6.0
    above = co2 + co / 2 + o2 + no / 2 + (hcv / 4 * 3.5 / (3.5 + co / co2) - ocv / 2) * (co2 + co)
    below = (1 + hcv / 4 - ocv / 2) * (co2 + co + k1 * hc)
    got = lambda_brettschneider(o2, co2, co, hc, no, h_c=hcv, o_c=ocv)
    assert got == pytest.approx(above / below, rel=1e-12)
    methane = lambda_brettschneider(o2, co2, co, hc, no, h_c=hcv, o_c=ocv, hc_carbon=1.0)
    assert methane / got == pytest.approx((co2 + co + 6 * hc) / (co2 + co + hc), rel=1e-12)


@pytest.mark.parametrize(
    ("h_c", "o_c"), [CH185, (3.0, 0.5), (4.0, 1.0), (4.0, 0.0), (math.inf, 0.0)]
)
def test_round_trips(h_c, o_c):
    lam = np.array([1.0, *LEAN, 6.0])
    humid = 0.03
    dry = dry_exhaust(lam, h_c, o_c)
    wet = dry_exhaust(lam, h_c, o_c, x_vapour_intake=humid)
    assert lambda_from_oxygen_dry(dry.oxygen, h_c, o_c) == pytest.approx(lam, rel=1e-12)
    assert lambda_from_oxygen_dry(wet.oxygen, h_c, o_c) == pytest.approx(lam, rel=1e-12)
    assert lambda_from_oxygen_wet(wet_oxygen(dry), h_c, o_c) == pytest.approx(lam, rel=1e-12)
    assert lambda_from_oxygen_wet(
        wet_oxygen(wet), h_c, o_c, x_vapour_intake=humid
    ) == pytest.approx(lam, rel=1e-12)
    if math.isfinite(h_c):
        assert lambda_from_carbon_dioxide_dry(dry.carbon_dioxide, h_c, o_c) == pytest.approx(
            lam, rel=1e-12
        )
        assert lambda_brettschneider(
            dry.oxygen, dry.carbon_dioxide, h_c=h_c, o_c=o_c
        ) == pytest.approx(lam, rel=1e-12)


@pytest.mark.parametrize("lam", [0.6, 0.85, 0.99, 1.0, 1.4])
@pytest.mark.parametrize(("h_c", "o_c"), [CH185, (3.0, 0.5), (math.inf, 0.0)])
def test_atoms_are_kept(lam, h_c, o_c):
    gas = dry_exhaust(lam, h_c, o_c)
    fractions = (gas.oxygen, gas.carbon_dioxide, gas.carbon_monoxide, gas.hydrogen, gas.nitrogen)
    assert sum(fractions) == pytest.approx(1.0, rel=1e-12)
    assert min(float(f) for f in fractions) >= 0.0
    oxygen = 2 * (gas.oxygen + gas.carbon_dioxide) + gas.carbon_monoxide + gas.water_per_dry
    supplied = 2.0 * gas.nitrogen / 3.773
    hydrogen = 2.0 * (gas.hydrogen + gas.water_per_dry)
    carbon = gas.carbon_dioxide + gas.carbon_monoxide
    if math.isinf(h_c):
        assert oxygen == pytest.approx(supplied, rel=1e-12)
        assert carbon == 0.0
    else:
        assert oxygen - o_c * carbon == pytest.approx(supplied, rel=1e-12)
        assert hydrogen == pytest.approx(h_c * carbon, rel=1e-12)


@pytest.mark.parametrize(
    ("lam", "air_fuel"), list(zip(LEAN, [17.465, 21.829, 29.104, 43.652], strict=True))
)
def test_spindt_agrees(lam, air_fuel):
    # Spindt, SAE 650507 (from memory): A/F = 11.492 Fc (1 + R/2 + Q)/(1 + R) + 120 Fh/(3.5 + R).
    gas = dry_exhaust(lam, *CH185)
    w_c = 12.011 / (12.011 + 1.008 * 1.85)
    spindt = 11.492 * w_c * (1.0 + gas.oxygen / gas.carbon_dioxide) + 120.0 * (1.0 - w_c) / 3.5
    assert spindt == pytest.approx(air_fuel, rel=1.5e-3)
    assert spindt / 14.5717 == pytest.approx(lam, rel=1.6e-3)


@pytest.mark.parametrize(
    ("lam", "shortcut"), list(zip(LEAN, [1.2142, 1.5355, 2.0710, 3.1419], strict=True))
)
def test_the_shortcut_reads_high(lam, shortcut):
    oxygen = float(dry_exhaust(lam, *CH185).oxygen)
    assert 1.0 + oxygen / (1.0 / AIR_PER_OXYGEN - oxygen) == pytest.approx(shortcut, rel=5e-4)
    assert lambda_from_oxygen_dry(oxygen, *CH185) == pytest.approx(lam, rel=1e-9)


def test_dry_reading_taken_for_wet_reads_high():
    # Lambda 2: 10.83 % dry against 10.14 % wet.
    oxygen = float(dry_exhaust(2.0, *CH185).oxygen)
    assert lambda_from_oxygen_wet(oxygen, *CH185) > 2.12


def test_carbon_monoxide_left_over_reads_lean():
    # The docstring: 0.5 % CO at lambda 1.2 reads 0.02 high.
    gas = dry_exhaust(1.2, *CH185)
    o2, co2 = gas.oxygen + 0.0025, gas.carbon_dioxide - 0.005
    true = lambda_brettschneider(o2, co2, 0.005, h_c=1.85, o_c=0.0)
    assert lambda_from_oxygen_dry(o2, *CH185) - true == pytest.approx(0.02, abs=0.003)


def test_no_combustion_has_no_lambda():
    air = 1.0 / AIR_PER_OXYGEN
    assert np.isnan(lambda_from_oxygen_dry([air, 0.21, np.nan], *CH185)).all()
    assert np.isnan(lambda_from_oxygen_wet([air, 0.25], *CH185)).all()
    assert np.isnan(lambda_from_carbon_dioxide_dry([0.0, np.nan], *CH185)).all()
    assert np.isnan(lambda_brettschneider([0.2, 0.1], [0.0, np.nan], h_c=1.85, o_c=0.0)).all()


def test_more_dioxide_than_stoichiometric_has_no_lambda():
    assert np.isnan(lambda_from_carbon_dioxide_dry(0.16, *CH185))
    stoichiometric = dry_exhaust(1.0, *CH185).carbon_dioxide
    assert lambda_from_carbon_dioxide_dry(stoichiometric, *CH185) == pytest.approx(1.0)


def test_too_rich_to_burn_is_missing():
    assert np.isnan(dry_exhaust([0.2, np.nan], *CH185).carbon_monoxide).all()


def test_zero_drift_of_an_analyser_is_no_error():
    assert lambda_from_oxygen_dry(-0.001, *CH185) == pytest.approx(0.9956, abs=1e-4)


FRACTIONS = {"o2": 0.03, "co2": 0.12, "co": 0.0, "hc": 0.0, "no": 0.0}


@pytest.mark.parametrize("name", FRACTIONS)
@pytest.mark.parametrize("value", [-0.02, 1.2])
def test_analysis_in_percent_is_refused_by_name(name, value):
    with pytest.raises(InputError, match=f"^{name} is not a possible value"):
        lambda_brettschneider(**{**FRACTIONS, name: value}, h_c=1.85, o_c=0.0)


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("o2_frac", lambda: lambda_from_oxygen_dry(1.2, *CH185)),
        ("o2_frac", lambda: lambda_from_oxygen_dry(-0.02, *CH185)),
        ("o2_frac", lambda: lambda_from_oxygen_wet(1.2, *CH185)),
        ("o2_frac", lambda: lambda_from_oxygen_wet(-0.02, *CH185)),
        ("x_vapour_intake", lambda: lambda_from_oxygen_wet(0.07, *CH185, x_vapour_intake=-0.1)),
        ("x_vapour_intake", lambda: lambda_from_oxygen_wet(0.07, *CH185, x_vapour_intake=1.2)),
        ("co2_frac", lambda: lambda_from_carbon_dioxide_dry(1.2, *CH185)),
        ("co2_frac", lambda: lambda_from_carbon_dioxide_dry(-0.1, *CH185)),
        ("carbon in the fuel", lambda: lambda_from_carbon_dioxide_dry(0.1, math.inf, 0.0)),
        ("carbon in the fuel", lambda: lambda_brettschneider(0.03, 0.12, h_c=math.inf, o_c=0.0)),
        (
            "hc_carbon",
            lambda: lambda_brettschneider(0.03, 0.12, h_c=1.85, o_c=0.0, hc_carbon=-1.0),
        ),
        ("lambda_", lambda: dry_exhaust(0.0, *CH185)),
        ("x_vapour_intake", lambda: dry_exhaust(1.0, *CH185, x_vapour_intake=1.2)),
        ("x_vapour_intake", lambda: dry_exhaust(1.0, *CH185, x_vapour_intake=-0.1)),
    ],
)
def test_impossible_arguments_are_refused_by_name(name, call):
    with pytest.raises(InputError, match=f"^{name} is not a possible value"):
        call()
