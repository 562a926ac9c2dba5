"""Which mix of units, or of places of measurement, would explain a contradiction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from airsense.results import Interval

# What a printed ratio may be off a factor of units beside its own bounds.
NEAR = 0.01
MOST_NAMED = 3
PSI_IN_A_BAR = 14.504


class Kind(Enum):
    """Kinds of figure whose units are mixed up."""

    POWER = "power"
    FLOW = "flow"
    PRESSURE = "pressure"


@dataclass(frozen=True, slots=True)
class Mix:
    """A factor between what is printed and what may have been meant, and its words."""

    factor: float
    words: str


_BOTH_WAYS = {
    Kind.POWER: (
        Mix(1.3596, "PS and kW mixed"),
        Mix(1.3410, "hp and kW mixed"),
    ),
    Kind.FLOW: (
        Mix(3.6, "kg/h and g/s mixed"),
        Mix(0.4536, "pounds and kilograms mixed"),
        Mix(7.560, "lb/min and g/s mixed"),
    ),
    Kind.PRESSURE: (
        Mix(PSI_IN_A_BAR, "psi and bar mixed"),
        Mix(100.0, "kPa and bar mixed"),
    ),
}
# Driveline losses of 10 to 25 %: power at the wheels beside power at the engine.
_WHEELS = Interval(1.0 / 0.85, 1.0 / 0.90, 1.0 / 0.75)


def possible_mix(kinds: Sequence[Kind], ratio: Interval, more: Sequence[Mix] = ()) -> str:
    """Return a sentence that names the mixes which fit a ratio, or "".

    Parameters
    ----------
    kinds : sequence of Kind
        Of the figures that exclude each other.
    ratio : Interval
        Printed over what would fit, with all that fits.
    more : sequence of Mix
        Further mixes, whose factor depends on the figures: gauge for absolute.
    """
    mixes = [*more, *(mix for kind in kinds for mix in _BOTH_WAYS[kind])]
    fits = [mix for mix in mixes if _fits(mix.factor, ratio)]
    fits.sort(key=lambda mix: _distance(mix.factor, ratio))
    named = [f"{mix.words} (factor {mix.factor:.4g})" for mix in fits[:MOST_NAMED]]
    if Kind.POWER in kinds and _at_wheels(ratio):
        named.append("power at the wheels beside power at the engine")
    return f" Possible: {'; or '.join(named)}." if named else ""


def _fits(factor: float, ratio: Interval) -> bool:
    return any(ratio.low * (1 - NEAR) <= f <= ratio.high * (1 + NEAR) for f in (factor, 1 / factor))


def _distance(factor: float, ratio: Interval) -> float:
    return min(abs(f / ratio.value - 1.0) for f in (factor, 1.0 / factor))


def _at_wheels(ratio: Interval) -> bool:
    return any(_WHEELS.low <= f <= _WHEELS.high for f in (ratio.value, 1.0 / ratio.value))
