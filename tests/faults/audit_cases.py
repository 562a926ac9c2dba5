"""Invented comparisons, made forwards from an engine state and printed with few digits.

Nothing here uses the audit's code: air follows from speed density, fuel from lambda, power from
efficiency, with round numbers of our own. Engines, intakes and figures are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

R_AIR = 287.05
HP_W = 745.6999
PS_W = 735.49875
PSI_PA = 6894.757
LB_MIN_KGPS = 0.45359237 / 60.0


@dataclass(frozen=True)
class State:
    """What an engine does at one full-load point."""

    displacement_l: float
    cylinders: int
    ignition: str
    induction: str
    speed_rpm: float
    p_manifold_kpa: float
    t_charge_k: float
    ve: float
    lambda_: float
    efficiency: float
    p_ambient_kpa: float = 99.0
    loss: float = 0.0
    afr: float = 14.5
    lhv_mj: float = 42.8

    @property
    def air_kgps(self) -> float:
        """Air flow of a four-stroke engine by speed density."""
        rate = self.displacement_l * 1e-3 * self.speed_rpm / 120.0
        return self.ve * self.p_manifold_kpa * 1e3 / (R_AIR * self.t_charge_k) * rate

    @property
    def fuel_kgps(self) -> float:
        """Fuel flow from air and lambda."""
        return self.air_kgps / (self.lambda_ * self.afr)

    @property
    def power_w(self) -> float:
        """Power where it is measured."""
        return self.fuel_kgps * self.lhv_mj * 1e6 * self.efficiency * (1.0 - self.loss)


DIESEL_2 = State(2.0, 4, "compression", "turbocharged", 3500, 245, 325, 0.90, 1.35, 0.37)
DIESEL_3 = State(2.97, 6, "compression", "turbocharged", 3000, 265, 330, 0.92, 1.30, 0.385)
DIESEL_6 = State(6.4, 8, "compression", "turbocharged", 2800, 290, 335, 0.93, 1.40, 0.39)
DIESEL_12 = State(12.3, 6, "compression", "turbocharged", 1500, 305, 325, 0.95, 1.75, 0.425)
PETROL_14 = State(
    1.4, 4, "spark", "turbocharged", 5500, 205, 325, 0.93, 0.90, 0.29, afr=14.1, lhv_mj=42.0
)
PETROL_3 = State(
    2.99, 6, "spark", "turbocharged", 6000, 190, 320, 0.95, 0.85, 0.28, afr=14.1, lhv_mj=42.0
)
PETROL_NA = State(
    2.49, 6, "spark", "naturally_aspirated", 6200, 96, 303, 1.02, 0.89, 0.285, afr=14.1, lhv_mj=42.0
)
ENGINES = (DIESEL_2, DIESEL_3, DIESEL_6, DIESEL_12, PETROL_14, PETROL_3, PETROL_NA)


@dataclass(frozen=True)
class Style:
    """How a publication prints: units, what it leaves out, where power is measured."""

    power: str = "kW"
    pressure: str = "bar"
    air: str = "g/s"
    fuel: str = "mg"
    power_at: str = "engine"
    leave_out: tuple[str, ...] = ()
    extra: tuple[str, ...] = ()


METRIC = Style()
US = Style(power="hp", pressure="psi", air="lb/min", power_at="wheels")
MIXED = Style(power="PS", pressure="psi", air="kg/h", fuel="g/s", power_at="wheels")
STYLES = (METRIC, US, MIXED)


@dataclass(frozen=True)
class Printed:
    """The figures of a row, as text."""

    figures: dict[str, str] = field(default_factory=dict)

    def toml(self, intake: str) -> str:
        """Return the [[result]] of these figures."""
        rows = [f'{name} = "{text}"' for name, text in self.figures.items()]
        return "\n".join(["[[result]]", f'intake = "{intake}"', 'tune = "own"', *rows, ""])


def print_row(state: State, style: Style, noise: dict[str, float]) -> Printed:
    """Print a state with the digits that such publications use."""
    power = state.power_w * (1.0 + noise.get("power", 0.0))
    air = state.air_kgps * (1.0 + noise.get("air", 0.0))
    fuel = state.fuel_kgps * (1.0 + noise.get("fuel", 0.0))
    boost = state.p_manifold_kpa * (1.0 + noise.get("pressure", 0.0)) - state.p_ambient_kpa
    stroke = fuel * 120.0 / (state.speed_rpm * state.cylinders)
    figures = {
        "engine_speed": f"{state.speed_rpm:.0f} rpm",
        "brake_power": {
            "kW": f"{power / 1e3:.1f} kW",
            "hp": f"{power / HP_W:.0f} hp",
            "PS": f"{power / PS_W:.0f} PS",
        }[style.power],
        "boost_pressure": {
            "bar": f"{boost / 100.0:.2f} bar",
            "psi": f"{boost * 1e3 / PSI_PA:.1f} psi",
        }[style.pressure],
        "mass_air_flow": {
            "g/s": f"{air * 1e3:.1f} g/s",
            "lb/min": f"{air / LB_MIN_KGPS:.2f} lb/min",
            "kg/h": f"{air * 3600.0:.0f} kg/h",
        }[style.air],
    }
    if style.fuel == "mg":
        figures["fuel_per_stroke"] = f"{stroke * 1e6:.1f} mg"
    else:
        figures["fuel_mass_flow"] = f"{fuel * 1e3:.2f} g/s"
    if "lambda" in style.extra:
        figures["lambda"] = f"{state.lambda_:.2f}"
    if "charge_temperature" in style.extra:
        figures["charge_temperature"] = f"{state.t_charge_k - 273.15:.0f} degC"
    if state.induction == "naturally_aspirated":
        del figures["boost_pressure"]
        figures["manifold_pressure"] = f"{state.p_manifold_kpa:.1f} kPa"
    return Printed({k: v for k, v in figures.items() if k not in style.leave_out})


def claims_toml(
    state: State, before: Printed, after: Printed, style: Style, *, claims: str, more: str = ""
) -> str:
    """Return a whole claims file."""
    fuel = "diesel" if state.ignition == "compression" else "petrol_e10"
    return f"""
