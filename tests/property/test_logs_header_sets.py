"""Whole header rows as people write them, recognised without a mapping; all of our own writing."""

from __future__ import annotations

import pytest

from airsense.logs.headers import Header
from airsense.logs.recognise import recognise

SETS: dict[str, dict[str, str]] = {
    "plain English, metric": {
        "Time (s)": "time", "Engine speed (rpm)": "engine_speed",
        "Manifold pressure (kPa abs)": "manifold_pressure", "Air mass flow (kg/h)": "mass_air_flow",
        "Charge air temp (°C)": "charge_temperature", "Fuel (mg/stroke)": "fuel_per_stroke",
        "Wheel power (kW)": "wheel_power",
    },
    "plain English, American": {
        "seconds": "time", "RPM": "engine_speed", "Boost (psi)": "boost_pressure",
        "MAF (lb/min)": "mass_air_flow", "IAT (F)": "intake_temperature", "AFR": "lambda",
        "WHP": "wheel_power", "Wheel torque (lb-ft)": "wheel_torque", "Baro (inHg)":
        "barometric_pressure",
    },
    "demand beside the measured": {
        "time [ms]": "time", "Engine RPM": "engine_speed", "Boost target [bar]": "boost_demand",
        "Boost actual [bar]": "boost_pressure", "Wastegate duty [%]": "wastegate",
        "Pedal [%]": "pedal", "Air mass [mg/stroke]": "air_per_stroke",
    },
    "German, plain": {
        "Zeit (s)": "time", "Motordrehzahl (1/min)": "engine_speed", "Ladedruck (mbar)":
        "boost_pressure", "Ladedruck Soll (mbar)": "boost_demand", "Luftmasse (kg/h)":
        "mass_air_flow", "Ladelufttemperatur (°C)": "charge_temperature",
        "Einspritzmenge (mg/Hub)": "fuel_per_stroke", "Radleistung (PS)": "wheel_power",
    },
    "German, units apart": {
        "Zeit [s]": "time", "Drehzahl [U/min]": "engine_speed", "Saugrohrdruck absolut [hPa]":
        "manifold_pressure", "Luftmasse pro Hub [mg/Hub]": "air_per_stroke",
        "Luftmassenstrom [g/s]": "mass_air_flow", "Lambdawert": "lambda", "Luftdruck [hPa]":
        "barometric_pressure", "Außentemperatur [°C]": "ambient_temperature",
        "Relative Luftfeuchtigkeit [%]": "relative_humidity",
    },
    "German, dynamometer": {
        "Zeit (s)": "time", "Drehzahl (U/min)": "engine_speed", "Leistung am Rad (kW)":
        "wheel_power", "Motorleistung korrigiert (kW)": "power_corrected",
        "Motorleistung (kW)": "brake_power", "Drehmoment (Nm)": "brake_torque",
        "Raumtemperatur (°C)": "ambient_temperature", "Luftfeuchte (%)": "relative_humidity",
    },
    "petrol, closed loop": {
        "Time (s)": "time", "Engine Speed (1/min)": "engine_speed", "MAP (kPa)":
        "manifold_pressure", "MAF (g/s)": "mass_air_flow", "Short term fuel trim (%)":
        "fuel_trim_short", "Long term fuel trim (%)": "fuel_trim_long", "Injector pulse width (ms)":
        "injector_time", "Lambda": "lambda", "Throttle position (%)": "throttle",
    },
    "Benzin, geregelt": {
        "Zeit (ms)": "time", "Motordrehzahl (1/min)": "engine_speed", "Saugrohrdruck (kPa)":
        "manifold_pressure", "Luftmassenstrom (kg/h)": "mass_air_flow", "Einspritzzeit (ms)":
        "injector_time", "Kurzzeitkorrektur (%)": "fuel_trim_short", "Langzeitkorrektur (%)":
        "fuel_trim_long", "Drosselklappenwinkel (%)": "throttle",
    },
    "canonical names": {
        "time [s]": "time", "engine_speed [rpm]": "engine_speed", "boost_demand [kPa]":
        "boost_demand", "wastegate [%]": "wastegate", "wheel_power [kW]": "wheel_power",
        "wheel_torque [Nm]": "wheel_torque", "fuel_trim_short [%]": "fuel_trim_short",
        "fuel_trim_long [%]": "fuel_trim_long", "injector_time [ms]": "injector_time",
        "power_corrected [kW]": "power_corrected",
    },
    "snake case with unit tails": {
        "time_s": "time", "engine_speed_rpm": "engine_speed", "boost_pressure_kPa":
        "boost_pressure", "boost_demand_kPa": "boost_demand", "maf_g/s": "mass_air_flow",
        "charge_temp_C": "charge_temperature", "wheel_power_kW": "wheel_power",
    },
}  # fmt: skip


@pytest.mark.parametrize("name", SETS)
def test_a_row_is_recognised_whole(name: str) -> None:
    expected = SETS[name]
    found = recognise([Header(h) for h in expected], None, where="log.csv")
    assert {match.header: match.name for match in found.matches.values()} == expected
    assert not found.rivals


@pytest.mark.parametrize(
    "header", ["Boost error (kPa)", "Boost demand limit (kPa)", "Fuel level (l)",
               "Fuel pressure (bar)", "Injector duty (%)", "Lambda target",
               "Oil temperature (°C)", "Wheel slip (%)"],
)  # fmt: skip
def test_what_is_something_else_is_left_alone(header: str) -> None:
    assert not recognise([Header(header)], None, where="log.csv").matches
