"""Default standard uncertainties, and how a declared value is split over what varies.

Source of every number here: our choice from generic sensor data sheets and practice. They are
printed in each result, and `[uncertainty]` of engine.toml overrides each of them.
"""

from __future__ import annotations

from dataclasses import dataclass

from airsense.results import Assumption
from airsense.setup.engine import Uncertainty

# A default is itself known to about 25 %: JCGM 100 G.4.2 gives 1 / (2 * 0.25**2) = 8.
DEFAULT_DOF = 8.0
# The `_run` value covers both what differs from run to run and what drifts between the
# configurations; our choice: a fifth of its variance is drift, which repeats do not average away.
BETWEEN_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Standard uncertainty of one quantity (k = 1), as a fraction or in kelvin.

    `absolute` is common to all runs; `run` differs from run to run and between configurations;
    `between` is the part of the variance of `run` that repeats do not average away.
    """

    label: str
    absolute: float
    run: float
    between: float = BETWEEN_SHARE
    unit: str = "fraction"
    declared: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Defaults:
    """All sizes, one a quantity."""

    manifold_pressure: Size
    charge_temperature: Size
    engine_speed: Size
    volumetric_efficiency: Size
    fuel: Size
    lambda_: Size
    mass_air_flow: Size
    brake_power: Size
    brake_efficiency: Size

    def sizes(self) -> tuple[Size, ...]:
        """Return the sizes in the order in which they are printed."""
        return tuple(getattr(self, name) for name in self.__slots__)

    def assumptions(self) -> tuple[Assumption, ...]:
        """Return the printed list of the uncertainties in force."""
        return tuple(_assumption(size) for size in self.sizes())


def _assumption(size: Size) -> Assumption:
    scale, unit = (1.0, "K") if size.unit == "K" else (100.0, "%")
    value = f"run to run {size.run * scale:g} {unit}"
    if size.absolute:
        value = f"absolute {size.absolute * scale:g} {unit}, " + value
    source = "engine.toml" if size.declared else "default: our choice from generic data sheets"
    return Assumption(quantity=f"standard uncertainty of {size.label}", value=value, source=source)


# label, absolute, run, share between configurations, unit
_TABLE = {
    "manifold_pressure": ("manifold pressure", 0.015, 0.003, BETWEEN_SHARE, "fraction"),
    "charge_temperature": ("charge temperature", 2.0, 1.0, BETWEEN_SHARE, "K"),
    "engine_speed": ("engine speed", 0.001, 0.0005, BETWEEN_SHARE, "fraction"),
    # The engine's own breathing is no sensor: what changes, changes with the configuration.
    "volumetric_efficiency": ("volumetric efficiency", 0.05, 0.005, 1.0, "fraction"),
    "fuel": ("fuel quantity", 0.04, 0.007, BETWEEN_SHARE, "fraction"),
    "lambda_": ("lambda", 0.02, 0.007, BETWEEN_SHARE, "fraction"),
    # A shift of the MAF reading between the configurations is the skew itself.
    "mass_air_flow": ("MAF reading", 0.03, 0.003, 0.0, "fraction"),
    "brake_power": ("brake power", 0.02, 0.007, BETWEEN_SHARE, "fraction"),
    "brake_efficiency": ("brake efficiency", 0.10, 0.01, 1.0, "fraction"),
}

# Estimated from pressure ratio, compressor efficiency and cooler effectiveness.
ESTIMATED_CHARGE_TEMPERATURE_ABS_K = 12.0
ESTIMATED_CHARGE_TEMPERATURE_RUN_K = 3.0
# With the temperature ahead of the compressor logged, what follows it is carried apart: the speed
# density of 42 trips of one car over nine months then repeats within 0.84 % (open trip data, M.
# Weber, KIT 2023), of which pressure, air flow and breathing leave this.
FOLLOWED_CHARGE_TEMPERATURE_RUN_K = 1.5


def defaults_for(
    declared: Uncertainty, *, charge_temperature_estimated: bool, inlet_logged: bool = False
) -> Defaults:
    """Return the sizes in force: defaults with the user's overrides.

    Parameters
    ----------
    declared : Uncertainty
        The `[uncertainty]` section.
    charge_temperature_estimated : bool
        Whether the charge temperature is estimated instead of measured.
    inlet_logged : bool
        Whether it is estimated from a logged temperature ahead of the compressor.
    """
    estimated_run_k = (
        FOLLOWED_CHARGE_TEMPERATURE_RUN_K if inlet_logged else ESTIMATED_CHARGE_TEMPERATURE_RUN_K
    )
    run_k = estimated_run_k if charge_temperature_estimated else None
    return Defaults(**{name: _size(name, declared, run_k) for name in _TABLE})


def _size(name: str, declared: Uncertainty, estimated_run_k: float | None) -> Size:
    label, absolute, run, between, unit = _TABLE[name]
    if name == "charge_temperature" and estimated_run_k is not None:
        label += ", estimated"
        absolute = ESTIMATED_CHARGE_TEMPERATURE_ABS_K
        run = estimated_run_k
    suffix = "_k" if unit == "K" else ""
    key = name.rstrip("_")
    own_abs = getattr(declared, f"{key}_abs{suffix}", None)
    own_run = getattr(declared, f"{key}_run{suffix}", None)
    return Size(
        label=label,
        absolute=absolute if own_abs is None else own_abs,
        run=run if own_run is None else own_run,
        between=between,
        unit=unit,
        declared=own_abs is not None or own_run is not None,
    )
