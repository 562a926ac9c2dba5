"""The demo scenario: an invented engine on an invented roller, with both a gain and a skew.

`examples/two_boxes` holds its files; run as a script, this writes them again.

A workshop 300 m above the sea swaps the tube that carries the air-flow sensor for one with a
free-flowing filter box. The metering section of the new tube is a little narrower, so the sensor
over-reads; the filter box loses less pressure, and the boost target was raised with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from airsense.logs.log import Log
from tests.simulate.campaign import SimulatedCampaign, simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.engine_model import EngineModel
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.sensor import TransferTable, rescaled_table, transfer_table
from tests.simulate.truth import Truth
from tests.simulate.writing import METRIC_COMMA, csv_text

# Invented: a seed of its own, two tubes, the speeds that the workshop printed.
SEED = 20
BORE_BEFORE_MM = 80.0
BORE_AFTER_MM = 78.1
PRINTED_SPEEDS_RPM = (2600, 3400)
INTAKE_BEFORE = "stock box"
INTAKE_AFTER = "open box"

DEMO_CASE = Case(
    name="demo",
    skew=0.05,
    restriction_factor=0.45,
    boost_change=0.02,
    ambient_pressure_pa=97_800.0,
    ambient_temperature_k=292.0,
    relative_humidity_frac=0.5,
    log_maf_signal=True,
    log_depression=True,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoScenario:
    """Where the files of the demo lie, and what is true of it.

    `true_table` is the transfer table that would read after the change of tube as `table` did
    before it.
    """

    folder: Path
    engine_toml: Path
    before: tuple[Path, ...]
    after: tuple[Path, ...]
    table: Path
    claims_toml: Path
    truth: Truth
    true_table: TransferTable

    @property
    def baseline(self) -> tuple[Path, ...]:
        """Logs that teach the table's owner the engine with the first tube."""
        return self.before


def write_demo(folder: str | Path) -> DemoScenario:
    """Simulate the demo and write its files into a folder, over old ones of that name."""
    target = Path(folder)
    campaign = simulate_campaigns(TURBO_DIESEL, [DEMO_CASE], SEED)[0]
    table = transfer_table(TURBO_DIESEL)
    scenario = DemoScenario(
        folder=target,
        engine_toml=target / "engine.toml",
        before=tuple(_log_path(target, log) for log in campaign.before),
        after=tuple(_log_path(target, log) for log in campaign.after),
        table=target / "maf_table.csv",
        claims_toml=target / "claims.toml",
        truth=campaign.truth,
        true_table=rescaled_table(TURBO_DIESEL, DEMO_CASE),
    )
    target.mkdir(parents=True, exist_ok=True)
    texts = {
        scenario.engine_toml: engine_toml(TURBO_DIESEL),
        scenario.table: table_csv(table),
        scenario.claims_toml: claims_toml(campaign),
        target / "truth.csv": truth_csv(campaign.truth),
    }
    for log in (*campaign.before, *campaign.after):
        texts[_log_path(target, log)] = csv_text(log, METRIC_COMMA)
    for path, text in texts.items():
        path.write_text(text, encoding="utf-8", newline="")
    return scenario


def _log_path(folder: Path, log: Log) -> Path:
    return folder / f"{Path(log.path).name}.csv"


def engine_toml(engine: EngineModel) -> str:
    """Return what the workshop declares of the engine."""
    declared = engine.setup()
    return f"""\
# The invented engine of the demo. Only the first three keys below [engine] are required.
[engine]
displacement_l = {declared.engine.displacement_l}
cylinders = {declared.engine.cylinders}
ignition = "{declared.engine.ignition.value}"
name = "{declared.engine.name}"
charge_volume_l = {declared.engine.charge_volume_l}        # compressor outlet to valves

[fuel]
name = "{declared.fuel.name}"

[charge_temperature]
place = "after_cooler"
time_constant_s = {declared.charge_temperature.time_constant_s}

[intake]
bore_before_mm = {BORE_BEFORE_MM}          # of the tube at the air-flow sensor
bore_after_mm = {BORE_AFTER_MM}

[weather]
one_session = true             # both tubes within hours, in one hall
"""


