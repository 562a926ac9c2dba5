"""Stoichiometry and heating values against handbooks, regulations and cantera."""

from __future__ import annotations

import math

import cantera
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from airsense.errors import InputError
from airsense.estimates.combustion import u_afr_unknown_blend
from airsense.physics.constants import (
    AIR_PER_OXYGEN,
    M_CARBON,
    M_DRY_AIR,
    M_HYDROGEN,
    M_OXYGEN,
    NITROGEN_PER_OXYGEN,
)
from airsense.physics.fuel import (
    estimated_lhv_jpkg,
    fuel_from_composition,
    fuel_named,
    fuel_names,
    stoichiometric_afr,
)
from tests.published.published import Published

INF = math.inf
HEYWOOD = "Heywood, Internal Combustion Engine Fundamentals (1988), table D.4 (from memory)"

# name of the species in cantera's NASA data, C, H, O, heat of vaporization at 25 C in kJ/mol
# (liquid fuels; CRC Handbook, from memory)
ISO_OCTANE = ("C8H18,isooctane", 8, 18, 0, 35.1)
N_HEPTANE = ("C7H16,n-heptane", 7, 16, 0, 36.6)
TOLUENE = ("C7H8", 7, 8, 0, 38.0)
ETHANOL = ("C2H5OH", 2, 6, 1, 42.3)
METHANOL = ("CH3OH", 1, 4, 1, 37.4)
METHANE = ("CH4", 1, 4, 0, 0.0)
HYDROGEN = ("H2", 0, 2, 0, 0.0)
ALL = (ISO_OCTANE, N_HEPTANE, TOLUENE, ETHANOL, METHANOL, METHANE, HYDROGEN)


def ratios(fuel) -> tuple[float, float]:
    _, c, h, o, _ = fuel
    return (INF, 0.0) if c == 0 else (h / c, o / c)


@pytest.fixture(scope="module")
def species():
    return {s.name: s for s in cantera.Species.list_from_file("nasa_gas.yaml")}


def cantera_lhv_jpkg(fuel, species) -> float:
    """Enthalpies of formation at 25 C, water as vapour, less the fuel's vaporization."""
    name, c, h, o, vaporization = fuel
    enthalpy = {n: species[n].thermo.h(298.15) / 1e3 for n in (name, "CO2", "H2O", "O2")}
    oxygen = c + h / 4 - o / 2
    released = enthalpy[name] + oxygen * enthalpy["O2"] - c * enthalpy["CO2"]
    released -= h / 2 * enthalpy["H2O"]
    mass = (12.011 * c + 1.008 * h + 15.999 * o) * 1e-3
    return (released - vaporization * 1e3) / mass


def cantera_afr(fuel, species) -> float:
    """Air of 20.946 % O2, 78.112 % N2, 0.942 % Ar."""
    name, *_ = fuel
    gas = cantera.Solution(
        thermo="ideal-gas", species=[species[n] for n in (name, "O2", "N2", "Ar")]
    )
    air = "O2:20.946, N2:78.112, Ar:0.942"
    return float(gas.stoich_air_fuel_ratio(f"{name}:1", air))


@pytest.mark.parametrize("fuel", ALL, ids=lambda f: f[0])
def test_stoichiometric_ratio_against_cantera(fuel, species):
    assert stoichiometric_afr(*ratios(fuel)) == pytest.approx(cantera_afr(fuel, species), rel=4e-4)


@pytest.mark.parametrize(
    ("fuel", "column", "handbook"),
    [
        (ISO_OCTANE, "15.126", "15.13"),
        (N_HEPTANE, "15.174", "15.17"),
        (ETHANOL, "9.001", "9.00"),
        (METHANOL, "6.471", "6.47"),
        (METHANE, "17.232", "17.23"),
        (HYDROGEN, "34.28", "34.3"),
        (TOLUENE, "13.501", "13.50"),
    ],
    ids=lambda f: f[0] if isinstance(f, tuple) else f,
)
def test_stoichiometric_ratio_of_handbooks(fuel, column, handbook):
    afr = stoichiometric_afr(*ratios(fuel))
    why = "molar mass of air 28.96 instead of 28.965 g/mol"
    Published("formula with O2:N2 = 1:3.773, by hand", column, model_offset=2.5e-4, why=why).check(
        afr
    )
    Published(HEYWOOD, handbook, model_offset=4e-4, why=why).check(afr)


