"""claims.toml as frozen models: the printed figures of a comparison and what is claimed of them.

Every quantity is text with a unit, as it was printed: the digits say what the print leaves open.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticCustomError

from airsense.errors import InputError
from airsense.setup.declared import Declared
from airsense.setup.engine import Engine, Fuel, Uncertainty
from airsense.setup.power import PowerAt
from airsense.setup.printed import Printed, read_printed


def _refuse(error: InputError) -> PydanticCustomError:
    # The loader prints the message as what is allowed and adds file, line and key.
    return PydanticCustomError(
        "quantity", "{allowed}", {"allowed": error.allowed, "fix": error.fix}
    )


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
Gauge = Annotated[Figure, _reader("Pa", -9e4, 6e6)]
Absolute = Annotated[Figure, _reader("Pa", 1e3, 6e6)]
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
    session: str = ""
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


# Where a row gives several, the first is what is claimed of.
POWER_FIGURES = ("brake_power", "power_corrected", "power_measured")


class Result(Declared):
    """One printed row: an intake, a tune and its figures, named as the channels of a log.

    Rows of one `session` share the day's weather but for its drift.
    """

    intake: Annotated[str, Field(min_length=1)]
    tune: str = ""
    session: str = ""
    engine_speed: Speed = None
    brake_power: Power = None
    power_measured: Power = None
    power_corrected: Power = None
    correction_factor: Ratio = None
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
        """Return a printed figure by its channel name; power as claimed, measured or corrected."""
        names = POWER_FIGURES if name == "brake_power" else ({"lambda": "lambda_"}.get(name, name),)
        found: tuple[Printed | None, ...] = tuple(getattr(self, n) for n in names)
        return next((figure for figure in found if figure is not None), None)


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
    """All of claims.toml; `table` names a CSV file with more results, or is its text."""

    engine: Engine
    fuel: Fuel = Fuel()
    publication: Publication = Publication()
    uncertainty: Uncertainty = Uncertainty()
    table: str | None = None
    result: Annotated[tuple[Result, ...], Field(max_length=200)] = ()
    claim: Annotated[tuple[Claim, ...], Field(max_length=200)] = ()

    @model_validator(mode="after")
    def _some_result(self) -> Claims:
        if not self.result and self.table is None:
            raise ValueError("at least one [[result]], or a table of results")
        return self
