"""[[measured]] as frozen models, one for each `what`: the result of a measurement that was made.

To add one: a model with its `what`, and its place in `Measured`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, Field, model_validator

from airsense.errors import InputError
from airsense.setup.declared import Declared

Celsius = Annotated[float, Field(ge=-60.0, le=300.0, strict=True)]
Barometer = Annotated[float, Field(ge=45.0, le=115.0, strict=True)]
Mass = Annotated[float, Field(gt=0.0, le=2000.0, strict=True)]
LambdaValue = Annotated[float, Field(ge=0.3, le=40.0, strict=True)]


class _OnConfiguration(Declared):
    """A measurement belongs to a configuration: `before`, `after`, or an intake's name."""

    configuration: Annotated[str, Field(min_length=1)]


class ChargePipePressureTest(_OnConfiguration):
    """The pipes behind the compressor under pressure: tight, or a loss at a stated pressure."""

    what: Literal["charge_pipe_pressure_test"] = "charge_pipe_pressure_test"
    result: Literal["tight"] | None = None
    loss_gps: Annotated[float, Field(ge=0.0, le=1000.0, strict=True)] | None = None
    at_boost_kpa: Annotated[float, Field(gt=0.0, le=800.0, strict=True)] | None = None

    @model_validator(mode="after")
    def _tight_or_loss(self) -> ChargePipePressureTest:
        if (self.result is None) == (self.loss_gps is None):
            raise ValueError('result = "tight", or loss_gps with at_boost_kpa')
        if self.loss_gps is not None and self.at_boost_kpa is None:
            raise ValueError("loss_gps with at_boost_kpa beside it")
        return self


class ManifoldPressureAtRest(_OnConfiguration):
    """Ignition on, engine still: the sensor's reading and the barometer."""

    what: Literal["manifold_pressure_at_rest"] = "manifold_pressure_at_rest"
    reading_kpa: Annotated[float, Field(ge=20.0, le=200.0, strict=True)]
    barometer_kpa: Barometer


class IntakeSmokeTest(_OnConfiguration):
    """Smoke in the intake ahead of the compressor."""

    what: Literal["intake_smoke_test"] = "intake_smoke_test"
    result: Literal["tight", "leak"]


class ChargeThermometer(_OnConfiguration):
    """The charge-temperature sensor's reading beside a second thermometer."""

    what: Literal["charge_thermometer"] = "charge_thermometer"
    reading_c: Celsius
    reference_c: Celsius


class FuelByWeight(_OnConfiguration):
    """Fuel by the log's own quantity, and by the scales, over the same run."""

    what: Literal["fuel_by_weight"] = "fuel_by_weight"
    logged_kg: Mass
    weighed_kg: Mass


class LambdaReference(_OnConfiguration):
    """The lambda sensor's reading beside a reference."""

    what: Literal["lambda_reference"] = "lambda_reference"
    reading: LambdaValue
    reference: LambdaValue


class Recirculation(_OnConfiguration):
    """The recirculation valve was blocked off."""

    what: Literal["recirculation"] = "recirculation"
    result: Literal["blocked"]


Measured = Annotated[
    ChargePipePressureTest
    | ManifoldPressureAtRest
    | IntakeSmokeTest
    | ChargeThermometer
    | FuelByWeight
    | LambdaReference
    | Recirculation,
    Field(discriminator="what"),
]
KINDS: tuple[type[BaseModel], ...] = get_args(get_args(Measured)[0])


def kind_of(model: type[BaseModel]) -> str:
    """Return the `what` of a model, "" for any other model."""
    return str(model.model_fields["what"].default) if model in KINDS else ""


def check_configurations(
    measured: Sequence[Measured], known: Collection[str], *, where: str
) -> None:
    """Refuse a measurement of a configuration that nobody drove.

    Raises
    ------
    InputError
        With the first [[measured]] whose configuration is not among `known`.
    """
    for number, one in enumerate(measured, start=1):
        if one.configuration not in known:
            raise InputError(
                "a measurement belongs to an unknown configuration",
                where=f"{where}, [[measured]] number {number} configuration",
                got=repr(one.configuration),
                allowed=", ".join(repr(k) for k in known),
                fix="name the configuration on which it was measured",
            )
