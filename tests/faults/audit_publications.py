"""Invented publications, made forwards from an engine state: sound, contradictory and open ones.

Nothing here uses the audit's code. A publication is a dict of figures by row as an engine would
give them, printed with honest rounding; a fault is planted in a figure, in the claim, or by
leaving things out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tests.faults.audit_cases import ENGINES, HP_W, LB_MIN_KGPS, PS_W, PSI_PA, State

P_REF_KPA, T_REF_K = 99.0, 298.0


@dataclass(frozen=True)
class Publication:
    """Two rows of an engine with what is printed of them, and the claims."""

    state: State
    rows: tuple[dict[str, str], dict[str, str]]
    claims: tuple[str, ...]
    publication: tuple[str, ...] = ()
    engine: tuple[str, ...] = ()

    def toml(self) -> str:
        """Return the claims file."""
        s = self.state
        fuel = "diesel" if s.ignition == "compression" else "petrol_e10"
        head = [
            "[engine]",
            f"displacement_l = {s.displacement_l}",
            f"cylinders = {s.cylinders}",
            f'ignition = "{s.ignition}"',
            f'induction = "{s.induction}"',
            *self.engine,
            "[fuel]",
            f'name = "{fuel}"',
            "[publication]",
            *self.publication,
        ]
        for name, row in zip(("old", "new"), self.rows, strict=True):
            head += ["[[result]]", f'intake = "{name}"', 'tune = "own"']
            head += [f'{key} = "{text}"' for key, text in row.items()]
        return "\n".join([*head, *self.claims, ""])


def claim(quantity: str, change: str = "", **more: str) -> str:
    """Return a [[claim]] from old to new."""
    pairs = {"quantity": quantity, "from": "old", "to": "new", "tune": "own", "change": change}
    pairs |= more
    lines = [f'{key} = "{value}"' for key, value in pairs.items() if value]
    return "\n".join(["[[claim]]", *lines])


def figures(state: State, rng: np.random.Generator | None = None, **units: str) -> dict[str, str]:
    """Return all figures of a state as text, with scatter if `rng` is given."""
    return printed(values(state, rng), state, **units)


# Run-to-run scatter (k = 1) of a decent dynamometer and logger, and of the engine itself.
SCATTER = {"power": 0.006, "air": 0.003, "fuel": 0.006, "boost": 0.003, "lambda": 0.006}
SCATTER_K = 1.0


def values(state: State, rng: np.random.Generator | None = None, dof: float = 0.0) -> dict:
    """Return the figures in SI units: normal scatter, or Student's with `dof`."""

    def noise(size: float) -> float:
        if rng is None:
            return 0.0
        drawn = rng.standard_t(dof) if dof else rng.standard_normal()
        return float(size * drawn)

    return {
        "power": state.power_w * (1.0 + noise(SCATTER["power"])),
        "air": state.air_kgps * (1.0 + noise(SCATTER["air"])),
        "fuel": state.fuel_kgps * (1.0 + noise(SCATTER["fuel"])),
        "manifold": state.p_manifold_kpa * 1e3 * (1.0 + noise(SCATTER["boost"])),
        "lambda": state.lambda_ * (1.0 + noise(SCATTER["lambda"])),
        "charge": state.t_charge_k + noise(SCATTER_K),
    }


def printed(
    v: dict, state: State, *, power: str = "kW", pressure: str = "bar", air: str = "g/s"
) -> dict[str, str]:
    """Return figures as text with the digits that such publications use."""
    boost = v["manifold"] - state.p_ambient_kpa * 1e3
    out = {
        "engine_speed": f"{state.speed_rpm:.0f} rpm",
        "brake_power": {
            "kW": f"{v['power'] / 1e3:.1f} kW",
            "hp": f"{v['power'] / HP_W:.1f} hp",
            "PS": f"{v['power'] / PS_W:.1f} PS",
        }[power],
        "mass_air_flow": {
            "g/s": f"{v['air'] * 1e3:.1f} g/s",
            "lb/min": f"{v['air'] / LB_MIN_KGPS:.2f} lb/min",
            "kg/h": f"{v['air'] * 3600.0:.0f} kg/h",
        }[air],
        "fuel_mass_flow": f"{v['fuel'] * 1e3:.2f} g/s",
        "lambda": f"{v['lambda']:.2f}",
        "charge_temperature": f"{v['charge'] - 273.15:.0f} degC",
    }
    if state.induction == "turbocharged":
        out["boost_pressure"] = {
            "bar": f"{boost / 1e5:.2f} bar",
            "psi": f"{boost / PSI_PA:.1f} psi",
        }[pressure]
    else:
        out["manifold_pressure"] = f"{v['manifold'] / 1e3:.1f} kPa"
    return out


