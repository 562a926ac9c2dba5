"""Which column is which: names, units, ambiguity, gauge and absolute."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.logs.headers import Header
from airsense.logs.log import Log
from airsense.logs.read import read_log
from airsense.logs.recognise import recognise
from tests.log_writing import Columns, drive, save, text


def codes(log: Log) -> list[str]:
    return [finding.code for finding in log.findings]


def read(tmp_path: Path, columns: Columns, channels: dict[str, str] | None = None) -> Log:
    return read_log(save(tmp_path / "log.csv", text(columns)), channels=channels)


def refused(tmp_path: Path, columns: Columns, channels: dict[str, str] | None = None) -> InputError:
    with pytest.raises(InputError) as caught:
        read(tmp_path, columns, channels)
    error = caught.value
    assert all((error.what, error.where, error.got, error.allowed, error.fix))
    return error


def swap(columns: Columns, old: str, new: str) -> Columns:
    """Rename the column whose header starts with `old`; '' leaves it out."""
    renamed = {(new if h.startswith(old) else h): v for h, v in columns.items()}
    return {h: v for h, v in renamed.items() if h}


HEADERS = [
    # SAE J1979 / ISO 15031-5 wording
    ("Intake Manifold Absolute Pressure [kPa]", "manifold_pressure"),
    ("Engine RPM [RPM]", "engine_speed"),
    ("Vehicle Speed Sensor [km/h]", "vehicle_speed"),
    ("Air Flow Rate from Mass Flow Sensor [g/s]", "mass_air_flow"),
    ("Absolute Throttle Position [%]", "throttle"),
    ("Ambient Air Temperature [°C]", "ambient_temperature"),
    ("Accelerator Pedal Position D [%]", "pedal"),
    ("Barometric Pressure (kPa)", "barometric_pressure"),
    ("Engine Fuel Rate (L/h)", "fuel_volume_flow"),
    ("Engine Coolant Temperature (°F)", "coolant_temperature"),
    # words of the trade
    ("MAP", "manifold_pressure"),
    ("MAP_kPa", "manifold_pressure"),
    ("MAP kPa abs", "manifold_pressure"),
    ("Boost (psi)", "boost_pressure"),
    ("boost pressure actual [mbar]", "boost_pressure"),
    ("MAF (lb/min)", "mass_air_flow"),
    ("MAF g/s", "mass_air_flow"),
    ("Air Mass [mg/str]", "air_per_stroke"),
    ("Air mass [kg/h]", "mass_air_flow"),
    ("MAF [V]", "maf_signal"),
    ("MAF [Hz]", "maf_signal"),
    ("MAF voltage (mV)", "maf_signal"),
    ("IAT (C)", "intake_temperature"),
    ("IAT_C", "intake_temperature"),
    ("Charge air temp (°C)", "charge_temperature"),
    ("Manifold Air Temp [degF]", "charge_temperature"),
    ("Injection quantity (mg/stroke)", "fuel_per_stroke"),
    ("Injection Quantity [mm³/stroke]", "fuel_volume_per_stroke"),
    ("Fuel flow (kg/h)", "fuel_mass_flow"),
    ("Fuel Flow [l/h]", "fuel_volume_flow"),
    ("Lambda 1", "lambda"),
    ("λ", "lambda"),
    ("AFR", "lambda"),
    ("Engine speed, 1/min", "engine_speed"),
    ("EngineSpeed", "engine_speed"),
    ("speed (rpm)", "engine_speed"),
    ("p_manifold / kPa", "manifold_pressure"),
    ("Torque [Nm]", "brake_torque"),
    ("Power (hp)", "brake_power"),
    ("PS", None),
    ("mass_air_flow [kg/s]", "mass_air_flow"),
    ("inlet_depression (Pa)", "inlet_depression"),
    ("Ladedruck [mbar]", "boost_pressure"),
    # wanted, allowed, computed, corrected: never the measured one
    ("Lambda desired", None),
    ("MAF target [g/s]", None),
    ("MAF specified (mg/str)", None),
    ("Commanded Equivalence Ratio", None),
    ("Lambda target", None),
    ("Lambda correction [%]", None),
    ("Calculated load [%]", None),
    ("Calculated MAF [g/s]", None),
    ("Calculated lambda", None),
    ("Engine speed limit [rpm]", None),
    ("MAP error [kPa]", None),
    # the demanded boost is a channel of its own, never the measured pressure
    ("Boost desired (psi)", "boost_demand"),
    ("Boost Pressure Target [kPa]", "boost_demand"),
    ("Boost Pressure Demand (kPa)", "boost_demand"),
    ("Commanded Boost Pressure A [kPa]", "boost_demand"),
    ("MAP setpoint [kPa]", "boost_demand"),
    ("Ladedruck Soll [mbar]", "boost_demand"),
    ("Requested boost (bar gauge)", "boost_demand"),
    # at the wheels, and corrected: neither is the engine's power as measured
    ("Wheel Power (hp)", "wheel_power"),
    ("Wheel power (kW)", "wheel_power"),
    ("WHP", "wheel_power"),
    ("Power (whp)", "wheel_power"),
    ("Power at the wheels [PS]", "wheel_power"),
    ("Leistung am Rad [kW]", "wheel_power"),
    ("Wheel torque (Nm)", "wheel_torque"),
    ("Corrected Power (kW)", "power_corrected"),
    ("Power SAE J1349 (hp)", "power_corrected"),
    ("Power (hp SAE)", "power_corrected"),
    ("Power (kW, DIN)", "power_corrected"),
    ("Motorleistung korrigiert [PS]", "power_corrected"),
    ("Wheel power, corrected (kW)", "power_corrected"),
    ("Torque corrected (Nm)", None),
    ("Uncorrected power (kW)", "brake_power"),
    ("MAP SAE [kPa]", "manifold_pressure"),
    # "fuel" alone counts only beside a unit that is no tank's
    ("Fuel (mg/stroke)", "fuel_per_stroke"),
    ("Fuel (mg)", "fuel_per_stroke"),
    ("Kraftstoff (mg/Hub)", "fuel_per_stroke"),
    ("Fuel (kg/h)", "fuel_mass_flow"),
    ("Fuel (l)", None),
    ("Fuel (%)", None),
    ("Fuel", None),
    ("Intake Air Relative Humidity (%)", "relative_humidity"),
    ("Relative Luftfeuchte [%]", "relative_humidity"),
    ("Short Term Fuel Trim - Bank 1 (%)", "fuel_trim_short"),
    ("LTFT [%]", "fuel_trim_long"),
    ("Injector pulse width (ms)", "injector_time"),
    ("Einspritzzeit (ms)", "injector_time"),
    ("Wastegate duty cycle (%)", "wastegate"),
    # the word is right, the unit is not
    ("Torque [%]", None),
    ("Throttle [V]", None),
    ("Air/Fuel", "lambda"),
]


@pytest.mark.parametrize(("header", "name"), HEADERS)
def test_one_header(header: str, name: str | None) -> None:
    found = recognise([Header(header)], None, where="log.csv")
    assert list(found.matches) == ([] if name is None else [name])


def test_unit_and_words_are_kept_as_read(tmp_path: Path) -> None:
    log = read(tmp_path, drive() | {"Gear": np.ones(1200)})
    channel = log["mass_air_flow"]
    assert (channel.header, channel.unit_read) == ("Mass Air Flow [g/s]", "g/s")
    assert channel.recognised_by == "canonical name"
    assert log["engine_speed"].recognised_by == "SAE J1979 wording"
    assert channel.resolution == pytest.approx(1e-5)
    assert log.ignored == ("Gear",)


def test_the_measured_one_is_taken_beside_the_wanted_one(tmp_path: Path) -> None:
    columns = drive()
    wanted = columns["Mass Air Flow [g/s]"] * 1.2
    log = read(tmp_path, {"MAF specified [g/s]": wanted} | columns)
    assert log["mass_air_flow"].header == "Mass Air Flow [g/s]"
    assert "MAF specified [g/s]" in log.ignored


def test_two_equal_headers_for_a_needed_channel_are_refused_with_the_line_to_write(
    tmp_path: Path,
) -> None:
    columns = swap(drive(), "Mass Air", "MAF front [g/s]"[:3] + " sensor 1 [g/s]")
    error = refused(tmp_path, columns | {"MAF sensor 2 [g/s]": columns["MAF sensor 1 [g/s]"] * 0.9})
    assert "MAF sensor 1 [g/s]" in error.got
    assert "MAF sensor 2 [g/s]" in error.got
    assert '[channels] mass_air_flow = "MAF sensor 1 [g/s]"' in error.fix
    chosen = read(
        tmp_path,
        columns | {"MAF sensor 2 [g/s]": columns["MAF sensor 1 [g/s]"] * 0.9},
        {"mass_air_flow": "MAF sensor 2 [g/s]"},
    )
    assert chosen["mass_air_flow"].header == "MAF sensor 2 [g/s]"
    assert chosen["mass_air_flow"].recognised_by == "[channels]"


def test_a_second_column_with_the_same_values_is_a_finding_not_a_refusal(tmp_path: Path) -> None:
    columns = swap(drive(), "Mass Air", "MAF sensor 1 [g/s]")
    copy = columns["MAF sensor 1 [g/s]"] * 3.6
    log = read(tmp_path, columns | {"MAF sensor 2 [kg/h]": copy})
    assert "duplicate_column" in codes(log)
    assert log["mass_air_flow"].header == "MAF sensor 1 [g/s]"


def test_two_pedals_do_not_block(tmp_path: Path) -> None:
    pedal = np.linspace(10.0, 90.0, 1200)
    both = {"Accelerator Pedal Position D [%]": pedal, "Accelerator Pedal Position E [%]": pedal}
    log = read(tmp_path, drive() | both)
    assert log["pedal"].header == "Accelerator Pedal Position D [%]"
    assert "more_than_one_header" in codes(log)


def test_the_users_word_wins_and_may_add_a_unit(tmp_path: Path) -> None:
    columns = swap(drive(), "Mass Air", "Air in")
    assert "mass_air_flow" not in read(tmp_path, columns)
    log = read(tmp_path, columns, {"mass_air_flow": "Air in [g/s]"})
    assert np.allclose(log["mass_air_flow"].value, columns["Air in"] * 1e-3)
    assert log["mass_air_flow"].unit_read == "g/s"


@pytest.mark.parametrize(
    ("channels", "part"),
    [
        ({"mass_airflow": "Mass Air Flow [g/s]"}, "mass_air_flow"),
        ({"mass_air_flow": "Mass Airflow"}, "Mass Air Flow [g/s]"),
        ({"mass_air_flow": "Engine RPM [rpm]"}, "unit"),
    ],
)
def test_a_wrong_word_of_the_user_is_refused_with_the_nearest(
    tmp_path: Path, channels: dict[str, str], part: str
) -> None:
    assert part in refused(tmp_path, drive(), channels).fix


def test_an_unknown_unit_of_a_needed_channel_is_refused(tmp_path: Path) -> None:
    error = refused(tmp_path, swap(drive(), "Mass Air", "Mass Air Flow [cubits]"))
    assert "Mass Air Flow [cubits]" in error.where
    assert "cubits" in error.got
    assert "g/s" in error.allowed


def test_a_missing_unit_with_one_credible_answer_is_assumed_and_said(tmp_path: Path) -> None:
    log = read(tmp_path, swap(drive(), "Engine RPM", "Engine RPM"[:6] + " speed"))
    assert log["engine_speed"].unit_read == "rpm"
    assert "unit_assumed" in codes(log)


@pytest.mark.parametrize("header", ["Mass Air Flow", "Intake Air Temperature"])
def test_a_missing_unit_with_several_credible_answers_is_asked_for(
    tmp_path: Path, header: str
) -> None:
    error = refused(tmp_path, swap(drive(), header, header))
    assert header in error.where
    assert "credible: " in error.got
    assert "[channels]" in error.fix


def test_values_that_do_not_fit_their_unit_are_refused(tmp_path: Path) -> None:
    columns = swap(drive(), "Intake Manifold", "MAP [bar]")
    error = refused(tmp_path, columns)
    assert "do not fit" in error.what
    assert "MAP [bar]" in error.where


def test_an_air_fuel_ratio_is_scaled_and_said(tmp_path: Path) -> None:
    columns = swap(drive(), "Lambda", "AFR")
    columns["AFR"] = columns["AFR"] * 14.7
    log = read(tmp_path, columns)
    assert np.allclose(log["lambda"].value, drive()["Lambda"])
    assert "afr_scale_assumed" in codes(log)


# --- gauge and absolute ---

GAUGE_KPA = drive()["Intake Manifold Absolute Pressure [kPa]"] - 100.0


def pressure(header: str, values_kpa: np.ndarray) -> Columns:
    columns = swap(drive(), "Intake Manifold", "")
    return columns | {header: values_kpa.round(1)}


@pytest.mark.parametrize(
    ("header", "gauge", "name", "finding"),
    [
        ("Boost pressure [kPa]", True, "boost_pressure", None),
        ("Boost gauge pressure [kPa]", True, "boost_pressure", None),
        ("MAP [kPa]", False, "manifold_pressure", None),
        ("Manifold absolute pressure [kPa]", False, "manifold_pressure", None),
        ("Manifold pressure [kPa abs]", False, "manifold_pressure", None),
        ("Manifold pressure [kPa]", False, "manifold_pressure", None),
        ("Charge pressure [kPa]", False, "manifold_pressure", "pressure_reference"),
        ("Manifold pressure [kPa]", True, "boost_pressure", "pressure_reference"),
        ("Boost pressure [kPa]", False, "manifold_pressure", "pressure_reference"),
        ("MAP [kPa]", True, "boost_pressure", "pressure_reference"),
        ("Boost pressure [kPa abs]", False, "manifold_pressure", None),
        ("Charge pressure [kPa(g)]", True, "boost_pressure", None),
    ],
)
def test_header_and_behaviour_settle_the_reference(
    tmp_path: Path, header: str, gauge: bool, name: str, finding: str | None
) -> None:
    absolute = drive()["Intake Manifold Absolute Pressure [kPa]"]
    log = read(tmp_path, pressure(header, GAUGE_KPA if gauge else absolute))
    other = {"manifold_pressure": "boost_pressure", "boost_pressure": "manifold_pressure"}[name]
    assert name in log
    assert other not in log
    assert ("pressure_reference" in codes(log)) == (finding is not None)


def test_at_one_load_the_name_tells_and_it_is_said(tmp_path: Path) -> None:
    """A steady hold shows one pressure, which may be either; PID 0B of SAE J1979 is absolute."""
    time = np.arange(0.0, 20.0, 0.1)
    columns = {
        "Time [s]": time,
        "Engine Speed [rpm]": np.full(time.size, 2900.0),
        "Mass Air Flow [g/s]": 120.0 + np.sin(time),
        "Manifold pressure [kPa]": np.full(time.size, 212.0),
    }
    log = read(tmp_path, columns)
    assert "manifold_pressure" in log
    (told,) = [f for f in log.findings if f.code == "pressure_reference"]
    assert "taken as absolute" in told.message and "[channels] manifold_pressure" in told.fix


@pytest.mark.parametrize(
    ("header", "gauge"),
    [
        ("Manifold absolute pressure [kPa]", True),
        ("Boost gauge pressure [kPa]", False),
        ("Boost [kPa gauge]", False),
        ("MAP [kPa abs]", True),
    ],
)
def test_a_plain_contradiction_is_refused(tmp_path: Path, header: str, gauge: bool) -> None:
    absolute = drive()["Intake Manifold Absolute Pressure [kPa]"]
    error = refused(tmp_path, pressure(header, GAUGE_KPA if gauge else absolute))
    assert "contradict" in error.what
    assert header in error.where


def pull(above_rpm: float = 1500.0) -> Columns:
    """Return the part of the drive above a speed: nothing there is near idle."""
    columns = drive()
    pulling = columns["Engine RPM [rpm]"] > above_rpm
    return {h: v[pulling] for h, v in columns.items()}


@pytest.mark.parametrize("header", ["Manifold pressure [kPa]", "Boost [kPa]", "MAP [kPa]"])
@pytest.mark.parametrize("gauge", [True, False])
def test_without_idle_the_air_flow_tells(tmp_path: Path, header: str, gauge: bool) -> None:
    columns = pull()
    absolute = columns.pop("Intake Manifold Absolute Pressure [kPa]")
    log = read(tmp_path, columns | {header: (absolute - 100.0 * gauge).round(1)})
    assert ("boost_pressure" in log) == gauge
    assert ("manifold_pressure" in log) != gauge


@pytest.mark.parametrize("gauge", [True, False])
def test_a_boost_channel_that_starts_at_the_barometer_is_absolute(
    tmp_path: Path, gauge: bool
) -> None:
    columns = swap(swap(pull(1150.0), "Mass Air", ""), "Intake Manifold", "Boost pressure [kPa]")
    columns["Boost pressure [kPa]"] -= 5.0 + 100.0 * gauge
    log = read(tmp_path, columns)
    assert ("boost_pressure" in log) == gauge
    assert ("pressure_reference" in codes(log)) != gauge


def test_where_nothing_tells_the_user_is_asked(tmp_path: Path) -> None:
    columns = swap(swap(pull(), "Mass Air", ""), "Intake Manifold", "Charge pressure [kPa]")
    columns["Charge pressure [kPa]"] += 35.0
    error = refused(tmp_path, columns)
    assert "gauge or absolute" in error.what
    assert "[channels] manifold_pressure" in error.fix
    settled = read(tmp_path, columns, {"manifold_pressure": "Charge pressure [kPa]"})
    assert "manifold_pressure" in settled


def test_boost_and_manifold_pressure_live_side_by_side(tmp_path: Path) -> None:
    log = read(tmp_path, drive() | {"Boost [psi]": (GAUGE_KPA / 6.894757).round(2)})
    assert np.allclose(
        log["manifold_pressure"].value - log["boost_pressure"].value, 100e3, atol=100.0
    )


def test_two_absolute_pressures_for_one_manifold_are_refused(tmp_path: Path) -> None:
    absolute = drive()["Intake Manifold Absolute Pressure [kPa]"]
    error = refused(tmp_path, drive() | {"Boost pressure [kPa abs]": absolute + 9.0})
    assert "manifold_pressure" in error.what