@pytest.mark.parametrize(
    ("h_c", "o_c", "printed"),
    [
        (1.80, 0.0, "14.497"),
        (1.85, 0.0, "14.569"),
        (1.87, 0.0, "14.598"),
        (1.70, 0.0, "14.352"),
        (36 / 19, 2 / 19, "12.587"),
    ],
)
def test_stoichiometric_ratio_of_mixtures(h_c, o_c, printed):
    """(1 + y/4 - z/2) of oxygen with 3.773 of nitrogen: Heywood, section 3.4."""
    why = "molar mass of air 28.96 instead of 28.965 g/mol"
    Published("formula with O2:N2 = 1:3.773, by hand", printed, model_offset=2.5e-4, why=why).check(
        stoichiometric_afr(h_c, o_c)
    )


@pytest.mark.parametrize(
    ("h_c", "o_c"), [(1.80, 0.0), (1.85, 0.0), (1.86, 0.005), (3.0, 0.5), (2.25, 0.0)]
)
def test_stoichiometric_ratio_of_exhaust_standards(h_c, o_c):
    # ISO 16183 / UN R49 (from memory): 138 (1 + a/4 - e/2) / (12.011 + 1.00794 a + 15.9994 e).
    iso = 138.0 * (1.0 + h_c / 4.0 - o_c / 2.0) / (12.011 + 1.00794 * h_c + 15.9994 * o_c)
    assert stoichiometric_afr(h_c, o_c) == pytest.approx(iso, rel=2e-3)


@pytest.mark.parametrize(
    ("name", "printed"), [("diesel", 14.7), ("petrol_e0", 14.7), ("ethanol", 9.0)]
)
def test_stoichiometric_ratio_of_a_public_fuel_table(name, printed):
    # U.S. AFDC, fuel properties comparison: 14.7, 14.7, 9.
    assert fuel_named(name).afr_stoich == pytest.approx(printed, rel=0.015)


def test_the_one_definition_of_air():
    Published(HEYWOOD, "4.773").check(AIR_PER_OXYGEN)
    Published(HEYWOOD, "3.773").check(NITROGEN_PER_OXYGEN.value)
    Published("dry air, 20.946 % O2, by hand", "0.2095").check(1.0 / AIR_PER_OXYGEN)
    # The 3.76 of books that leave out argon shifts the ratio by -0.65 %.
    textbook = 4.76 * (2 * 15.999 + 3.76 * 28.014) / 4.76 / M_DRY_AIR.value / 1e3
    assert textbook / AIR_PER_OXYGEN - 1.0 == pytest.approx(-0.0065, abs=5e-4)


def test_atomic_masses():
    source = "IUPAC 2013 conventional atomic masses"
    Published(source, "12.011e-3").check(M_CARBON.value)
    Published(source, "1.008e-3").check(M_HYDROGEN.value)
    Published(source, "15.999e-3").check(M_OXYGEN.value)


@pytest.mark.parametrize(
    ("name", "fuel", "computed", "handbook"),
    [
        ("iso_octane", ISO_OCTANE, "44.34e6", "44.3e6"),
        ("ethanol", ETHANOL, "26.81e6", "26.9e6"),
        ("methanol", METHANOL, "19.93e6", "20.0e6"),
        ("methane", METHANE, "50.025e6", "50.0e6"),
        ("hydrogen", HYDROGEN, "119.95e6", "120.0e6"),
    ],
)
def test_heating_value_of_pure_fuels(name, fuel, computed, handbook, species):
    lhv = fuel_named(name).lhv_jpkg
    assert lhv == pytest.approx(cantera_lhv_jpkg(fuel, species), rel=2e-3)
    Published(
        "enthalpies of formation, by hand", computed, model_offset=2e-3, why="rounding"
    ).check(lhv)
    Published(HEYWOOD, handbook, model_offset=3e-3, why="older enthalpies").check(lhv)


def test_heating_value_of_diesel():
    Published("Wahlstrom and Eriksson (2011), model parameters", "42.9e6").check(
        fuel_named("diesel").lhv_jpkg
    )


