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
    "bench, commas before the unit": {
        "Time, s": "time", "Engine speed, 1/min": "engine_speed",
        "Air flow meter, kg/h": "mass_air_flow",
        "Intake manifold pressure, kPa abs": "manifold_pressure",
        "Charge air temperature, °C": "charge_temperature", "Fuel flow, kg/h": "fuel_mass_flow",
        "Brake torque, Nm": "brake_torque",
    },
    "workshop, short words": {
        "t [s]": "time", "n [rpm]": "engine_speed", "Air [g/s]": "mass_air_flow",
        "Boost [kPa]": "boost_pressure", "Charge temp [degC]": "charge_temperature",
        "Lambda [-]": "lambda", "Power wheels [kW]": "wheel_power",
    },
    "roller bench in German": {
        "Zeit [s]": "time", "Motordrehzahl [U/min]": "engine_speed",
        "Radleistung [kW]": "wheel_power", "Raddrehmoment [Nm]": "wheel_torque",
        "Luftdruck [mbar]": "barometric_pressure",
        "Ansauglufttemperatur [°C]": "intake_temperature",
        "Luftfeuchtigkeit [%]": "relative_humidity",
    },
    "diesel, per stroke": {
        "Time [s]": "time", "Engine speed [rpm]": "engine_speed",
        "Air mass per stroke [mg]": "air_per_stroke",
        "Injected quantity [mg/stroke]": "fuel_per_stroke",
        "Desired boost pressure [mbar]": "boost_demand",
        "Actual boost pressure [mbar]": "boost_pressure", "Air mass flow [kg/h]": "mass_air_flow",
    },
    "Diesel, je Hub": {
        "Zeit [s]": "time", "Drehzahl [1/min]": "engine_speed",
        "Luftmasse je Hub [mg/Hub]": "air_per_stroke",
        "Einspritzmenge [mg/Hub]": "fuel_per_stroke", "Ladedruck Sollwert [hPa]": "boost_demand",
        "Ladedruck Istwert [hPa]": "boost_pressure", "Luftmassenmesser [kg/h]": "mass_air_flow",
        "Ladeluft Temperatur [°C]": "charge_temperature",
    },
    "US units, in words": {
        "Time (sec)": "time", "Engine speed (RPM)": "engine_speed",
        "Mass airflow (lb/min)": "mass_air_flow", "Boost pressure (psig)": "boost_pressure",
        "Barometer (inHg)": "barometric_pressure",
        "Charge temperature (°F)": "charge_temperature", "Wheel horsepower (hp)": "wheel_power",
        "Air fuel ratio": "lambda",
    },
    "exhaust analysed": {
        "Time [s]": "time", "Engine speed [rpm]": "engine_speed",
        "Exhaust O2 dry [%]": "exhaust_oxygen", "Exhaust CO2 dry [%]": "exhaust_carbon_dioxide",
        "Fuel mass flow [g/s]": "fuel_mass_flow", "Air mass flow [g/s]": "mass_air_flow",
        "Ambient pressure [kPa]": "barometric_pressure",
    },
    "Abgas und Saugrohr": {
        "Zeit [s]": "time", "Motordrehzahl [1/min]": "engine_speed",
        "Saugrohrdruck [kPa]": "manifold_pressure",
        "Saugrohrtemperatur [°C]": "charge_temperature",
        "Kraftstoffverbrauch [kg/h]": "fuel_mass_flow", "Lambda gemessen": "lambda",
        "Fahrpedal [%]": "pedal", "Kühlwassertemperatur [°C]": "coolant_temperature",
    },
    "underscores and capitals": {
        "TIME_S": "time", "ENGINE_SPEED_RPM": "engine_speed",
        "MASS_AIR_FLOW_KG_H": "mass_air_flow", "MANIFOLD_PRESSURE_KPA": "manifold_pressure",
        "CHARGE_TEMPERATURE_C": "charge_temperature",
        "BAROMETRIC_PRESSURE_KPA": "barometric_pressure",
    },
    "units in words": {
        "Time (seconds)": "time", "Engine speed (rev/min)": "engine_speed",
        "Mass air flow (grams per second)": "mass_air_flow",
        "Manifold absolute pressure (kilopascal)": "manifold_pressure",
        "Vehicle speed (km/h)": "vehicle_speed", "Throttle (percent)": "throttle",
        "Intake air temperature (Celsius)": "intake_temperature",
    },
}  # fmt: skip


def test_there_are_twenty() -> None:
    assert len(SETS) >= 20


@pytest.mark.parametrize("name", SETS)
def test_a_row_is_recognised_whole(name: str) -> None:
    expected = SETS[name]
    found = recognise([Header(h) for h in expected], None, where="log.csv")
    assert {match.header: match.name for match in found.matches.values()} == expected
    assert not found.rivals


@pytest.mark.parametrize(
    "header", ["Boost error (kPa)", "Boost demand limit (kPa)", "Fuel level (l)",
               "Fuel pressure (bar)", "Injector duty (%)", "Lambda target",
               "Oil temperature (°C)", "Wheel slip (%)", "Air", "n", "Air suspension (bar)"],
)  # fmt: skip
def test_what_is_something_else_is_left_alone(header: str) -> None:
    assert not recognise([Header(header)], None, where="log.csv").matches