def table_csv(table: TransferTable) -> str:
    """Return the controller's transfer table as a file: signal in V, flow in kg/h."""
    lines = ["Signal (V),Flow (kg/h)"]
    lines += [
        f"{signal:.4f},{flow * 3600.0:.1f}"
        for signal, flow in zip(table.signal_v, table.mdot_kgps, strict=True)
    ]
    return "\n".join(lines) + "\n"


def truth_csv(truth: Truth) -> str:
    """Return by engine speed what the change of tube did to the sensor and to the engine's air."""
    lines = ["Engine speed (rpm),Sensor's reading (%),Air flow of the engine (%)"]
    step = 100
    for speed in range(
        step * int(truth.speed_rpm.min() // step + 1), int(truth.speed_rpm.max()), step
    ):
        reading, air = (
            100.0 * np.expm1(np.interp(speed, truth.speed_rpm, log_ratio))
            for log_ratio in (truth.reading, truth.airflow)
        )
        lines.append(f"{speed},{reading:.3f},{air:.3f}")
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True)
class _Printed:
    """Figures of one run at one engine speed, as a seller would round them."""

    power_kw: int
    boost_bar: float
    air_gps: int
    fuel_mg: int


def claims_toml(campaign: SimulatedCampaign) -> str:
    """Return the comparison as a seller of the tube would publish it, from single runs."""
    before, after = campaign.before[0], campaign.after[0]
    top = PRINTED_SPEEDS_RPM[-1]
    old, new = _printed(before, top), _printed(after, top)
    more_power = new.power_kw - old.power_kw
    more_air = 100.0 * (new.air_gps / old.air_gps - 1.0)
    results = "".join(
        _result(intake, speed, _printed(log, speed))
        for intake, log in ((INTAKE_BEFORE, before), (INTAKE_AFTER, after))
        for speed in PRINTED_SPEEDS_RPM
    )
    return f"""\
# The comparison as a seller of the open box prints it: single runs, rounded.
[engine]
displacement_l = {campaign.setup.engine.displacement_l}
cylinders = {campaign.setup.engine.cylinders}
ignition = "{campaign.setup.engine.ignition.value}"

[publication]
session = "one day"
{results}
[[claim]]
quantity = "brake_power"
from = "{INTAKE_BEFORE}"
to = "{INTAKE_AFTER}"
tune = "road map"
engine_speed = "{top} rpm"
change = "{more_power:+d} kW"

[[claim]]
quantity = "mass_air_flow"
from = "{INTAKE_BEFORE}"
to = "{INTAKE_AFTER}"
tune = "road map"
engine_speed = "{top} rpm"
change = "{more_air:+.0f} %"
"""


def _result(intake: str, speed_rpm: int, printed: _Printed) -> str:
    return f"""
[[result]]
intake = "{intake}"
tune = "road map"
engine_speed = "{speed_rpm} rpm"
brake_power = "{printed.power_kw} kW"
boost_pressure = "{printed.boost_bar:.2f} bar"
mass_air_flow = "{printed.air_gps} g/s"
fuel_per_stroke = "{printed.fuel_mg} mg"
"""


def _printed(log: Log, speed_rpm: float) -> _Printed:
    """Read the figures off one pull, where it passes the engine speed."""
    speed = log["engine_speed"]
    pulling = log.at("pedal", speed.time_s) > 0.95
    passing = np.argmin(np.where(pulling, np.abs(speed.value - speed_rpm), np.inf))
    time = speed.time_s[passing : passing + 1]

    def value(name: str) -> float:
        return float(log.at(name, time)[0])

    return _Printed(
        power_kw=round(value("brake_power") * 1e-3),
        boost_bar=round((value("manifold_pressure") - value("barometric_pressure")) * 1e-5, 2),
        air_gps=round(value("mass_air_flow") * 1e3),
        fuel_mg=round(value("fuel_per_stroke") * 1e6),
    )


if __name__ == "__main__":
    write_demo(Path(__file__).parents[2] / "examples" / "two_boxes")
