"""What made the true change: pressure, temperature, breathing; and what fuel did to power."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from airsense.estimates import speed_density
from airsense.estimates.estimate import Influence
from airsense.evidence.bins import BinTable
from airsense.evidence.change import Design, state_change
from airsense.results import Interval

# d ln(air) / d ln(fuel) of a turbocharged engine at unchanged boost hardware: more fuel, more
# exhaust energy, more boost. Our choice; 0 where the boost controller holds its target.
FEEDBACK_GAIN = 0.4
FEEDBACK_GAIN_HIGH = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Attribution:
    """Parts of the true change and of the power, as fractions; None where not measured.

    The parts of the true change multiply to it: manifold pressure, charge temperature (denser
    charge is positive), and volumetric efficiency as the remainder. `fuelling_feedback` is how
    much of the true change may follow from fuel that was added because the sensor read high.
    `restriction_ceiling` is the largest gain that a lower intake restriction can explain at
    unchanged pressure ratio.
    """

    manifold_pressure: Interval | None
    charge_temperature: Interval | None
    volumetric_efficiency: Interval | None
    engine_speed: Interval | None
    power_from_fuel: Interval | None
    power_from_efficiency: Interval | None
    fuelling_feedback: Interval | None
    restriction_ceiling: Interval | None
    note: str


def attribute(  # noqa: PLR0913  # each part of the change rests on another measurement
    table: BinTable,
    design: Design,
    budgets: Mapping[str, Sequence[Influence]],
    *,
    controlled: bool,
    true: Interval,
    skew: Interval,
    fuel: Interval | None,
    power: Interval | None,
    depression_pa: float | None,
    p_ambient_pa: float,
) -> Attribution:
    """Split the true change and the change of power into their parts.

    `budgets` by route are as declared: the change of each state is updated by its own repeats.
    """

    def change_of(name: str, keys: Sequence[str]) -> Interval | None:
        influences = _influences(budgets, keys)
        return state_change(table, name, design, influences, controlled=controlled)

    pressure = change_of("p_manifold_pa", ("manifold_pressure", "barometer"))
    temperature = change_of("t_charge_k", ("charge_temperature",))
    denser = None if temperature is None else _inverse(temperature)
    remainder = None
    if pressure is not None and denser is not None and speed_density.METHOD in budgets:
        remainder = _ratio(_ratio(true, pressure), denser)
    return Attribution(
        manifold_pressure=pressure,
        charge_temperature=denser,
        volumetric_efficiency=remainder,
        # Bins of equal engine speed compare like with like, so speed has no part in the change.
        engine_speed=Interval(0.0, 0.0, 0.0),
        power_from_fuel=fuel if power is not None else None,
        power_from_efficiency=None if power is None or fuel is None else _ratio(power, fuel),
        fuelling_feedback=_feedback(fuel, skew),
        restriction_ceiling=restriction_ceiling(depression_pa, p_ambient_pa),
        note=_note(true, pressure, depression_pa, p_ambient_pa),
    )


def _influences(
    budgets: Mapping[str, Sequence[Influence]], keys: Sequence[str]
) -> tuple[Influence, ...]:
    """Return the sizes of the sensors themselves: a state is no flow, so its own change counts."""
    found: dict[str, Influence] = {}
    for item in (i for budget in budgets.values() for i in budget if i.key in keys):
        found.setdefault(item.key, replace(item, sensitivity=1.0))
    return tuple(found.values())


def _ln(x: Interval) -> tuple[float, float]:
    """Return the logarithmic value and half-width."""
    low, high = np.log1p(max(x.low, -0.99)), np.log1p(max(x.high, -0.99))
    return float(np.log1p(max(x.value, -0.99))), float(0.5 * (high - low))


def _from_ln(value: float, half: float) -> Interval:
    return Interval(
        float(np.expm1(value)), float(np.expm1(value - half)), float(np.expm1(value + half))
    )


def _ratio(top: Interval, bottom: Interval) -> Interval:
    (a, ha), (b, hb) = _ln(top), _ln(bottom)
    return _from_ln(a - b, float(np.hypot(ha, hb)))


def _inverse(x: Interval) -> Interval:
    value, half = _ln(x)
    return _from_ln(-value, half)


def _feedback(fuel: Interval | None, skew: Interval) -> Interval | None:
    """Return the part of the true change that added fuel may have brought.

    Only fuel that was added, and only as much as the sensor over-reads, can be its doing. The
    low end is zero, because a boost controller that holds its target lets no feedback through.
    """
    if fuel is None:
        return None
    middle = max(min(fuel.value, skew.value), 0.0)
    high = max(min(fuel.high, skew.high), 0.0)
    return Interval(FEEDBACK_GAIN * middle, 0.0, FEEDBACK_GAIN_HIGH * high)


def restriction_ceiling(depression_pa: float | None, p_ambient_pa: float) -> Interval | None:
    """Return the gain of removing the whole intake depression at unchanged pressure ratio.

    The air into the compressor gets denser by dp / (p_ambient - dp), and the charge with it.
    The interval holds 10 % of doubt about the depression itself (our choice).
    """
    if depression_pa is None or not 0.0 < depression_pa < 0.5 * p_ambient_pa:
        return None
    value, low, high = (
        f * depression_pa / (p_ambient_pa - f * depression_pa) for f in (1.0, 0.9, 1.1)
    )
    return Interval(value, low, high)


def _note(
    true: Interval, pressure: Interval | None, depression_pa: float | None, p_ambient_pa: float
) -> str:
    ceiling = restriction_ceiling(depression_pa, p_ambient_pa)
    if ceiling is not None and true.low > ceiling.high:
        return (
            "the true gain is larger than removing the whole intake restriction can give at "
            "unchanged pressure ratio: boost control or fuelling changed too"
        )
    if pressure is not None and true.low > 0.0 and pressure.low > 0.0:
        return "the true gain comes with manifold pressure"
    return ""
