"""Moist air against CIPM-2007, emission regulations, PsychroLib and CoolProp."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from airsense.errors import InputError
from airsense.physics.air import (
    condenses,
    density_moist_air_kgpm3,
    gas_constant_moist_air_jpkgk,
    humidity_ratio,
    molar_mass_moist_air_kgpmol,
    saturation_pressure_water_pa,
    vapour_mole_fraction,
    viscosity_air_pas,
)
from airsense.physics.constants import M_DRY_AIR, M_WATER, R_DRY_AIR_JPKGK, R_MOLAR
from tests.published.published import Published

psychrolib.SetUnitSystem(psychrolib.SI)

ZERO_C = 273.15
ATM = 101325.0
CIPM = "CIPM-2007, Picard et al., Metrologia 45 (2008) 149"
OLD_R = "published with the gas constant of CODATA 2006, 1.1e-6 above that of CODATA 2018"


def cipm(printed: str) -> Published:
    return Published(CIPM, printed=printed, model_offset=2e-6, why=OLD_R)


@pytest.mark.parametrize(
    ("t_c", "p_pa", "rh", "printed"),
    [
        (20.0, ATM, 0.5, "1.199314"),
        (20.0, ATM, 0.0, "1.204557"),
        (25.0, 1.0e5, 0.3, "1.164615"),
        (30.0, ATM, 0.7, "1.151844"),
    ],
)
def test_density_is_that_of_cipm_2007(t_c, p_pa, rh, printed):
    x = vapour_mole_fraction(p_pa, t_c + ZERO_C, rh)
    cipm(printed).check(density_moist_air_kgpm3(p_pa, t_c + ZERO_C, x))


@pytest.mark.parametrize(
    ("t_c", "p_pa", "rh", "by_psychrolib", "by_coolprop"),
    [
        (20.0, ATM, 0.0, "1.204152", "1.204603"),
        (25.0, 1.0e5, 0.3, "1.164276", "1.164659"),
        (30.0, ATM, 0.7, "1.151517", "1.151888"),
    ],
)
def test_density_agrees_with_two_libraries(t_c, p_pa, rh, by_psychrolib, by_coolprop):
    x = vapour_mole_fraction(p_pa, t_c + ZERO_C, rh)
    got = density_moist_air_kgpm3(p_pa, t_c + ZERO_C, x)
    why = "another equation of state"
    Published("PsychroLib 2.5.0", by_psychrolib, model_offset=4e-4, why=why).check(got)
    Published("CoolProp 8.0.0 HumidAir", by_coolprop, model_offset=5e-5, why=why).check(got)


def test_density_agrees_with_the_weighing_formula():
    # OIML R111-1:2004, E.3 (equation from memory): p in hPa, h in %, t in C.
    t, p, h = 20.0, ATM / 100.0, 50.0
    oiml = (0.34848 * p - 0.009 * h * np.exp(0.061 * t)) / (273.15 + t)
    x = vapour_mole_fraction(ATM, t + ZERO_C, h / 100.0)
    assert density_moist_air_kgpm3(ATM, t + ZERO_C, x) == pytest.approx(oiml, rel=2e-4)


def test_vapour_gas_constant_and_humidity_ratio():
    x = vapour_mole_fraction(1.0e5, 25.0 + ZERO_C, 0.3)
    Published(CIPM, "0.009548").check(x)
    Published(CIPM, "288.088", model_offset=2e-6, why=OLD_R).check(gas_constant_moist_air_jpkgk(x))
    damp = vapour_mole_fraction(ATM, 30.0 + ZERO_C, 0.7)
    Published(CIPM, "0.029465").check(damp)
    Published(CIPM, "290.281", model_offset=2e-6, why=OLD_R).check(
        gas_constant_moist_air_jpkgk(damp)
    )
    Published(
        "PsychroLib 0.0188, CoolProp 0.0189", "0.01885", model_offset=0.003, why="between the two"
    ).check(humidity_ratio(damp))


def test_gas_constants():
    Published("CODATA 2018", "8.314462618").check(R_MOLAR.value)
    Published(CIPM, "0.02896546").check(M_DRY_AIR.value)
    Published(CIPM, "0.01801528").check(M_WATER.value)
    Published(CIPM, "287.0478", model_offset=2e-6, why=OLD_R).check(R_DRY_AIR_JPKGK)
    Published("CoolProp 8.0.0 Air", "287.0475", model_offset=2e-6, why="molar mass").check(
        R_DRY_AIR_JPKGK
    )
    r_water = R_MOLAR.value / M_WATER.value
    Published("IAPWS-95 (from memory)", "461.52").check(r_water)
    assert gas_constant_moist_air_jpkgk(0.0) == pytest.approx(R_DRY_AIR_JPKGK, rel=1e-12)
    assert gas_constant_moist_air_jpkgk(1.0) == pytest.approx(r_water, rel=1e-12)


@pytest.mark.parametrize(
    ("t_c", "percent"), [(20.0, -0.869), (25.0, -1.177), (30.0, -1.577), (40.0, -2.739)]
)
def test_fall_of_density_from_dry_to_saturated(t_c, percent):
    # Computed with CIPM-2007 elsewhere; tolerance 0.001 points.
    t = t_c + ZERO_C
    wet = density_moist_air_kgpm3(ATM, t, vapour_mole_fraction(ATM, t, 1.0))
    fall = 100.0 * (wet / density_moist_air_kgpm3(ATM, t) - 1.0)
    assert fall == pytest.approx(percent, abs=1e-3)


def grid():
    """0..60 C, 70..110 kPa, 0..100 % relative humidity."""
    t, p, rh = np.meshgrid(
        np.arange(0.0, 61.0, 5.0), np.arange(70e3, 110.1e3, 5e3), np.arange(0.0, 1.01, 0.1)
    )
    return t.ravel() + ZERO_C, p.ravel(), rh.ravel()


def test_density_over_the_grid_of_weather_and_workshop():
    t, p, rh = grid()
    ours = density_moist_air_kgpm3(p, t, vapour_mole_fraction(p, t, rh))
    coolprop = 1.0 / HAPropsSI("Vha", "T", t, "P", p, "R", rh)
    lib = np.array(
        [
            psychrolib.GetMoistAirDensity(
                c - ZERO_C, psychrolib.GetHumRatioFromRelHum(c - ZERO_C, h, q), q
            )
            for c, q, h in zip(t, p, rh, strict=True)
        ]
    )
    assert np.max(np.abs(ours / coolprop - 1.0)) < 5.1e-4
    assert np.max(ours / lib - 1.0) == pytest.approx(7.0e-4, abs=0.2e-4)
    inside = (t >= 15.0 + ZERO_C) & (t <= 27.0 + ZERO_C)
    assert np.max(np.abs(ours / coolprop - 1.0)[inside]) < 5e-5


def test_humidity_ratio_over_the_grid():
    t, p, rh = (a[grid()[2] > 0.0] for a in grid())
    ours = humidity_ratio(vapour_mole_fraction(p, t, rh))
    assert np.max(np.abs(ours / HAPropsSI("W", "T", t, "P", p, "R", rh) - 1.0)) < 4e-4


def test_ideal_mixture_is_good_to_0_13_percent():
    # The statement that an ideal mixture of dry air and vapour will do for weather.
    t, p, rh = grid()
    p_v = rh * saturation_pressure_water_pa(t)
    ideal = (p - p_v) / (R_DRY_AIR_JPKGK * t) + p_v / (gas_constant_moist_air_jpkgk(1.0) * t)
    departure = ideal * HAPropsSI("Vha", "T", t, "P", p, "R", rh) - 1.0
    assert 1.0e-3 < np.max(np.abs(departure)) < 1.3e-3


def test_saturation_pressure_against_the_international_formulation():
    t = np.arange(0.01, 70.0, 1.0) + ZERO_C
    steam = PropsSI("P", "T", t, "Q", 0.0, "Water")
    assert np.max(np.abs(saturation_pressure_water_pa(t) / steam - 1.0)) < 1e-4
    hot = np.arange(70.0, 121.0, 5.0) + ZERO_C
    steam = PropsSI("P", "T", hot, "Q", 0.0, "Water")
    assert np.max(np.abs(saturation_pressure_water_pa(hot) / steam - 1.0)) < 1e-3


CFR = "40 CFR 1065.645, worked example"


def test_water_vapour_of_the_emission_regulation():
    why = "the regulation's formula lies 0.08 to 0.11 % below the international one"
    for t_c, printed in ((9.5, "1.186581e3"), (20.0, "2.3371e3")):
        got = saturation_pressure_water_pa(t_c + ZERO_C)
        Published(CFR, printed, model_offset=1.2e-3, why=why).check(got)
    x = 0.5077 * saturation_pressure_water_pa(20.0 + ZERO_C) / 99.980e3
    Published(CFR, "0.011868", model_offset=1.2e-3, why=why).check(x)


def test_mixture_molar_mass_of_the_emission_regulation():
    why = "the regulation's dry air has 28.96559 g/mol"
    Published("40 CFR 1065.640, worked example", "28.7805", model_offset=5e-6, why=why).check(
        1e3 * molar_mass_moist_air_kgpmol(0.0169)
    )


@pytest.mark.parametrize(
    ("dew_c", "printed"),
    [
        (0.0, 28.89263),
        (5.0, 28.86148),
        (10.0, 28.81911),
        (15.0, 28.76224),
        (20.0, 28.68685),
        (25.0, 28.58806),
        (30.0, 28.46005),
    ],
)
def test_mixture_molar_mass_against_dew_point(dew_c, printed):
    # 40 CFR 1065.640 table 3; its pressure, inferred, is the middle of 80 to 103.325 kPa.
    x = saturation_pressure_water_pa(dew_c + ZERO_C) / 91.6625e3
    assert 1e3 * molar_mass_moist_air_kgpmol(x) == pytest.approx(printed, abs=0.002)


def test_amounts_of_gas_of_the_emission_regulation():
    cfr = "40 CFR 1065.640, worked example"
    Published(cfr, "19.619").check(0.471948 * 101325.0 / (R_MOLAR.value * 293.15))
    Published(cfr, "10.0000").check(0.287805 / float(molar_mass_moist_air_kgpmol(0.0169)))


def test_viscosity():
    Published("40 CFR 1065.640, worked example", "1.838e-5").check(viscosity_air_pas(298.15))
    # Sutherland's formula computed elsewhere with the same constants.
    Published("formula of Sutherland, by hand", "1.8142e-5").check(viscosity_air_pas(293.15))
    Published("CoolProp 8.0.0", "1.8206e-5", model_offset=0.004, why="other model").check(
        viscosity_air_pas(293.15)
    )
    t = np.arange(250.0, 501.0, 10.0)
    library = PropsSI("V", "P", ATM, "T", t, "Air")
    assert np.max(np.abs(viscosity_air_pas(t) / library - 1.0)) < 0.014


def test_condensation_behind_a_charge_cooler():
    # 35 C, 80 %, 100 kPa compressed to 250 kPa: PsychroLib gives W 0.02932, vapour 11.26 kPa,
    # saturation 12.35 kPa at 50 C and 7.38 kPa at 40 C.
    x = vapour_mole_fraction(1.0e5, 35.0 + ZERO_C, 0.8)
    Published("PsychroLib 2.5.0", "0.02932", model_offset=0.006, why="no enhancement").check(
        humidity_ratio(x)
    )
    Published("PsychroLib 2.5.0", "11.26e3", model_offset=0.005, why="no enhancement").check(
        x * 250e3
    )
    flags = condenses(x, 250e3, np.array([50.0, 40.0, np.nan]) + ZERO_C)
    assert flags.tolist() == [False, True, False]
    assert not condenses(0.0, 250e3, 250.0)


def test_dew_point_defines_the_same_vapour():
    t_dew = 12.0 + ZERO_C
    x = vapour_mole_fraction(ATM, t_dew, 1.0)
    assert x == pytest.approx(HAPropsSI("Y", "T", 20.0 + ZERO_C, "P", ATM, "D", t_dew), rel=3e-4)


@pytest.mark.parametrize(
    ("name", "call"),
    [
        ("t_k", lambda: saturation_pressure_water_pa(0.0)),
        ("p_pa", lambda: vapour_mole_fraction(0.0, 300.0, 0.5)),
        ("t_k", lambda: vapour_mole_fraction(1e5, 0.0, 0.5)),
        ("rh_frac", lambda: vapour_mole_fraction(1e5, 300.0, -0.01)),
        ("x_vapour", lambda: molar_mass_moist_air_kgpmol(1.01)),
        ("x_vapour", lambda: gas_constant_moist_air_jpkgk(-0.01)),
        ("p_pa", lambda: density_moist_air_kgpm3(-1.0, 300.0)),
        ("t_k", lambda: density_moist_air_kgpm3(1e5, -300.0)),
        ("x_vapour", lambda: density_moist_air_kgpm3(1e5, 300.0, 1.2)),
        ("x_vapour", lambda: density_moist_air_kgpm3(1e5, 300.0, -0.2)),
        ("x_vapour", lambda: humidity_ratio(-0.1)),
        ("x_vapour", lambda: humidity_ratio(1.2)),
        ("x_vapour", lambda: condenses(1.5, 1e5, 300.0)),
        ("x_vapour", lambda: condenses(-0.5, 1e5, 300.0)),
        ("p_pa", lambda: condenses(0.5, 0.0, 300.0)),
        ("t_k", lambda: viscosity_air_pas(0.0)),
    ],
)
def test_impossible_arguments_are_refused(name, call):
    with pytest.raises(InputError, match=f"^{name} is not a possible value") as info:
        call()
    assert info.value.where == f"argument {name}"


def test_the_refusal_states_the_range():
    with pytest.raises(InputError) as info:
        humidity_ratio(7.0)
    assert info.value.allowed == "0 to 1"
    with pytest.raises(InputError) as info:
        vapour_mole_fraction(1e5, 300.0, -0.5)
    assert info.value.allowed == "zero or above"


def test_whole_numbers_are_read_as_floats():
    whole = density_moist_air_kgpm3(np.array([100000, 101325]), np.array([300, 293]))
    assert whole.dtype == np.float64
    assert whole.tolist() == density_moist_air_kgpm3([1e5, 101325.0], [300.0, 293.0]).tolist()


def test_the_refusal_names_value_and_count():
    with pytest.raises(InputError) as info:
        density_moist_air_kgpm3([1e5, -7.0, 0.0], 300.0)
    assert info.value.where == "argument p_pa"
    assert info.value.got == "-7 in 2 of 3"
    assert info.value.allowed == "above zero"
    assert "NaN" in info.value.fix


@pytest.mark.parametrize(
    "function",
    [
        saturation_pressure_water_pa,
        humidity_ratio,
        gas_constant_moist_air_jpkgk,
        viscosity_air_pas,
    ],
)
def test_missing_samples_stay_missing(function):
    out = function(np.array([0.5, np.nan]))
    assert out.dtype == np.float64
    assert np.isfinite(out[0])
    assert np.isnan(out[1])


def test_pure_vapour_has_no_dry_air():
    assert humidity_ratio(1.0) == np.inf