@pytest.mark.parametrize("fuel", [f for f in ALL if f is not HYDROGEN], ids=lambda f: f[0])
def test_estimated_heating_value_of_pure_fuels(fuel, species):
    assert estimated_lhv_jpkg(*ratios(fuel)) == pytest.approx(
        cantera_lhv_jpkg(fuel, species), rel=0.02
    )


@pytest.mark.parametrize("name", ["diesel", "petrol_e0", "petrol_e85", "biodiesel", "lpg"])
def test_estimated_heating_value_of_mixtures(name):
    """Channiwala and Parikh, whose correlation is good to some percent."""
    fuel = fuel_named(name)
    estimate = estimated_lhv_jpkg(fuel.hydrogen_to_carbon, fuel.oxygen_to_carbon)
    assert estimate == pytest.approx(fuel.lhv_jpkg, rel=0.02)


def test_estimated_heating_value_is_the_correlations():
    # Channiwala and Parikh (2002): HHV = 34.91 C + 117.83 H - 10.34 O MJ/kg by mass fraction;
    # ethanol 52.14 % C, 13.13 % H, 34.73 % O; 8.936 kg of water per kg of hydrogen.
    higher = 34.91 * 0.52143 + 117.83 * 0.13128 - 10.34 * 0.34728
    lower = higher - 2.442 * 8.936 * 0.13128
    assert estimated_lhv_jpkg(3.0, 0.5) == pytest.approx(lower * 1e6, rel=1e-4)
    # Outside its range: hydrogen comes out 20 % low, as the docstring says.
    assert estimated_lhv_jpkg(INF, 0.0) == pytest.approx(0.80 * 119.95e6, rel=0.01)


def carbon_share(h_c, o_c):
    """Carbon by mass, of whole atomic masses of IUPAC."""
    return 12.011 / (12.011 + 1.008 * h_c + 15.999 * o_c)


def blend(share: float):
    """Volume share of ethanol in petrol: H/C, O/C, LHV, density."""
    petrol, ethanol = fuel_named("petrol_e0"), fuel_named("ethanol")
    m_e, m_p = share * ethanol.density_kgpm3, (1.0 - share) * petrol.density_kgpm3
    c_e, c_p = m_e * carbon_share(3.0, 0.5), m_p * carbon_share(1.85, 0.0)
    part = c_e / (c_e + c_p)
    lhv = (m_e * ethanol.lhv_jpkg + m_p * petrol.lhv_jpkg) / (m_e + m_p)
    return 3.0 * part + 1.85 * (1.0 - part), 0.5 * part, lhv, m_e + m_p


@pytest.mark.parametrize(
    ("name", "share"), [("petrol_e5", 0.05), ("petrol_e10", 0.10), ("petrol_e85", 0.85)]
)
def test_blends_follow_from_their_parts(name, share):
    fuel = fuel_named(name)
    h_c, o_c, lhv, density = blend(share)
    assert fuel.hydrogen_to_carbon == pytest.approx(h_c, abs=1e-4)
    assert fuel.oxygen_to_carbon == pytest.approx(o_c, abs=1e-4)
    assert fuel.lhv_jpkg == pytest.approx(lhv, rel=3e-4)
    assert fuel.density_kgpm3 == pytest.approx(density, rel=1e-4)


def test_e10_is_near_the_regulations():
    # 40 CFR 1065.655 table 2 (from memory): E10 with H/C 1.92, O/C 0.03.
    fuel = fuel_named("E10")
    assert fuel.hydrogen_to_carbon == pytest.approx(1.92, abs=0.01)
    assert fuel.oxygen_to_carbon == pytest.approx(0.03, abs=0.005)


@pytest.mark.parametrize(
    ("name", "fluid"),
    [
        ("methane", "Methane"),
        ("hydrogen", "Hydrogen"),
        ("ethanol", "Ethanol"),
        ("methanol", "Methanol"),
    ],
)
def test_density_at_15_c(name, fluid):
    """Against CoolProp."""
    library = PropsSI("D", "P", 101325.0, "T", 288.15, fluid)
    assert fuel_named(name).density_kgpm3 == pytest.approx(library, rel=1e-3)


