"""claims.toml as frozen models: the printed figures of a comparison and what is claimed of them.

Every quantity is text with a unit, as it was printed, because the digits say how much the print
leaves open: "31 psi" is 30.5 to 31.5 psi, uniformly. A figure after `+-` replaces the digits and
is read as a 95 % half-width, so its standard uncertainty is the figure / 1.96.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from airsense.errors import InputError
from airsense.setup.engine import Declared, Engine, Fuel, Uncertainty
from airsense.units import parse_quantity

K_95 = 1.959964
SQRT_3 = 3.0**0.5


class PowerAt(Enum):
    """Where the printed power was measured."""

    WHEELS = "wheels"
    ENGINE = "engine"


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A figure as printed, in SI units.

    `half_width` is what the print leaves open: half of the last digit, or the figure after `+-`
    (then `explicit`). `scale` is one printed unit in SI units. `relative` marks a change given in
    per cent. `reference` is "gauge" or "absolute" where a pressure unit says so.
    """

    value: float
    half_width: float
    explicit: bool
    text: str
    unit_text: str = ""
    scale: float = 1.0
    relative: bool = False
    reference: str = ""
    power_at: PowerAt | None = None

    @property
    def u(self) -> float:
        """Standard uncertainty (k = 1) of the print alone."""
        return self.half_width / (K_95 if self.explicit else SQRT_3)


_AT = re.compile(r"\s+(?:at|@)\s+(?:the\s+)?(?P<place>wheels?|engine|crank(?:shaft)?|flywheel)\s*$")
_UNIT_AT = {"whp": PowerAt.WHEELS, "bhp": PowerAt.ENGINE}


def read_printed(text: object, unit: str, *, difference: bool = False) -> Printed:
    """Read one figure with its unit.

    Raises
    ------
    InputError
        If it is no text, no number, or carries the wrong unit.
    """
    if not isinstance(text, str):
        raise InputError(
            "quantity is not text",
            where="quantity",
            got=repr(text),
            allowed='text with a unit, such as "31 psi"',
            fix="put the figure and its unit in double quotes, with the digits as printed",
        )
    place = _AT.search(text)
    plain = text[: place.start()] if place else text
    relative = difference and "%" in plain
    read = parse_quantity(plain, "1" if relative else unit, difference=difference)
    one = parse_quantity(f"1 {read.unit_text}", "1" if relative else unit, difference=True)
    at = _UNIT_AT.get(read.unit_text.casefold())
    if place:
        at = PowerAt.WHEELS if place["place"].startswith("wheel") else PowerAt.ENGINE
    return Printed(
        value=read.value,
        half_width=read.half_width,
        explicit=read.u_explicit is not None,
        text=text.strip(),
        unit_text=read.unit_text,
        scale=one.value,
        relative=relative,
        reference=read.reference,
        power_at=at,
    )


def _refuse(error: InputError) -> PydanticCustomError:
    # The loader prints the message as what is allowed and adds file, line and key.
    return PydanticCustomError("quantity", "{allowed}", {"allowed": error.allowed})


def _reader(unit: str, low: float, high: float) -> BeforeValidator:
    def read(value: Any) -> Printed | None:
        if value is None or isinstance(value, Printed):
            return value
        try:
            printed = read_printed(value, unit)
        except InputError as error:
            raise _refuse(error) from None
        if not low <= printed.value <= high:
            raise PydanticCustomError(
                "quantity", "{low} to {high} {unit}", {"low": low, "high": high, "unit": unit}
            )
        return printed

    return BeforeValidator(read)


Figure = Printed | None
Speed = Annotated[Figure, _reader("rpm", 50.0, 30e3)]
Power = Annotated[Figure, _reader("W", 100.0, 20e6)]
Torque = Annotated[Figure, _reader("N*m", 1.0, 2e5)]
Gauge = Annotated[Figure, _reader("Pa", -9e4, 1.2e6)]
Absolute = Annotated[Figure, _reader("Pa", 1e4, 1.4e6)]
Barometer = Annotated[Figure, _reader("Pa", 4.5e4, 1.15e5)]
Depression = Annotated[Figure, _reader("Pa", 0.0, 3e4)]
Temperature = Annotated[Figure, _reader("K", 210.0, 520.0)]
MassFlow = Annotated[Figure, _reader("kg/s", 1e-6, 20.0)]
VolumeFlow = Annotated[Figure, _reader("m3/s", 1e-10, 1e-2)]
StrokeMass = Annotated[Figure, _reader("kg", 1e-9, 0.5)]
Ratio = Annotated[Figure, _reader("1", 0.2, 30.0)]
Share = Annotated[Figure, _reader("1", 0.0, 1.0)]


class Publication(Declared):
    """What the publication says once, for all of its results."""

    power_at: PowerAt | None = None
    driveline_loss: Share = None
    power_correction: str | None = None
    correction_factor: Ratio = None
    runs_per_configuration: Annotated[int, Field(ge=1, le=1000)] | None = None
    run_scatter: str | None = None
    barometric_pressure: Barometer = None
    ambient_temperature: Temperature = None
    relative_humidity: Share = None

    @field_validator("run_scatter")
    @classmethod
    def _scatter_reads(cls, text: str | None) -> str | None:
        if text is not None:
            _check_change(text, "W")
        return text

    def scatter(self) -> Printed | None:
        """Return the stated 95 % half-width of repeated runs: a fraction, or a power in W."""
        if self.run_scatter is None:
            return None
        return read_printed(self.run_scatter, "W", difference=True)