def weather_of(state: State, t_ambient_c: float, humidity: float = 0.4) -> dict[str, str]:
    """Return the weather of a row."""
    return {
        "barometric_pressure": f"{state.p_ambient_kpa * 10.0:.0f} mbar",
        "ambient_temperature": f"{t_ambient_c:.0f} degC",
        "relative_humidity": f"{100.0 * humidity:.0f} %",
    }


def change_of(rows: tuple[dict, dict], quantity: str = "brake_power") -> str:
    """Return a change as a publication works it out from its own figures."""
    (first, unit), (second, _) = (row[quantity].split() for row in rows)
    digits = len(first.partition(".")[2])
    return f"{float(second) - float(first):+.{digits}f} {unit}"


def improved(state: State, gain: float) -> State:
    """Return the engine with lower restriction: more pressure, same mixture and efficiency."""
    return replace(
        state,
        p_manifold_kpa=state.p_manifold_kpa * (1.0 + gain),
        t_charge_k=state.t_charge_k * (1.0 + 0.1 * gain),
    )


SAME_DAY = (
    'power_at = "engine"',
    'barometric_pressure = "990 mbar"',
    'ambient_temperature = "22 degC"',
    'relative_humidity = "45 %"',
)


def without(row: dict[str, str], *names: str) -> dict[str, str]:
    """Return a row that does not print some figures."""
    return {k: v for k, v in row.items() if k not in names}


def only(row: dict[str, str], *names: str) -> dict[str, str]:
    """Return a row that prints nothing else."""
    return {k: v for k, v in row.items() if k in names}


def scaled(row: dict[str, str], name: str, factor: float) -> dict[str, str]:
    """Return a row in which one figure is false by a factor."""
    number, _, unit = row[name].partition(" ")
    digits = len(number.partition(".")[2])
    return row | {name: f"{float(number) * factor:.{digits}f} {unit}".strip()}


def on_another_day(state: State, more_kpa: float, warmer: float) -> State:
    """Return the engine in other air: gauge boost held, or none; heat passed on by a part."""
    gain = 1.0 if state.induction == "turbocharged" else state.p_manifold_kpa / state.p_ambient_kpa
    return replace(
        state,
        p_ambient_kpa=state.p_ambient_kpa + more_kpa,
        p_manifold_kpa=state.p_manifold_kpa + gain * more_kpa,
        t_charge_k=state.t_charge_k * warmer**0.9,
    )


def corrected(row: dict[str, str], state: State, t_ambient_k: float) -> dict[str, str]:
    """Return corrected power by ISO 1585, spark ignition, with its factor and dry weather."""
    factor = (99.0 / state.p_ambient_kpa) ** 1.2 * (t_ambient_k / 298.0) ** 0.6
    day = weather_of(state, t_ambient_k - 273.15, humidity=0.0)
    return scaled(row, "brake_power", factor) | day | {"correction_factor": f"{factor:.3f}"}


UNITS = (
    {},
    {"power": "hp", "pressure": "psi", "air": "lb/min"},
    {"power": "PS", "pressure": "psi", "air": "kg/h"},
)
KINDS_OF_PRINT = (
    (),
    ("lambda",),
    ("charge_temperature",),
    ("fuel_mass_flow", "lambda"),
    ("mass_air_flow",),
    ("lambda", "charge_temperature"),
)