[engine]
displacement_l = {state.displacement_l}
cylinders = {state.cylinders}
ignition = "{state.ignition}"
induction = "{state.induction}"
[fuel]
name = "{fuel}"
[publication]
power_at = "{style.power_at}"
{more}
{before.toml("old")}
{after.toml("new")}
{claims}
"""


def claim(quantity: str, change: str, **more: str) -> str:
    """Return a [[claim]] from old to new."""
    rows = "".join(f'{key} = "{value}"\n' for key, value in more.items())
    return (
        f'[[claim]]\nquantity = "{quantity}"\nfrom = "old"\nto = "new"\ntune = "own"\n'
        f'change = "{change}"\n{rows}'
    )


def noise_of(rng: np.random.Generator) -> dict[str, float]:
    """Return the scatter of one printed row: the spread of a decent dynamometer."""
    return {
        "power": rng.normal(0.0, 0.005),
        "air": rng.normal(0.0, 0.003),
        "fuel": rng.normal(0.0, 0.005),
        "pressure": rng.normal(0.0, 0.002),
    }


def better_intake(state: State, gain: float) -> State:
    """Return the engine with lower restriction: more pressure, a little warmer, same mixture."""
    return replace(
        state,
        p_manifold_kpa=state.p_manifold_kpa * (1.0 + gain),
        t_charge_k=state.t_charge_k * (1.0 + 0.1 * gain),
    )


def stated_power(before: Printed, after: Printed) -> str:
    """Return the claimed change of power as a publication works it out from its own figures."""
    first, unit = before.figures["brake_power"].split()
    second = after.figures["brake_power"].split()[0]
    digits = 1 if "." in first else 0
    return f"{float(second) - float(first):+.{digits}f} {unit}"