class Result(Declared):
    """One printed row: an intake, a tune and its figures, named as the channels of a log."""

    intake: Annotated[str, Field(min_length=1)]
    tune: str = ""
    engine_speed: Speed = None
    brake_power: Power = None
    brake_torque: Torque = None
    boost_pressure: Gauge = None
    manifold_pressure: Absolute = None
    barometric_pressure: Barometer = None
    charge_temperature: Temperature = None
    ambient_temperature: Temperature = None
    relative_humidity: Share = None
    mass_air_flow: MassFlow = None
    air_per_stroke: StrokeMass = None
    fuel_per_stroke: StrokeMass = None
    fuel_mass_flow: MassFlow = None
    fuel_volume_flow: VolumeFlow = None
    lambda_: Ratio = Field(default=None, alias="lambda")
    inlet_depression: Depression = None

    def figure(self, name: str) -> Printed | None:
        """Return a printed figure by its channel name."""
        value = getattr(self, "lambda_" if name == "lambda" else name)
        assert value is None or isinstance(value, Printed)
        return value


class ClaimedQuantity(Enum):
    """Quantities of which a change can be claimed."""

    BRAKE_POWER = "brake_power"
    BRAKE_TORQUE = "brake_torque"
    MASS_AIR_FLOW = "mass_air_flow"
    AIR_PER_STROKE = "air_per_stroke"
    BOOST_PRESSURE = "boost_pressure"
    MANIFOLD_PRESSURE = "manifold_pressure"
    FUEL_PER_STROKE = "fuel_per_stroke"
    FUEL_MASS_FLOW = "fuel_mass_flow"
    FUEL_VOLUME_FLOW = "fuel_volume_flow"
    LAMBDA = "lambda"
    CHARGE_TEMPERATURE = "charge_temperature"
    INLET_DEPRESSION = "inlet_depression"


UNIT_OF = {
    ClaimedQuantity.BRAKE_POWER: "W",
    ClaimedQuantity.BRAKE_TORQUE: "N*m",
    ClaimedQuantity.MASS_AIR_FLOW: "kg/s",
    ClaimedQuantity.AIR_PER_STROKE: "kg",
    ClaimedQuantity.BOOST_PRESSURE: "Pa",
    ClaimedQuantity.MANIFOLD_PRESSURE: "Pa",
    ClaimedQuantity.FUEL_PER_STROKE: "kg",
    ClaimedQuantity.FUEL_MASS_FLOW: "kg/s",
    ClaimedQuantity.FUEL_VOLUME_FLOW: "m3/s",
    ClaimedQuantity.LAMBDA: "1",
    ClaimedQuantity.CHARGE_TEMPERATURE: "K",
    ClaimedQuantity.INLET_DEPRESSION: "Pa",
}


class Claim(Declared):
    """One claim: the change of a quantity between two intakes, in words of the publication.

    `change` may be an amount or a percentage; `percent` is for a publication that prints both;
    `from_value` and `to_value` are figures that it repeats outside its table;
    `within_scatter` is for a publication that says there is no difference.
    """

    quantity: ClaimedQuantity
    from_: Annotated[str, Field(min_length=1)] = Field(alias="from")
    to: Annotated[str, Field(min_length=1)]
    tune: str | None = None
    engine_speed: Speed = None
    change: str | None = None
    percent: str | None = None
    from_value: str | None = None
    to_value: str | None = None
    within_scatter: bool = False

    @field_validator("change", "percent", "from_value", "to_value")
    @classmethod
    def _reads(cls, text: str | None, info: ValidationInfo) -> str | None:
        quantity = info.data.get("quantity")
        if text is None or quantity is None:
            return text
        if info.field_name == "percent" and "%" not in text:
            raise PydanticCustomError("quantity", 'a percentage, such as "+4.8 %"')
        unit = UNIT_OF[quantity]
        _check_change(text, unit, difference=info.field_name in {"change", "percent"})
        return text

    def printed_changes(self) -> tuple[Printed, ...]:
        """Return the claimed changes: amounts in SI units, percentages as fractions."""
        unit = UNIT_OF[self.quantity]
        texts = [text for text in (self.change, self.percent) if text is not None]
        return tuple(read_printed(text, unit, difference=True) for text in texts)

    def restated(self) -> tuple[Printed | None, Printed | None]:
        """Return the figures that the claim repeats, before and after."""
        unit = UNIT_OF[self.quantity]
        before, after = self.from_value, self.to_value
        return (
            None if before is None else read_printed(before, unit),
            None if after is None else read_printed(after, unit),
        )


def _check_change(text: str, unit: str, *, difference: bool = True) -> None:
    try:
        read_printed(text, unit, difference=difference)
    except InputError as error:
        raise _refuse(error) from None


class Claims(Declared):
    """All of claims.toml."""

    engine: Engine
    fuel: Fuel = Fuel()
    publication: Publication = Publication()
    uncertainty: Uncertainty = Uncertainty()
    result: Annotated[tuple[Result, ...], Field(min_length=1, max_length=200)]
    claim: Annotated[tuple[Claim, ...], Field(max_length=200)] = ()