def honest(seed: int, *, dof: float = 0.0, unsaid_days: bool = False) -> tuple[Publication, bool]:
    """Return an honest publication, and whether its claim of power can be decided.

    One in five of spark-ignition engines was tested on two days that are printed, with corrected
    power. With `unsaid_days` all were tested on two days, and neither weather nor that is printed.

    Decidable: one weather for both, and a change of power at four standard uncertainties of
    scatter and rounding; the factor of a correction is left to the audit.
    """
    rng = np.random.default_rng([seed, 14])
    engine = ENGINES[int(rng.integers(len(ENGINES)))]
    state = replace(
        engine,
        ve=engine.ve * rng.uniform(0.95, 1.04),
        lambda_=engine.lambda_ * rng.uniform(0.96, 1.06),
        efficiency=engine.efficiency * rng.uniform(0.95, 1.04),
        p_ambient_kpa=rng.uniform(95.0, 102.0),
        speed_rpm=engine.speed_rpm * rng.uniform(0.85, 1.1),
    )
    gain = rng.uniform(0.0, 0.03 if state.induction == "naturally_aspirated" else 0.08)
    after = improved(state, gain)
    # What the engine does by itself from run to run.
    after = replace(
        after,
        ve=after.ve * (1.0 + 0.003 * rng.standard_normal()),
        efficiency=after.efficiency * (1.0 + 0.004 * rng.standard_normal()),
        lambda_=after.lambda_ * (1.0 + 0.004 * rng.standard_normal()),
    )
    style = int(rng.integers(5))
    # Weather of two days in one season.
    t_first, t_second = 294.0 + 6.0 * rng.standard_normal(2)
    two_days = unsaid_days or (style == 4 and state.ignition == "spark")
    if two_days:
        apart_kpa = 0.8 * float(np.sqrt(2.0) * rng.standard_normal())
        after = on_another_day(after, apart_kpa, float(t_second / t_first))
    units = UNITS[int(rng.integers(3))]
    rows = tuple(
        without(printed(values(s, rng, dof), s, **units), *KINDS_OF_PRINT[int(k)])
        for s, k in zip((state, after), [rng.integers(len(KINDS_OF_PRINT))] * 2, strict=True)
    )
    said, more = ['power_at = "engine"'], ({}, {})
    if unsaid_days:
        pass
    elif style in (0, 1):
        once = weather_of(state, rng.uniform(5.0, 35.0), rng.uniform(0.2, 0.8))
        said += [f'{k} = "{v}"' for k, v in once.items()]
        said.append('power_correction = "uncorrected"')
    elif not two_days and style != 3:
        said.append('session = "one day"')
    elif two_days:
        said.append('power_correction = "ISO 1585"')
        more = (corrected(rows[0], state, t_first), corrected(rows[1], after, t_second))
    rows = tuple(row | own for row, own in zip(rows, more, strict=True))
    made = Publication(
        state=state,
        rows=rows,
        claims=(claim("brake_power", change_of(rows)),),
        publication=tuple(said),
    )
    first, second = (float(row["brake_power"].split()[0]) for row in rows)
    u = math.hypot(0.007 * math.sqrt(2.0), 0.03 / first)
    decidable = not unsaid_days and style in (0, 1) and math.log(second / first) > 4.0 * u
    return made, decidable


def contradiction(seed: int, sigmas: float = 4.0) -> Publication:
    """Return a publication with one figure of the second row off by so many combined u."""
    rng = np.random.default_rng([seed, 41])
    made, _ = honest(10_000 + seed)
    engine = made.state
    state = replace(engine)
    after = improved(state, rng.uniform(0.0, 0.03))
    rows = tuple(printed(values(s, rng), s) for s in (state, after))
    root2 = math.sqrt(2.0)
    # Combined u of a change: figure against the others that determine it.
    kinds = {
        "mass_air_flow": math.sqrt(2 * (0.003**2 + 0.003**2) + 0.005**2 + (1.4 / 325.0) ** 2),
        "brake_power": math.sqrt(2 * (0.007**2 + 0.007**2) + 0.01**2),
        "fuel_mass_flow": math.sqrt(2 * (0.007**2 + 0.007**2) + 0.01**2),
        "brake_torque": 0.0,
        "claim": 0.0,
    }
    kind = list(kinds)[int(rng.integers(len(kinds)))]
    sign = 1.0 if rng.random() < 0.5 else -1.0
    rows = (rows[0], dict(rows[1]))
    change = change_of(rows)
    if kind == "claim":
        first = float(rows[0]["brake_power"].split()[0])
        wrong = float(change.split()[0]) + sign * (0.1 + 4.0 * 0.1 / root2 + 0.01 * first)
        change = f"{wrong:+.1f} kW"
    elif kind == "brake_torque":
        kw = float(rows[1]["brake_power"].split()[0])
        torque = kw * 1e3 / (state.speed_rpm * 2.0 * math.pi / 60.0)
        rows[1]["brake_torque"] = f"{torque * (1.0 + sign * sigmas * 0.01):.1f} N*m"
    else:
        rows = (rows[0], scaled(rows[1], kind, math.exp(sign * sigmas * kinds[kind])))
        change = change_of(rows)
    if kind in ("brake_power", "fuel_mass_flow"):
        rows = tuple(without(row, "mass_air_flow") for row in rows)
    return Publication(
        state=state,
        rows=rows,
        claims=(claim("brake_power", change),) if kind != "mass_air_flow" else
        (claim("mass_air_flow", change_of(rows, "mass_air_flow")),),
        publication=('power_correction = "uncorrected"', *SAME_DAY),
    )  # fmt: skip