def test_every_fuel_of_the_trade_is_there_and_complete():
    wanted = {
        "diesel",
        "petrol",
        "petrol_e0",
        "petrol_e5",
        "petrol_e10",
        "petrol_e85",
        "ethanol",
        "methanol",
        "lpg",
        "methane",
        "natural_gas",
        "hydrogen",
        "biodiesel",
    }
    assert wanted <= set(fuel_names())
    assert len(set(fuel_names())) == len(fuel_names())
    for name in fuel_names():
        fuel = fuel_named(name)
        assert fuel.name == name
        assert fuel.source
        expected = float(stoichiometric_afr(fuel.hydrogen_to_carbon, fuel.oxygen_to_carbon))
        assert fuel.afr_stoich == expected
        assert 1.9e7 < fuel.lhv_jpkg < 1.21e8
        assert 0.05 < fuel.density_kgpm3 < 900.0


def test_names_forgive_case_hyphens_and_spaces():
    assert fuel_named(" Petrol-E10 ").name == "petrol_e10"
    assert fuel_named("gas oil").name == "diesel"
    assert fuel_named("GASOLINE_E85").name == "petrol_e85"


def test_an_unknown_fuel_lists_the_known_ones():
    with pytest.raises(InputError) as info:
        fuel_named("kerosine")
    assert info.value.got == "kerosine"
    assert info.value.where == "[fuel] name"
    for name in fuel_names():
        assert name in info.value.allowed


def test_own_composition():
    own = fuel_from_composition(1.8, 0.0)
    assert own.afr_stoich == pytest.approx(14.4998, abs=1e-4)
    assert own.lhv_jpkg == float(estimated_lhv_jpkg(1.8, 0.0))
    assert own.source.startswith("declared composition; heating value estimated by Channiwala")
    assert own.name == "own composition"
    assert math.isnan(own.density_kgpm3)
    told = fuel_from_composition(1.8, 0.0, 43.1, 0.84)
    assert told.lhv_jpkg == pytest.approx(43.1e6)
    assert told.density_kgpm3 == pytest.approx(840.0)
    assert "Channiwala" not in told.source
    assert (told.hydrogen_to_carbon, told.oxygen_to_carbon) == (1.8, 0.0)


def test_what_does_not_burn_is_refused():
    with pytest.raises(InputError, match="does not burn") as info:
        stoichiometric_afr(0.0, 2.0)
    assert info.value.where == "hydrogen_to_carbon, oxygen_to_carbon"
    assert info.value.got == "H/C 0.0, O/C 2.0"
    with pytest.raises(InputError, match=r"^h_c is not a possible value"):
        stoichiometric_afr(-0.1, 0.0)
    with pytest.raises(InputError, match=r"^o_c is not a possible value"):
        fuel_from_composition(1.8, -0.1)


def test_missing_ratio_stays_missing():
    assert np.isnan(stoichiometric_afr([1.8, np.nan], 0.0)).tolist() == [False, True]


@pytest.mark.parametrize("name", ["petrol", "gasoline", "Gasoline"])
def test_pump_petrol_is_the_middle_of_what_the_pump_may_hold(name):
    """Rectangular between no ethanol and a tenth of it, JCGM 100:2008, 4.3.7."""
    fuel = fuel_named(name)
    ends = [fuel_named(f"petrol_e{share}").afr_stoich for share in (0, 10)]
    assert ends[1] < fuel.afr_stoich < ends[0]
    assert u_afr_unknown_blend(fuel) == pytest.approx(
        (ends[0] - ends[1]) / math.sqrt(12.0) / fuel.afr_stoich
    )
    assert 0.008 < u_afr_unknown_blend(fuel) < 0.014
    assert u_afr_unknown_blend(fuel_named("petrol_e10")) == 0.0


def test_an_unknown_blend_widens_the_fuel_route_and_not_the_power_route():
    """Heating value and stoichiometric ratio of a blend move together: per air they hardly do."""
    ratio = [
        fuel_named(f"petrol_e{share}").lhv_jpkg / fuel_named(f"petrol_e{share}").afr_stoich
        for share in (0, 10)
    ]
    assert abs(ratio[1] / ratio[0] - 1.0) < 0.004
