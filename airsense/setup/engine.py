"""engine.toml as frozen models."""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Literal

from pydantic import Field, InstanceOf, field_validator, model_validator

from airsense.cause import Cause
from airsense.setup.declared import Declared
from airsense.setup.measured import Measured
from airsense.setup.power import DeclaredPower
from airsense.setup.priors import DeclaredPrior, check_sizes
from airsense.setup.ve_table import VeTable
from airsense.setup.weather import EngineWeather


class Ignition(Enum):
    """How the charge is lit."""

    COMPRESSION = "compression"
    SPARK = "spark"


class Induction(Enum):
    """How the charge gets in."""

    TURBOCHARGED = "turbocharged"
    NATURALLY_ASPIRATED = "naturally_aspirated"


class BoostControl(Enum):
    """What the boost control keeps constant when the weather changes."""

    ABSOLUTE = "absolute"
    GAUGE = "gauge"
    RATIO_AMBIENT = "ratio_ambient"
    RATIO_INLET = "ratio_inlet"
    OPEN = "open"
    UNKNOWN = "unknown"


class TemperaturePlace(Enum):
    """Where the logged intake or charge temperature is measured."""

    AFTER_COOLER = "after_cooler"
    BEFORE_COMPRESSOR = "before_compressor"
    UNKNOWN = "unknown"


# Strict: a truth value or a text is no number, whatever it could be converted to.
Positive = Annotated[float, Field(gt=0.0, strict=True, allow_inf_nan=False)]


class Engine(Declared):
    """Geometry and breathing of the engine."""

    name: str = "engine"
    displacement_l: Annotated[float, Field(ge=0.02, le=60.0, strict=True)]
    cylinders: Annotated[int, Field(ge=1, le=24, strict=True)]
    strokes: Annotated[int, Field(ge=2, le=4, strict=True)] = 4
    ignition: Ignition
    induction: Induction = Induction.TURBOCHARGED
    boost_control: BoostControl = BoostControl.UNKNOWN
    cooler: Literal["air", "water"] = "air"
    charge_volume_l: Annotated[float, Field(ge=0.0, le=500.0, strict=True)] | None = None
    volumetric_efficiency: (
        Annotated[float, Field(gt=0.1, lt=1.6, strict=True)] | str | InstanceOf[VeTable] | None
    ) = None

    @model_validator(mode="after")
    def _two_or_four(self) -> Engine:
        if self.strokes == 3:
            raise ValueError("strokes must be 2 or 4")
        return self

    @property
    def displacement_m3(self) -> float:
        """Swept volume of all cylinders. [m3]"""
        return self.displacement_l * 1e-3

    @property
    def cycles_per_rev(self) -> float:
        """Working cycles of one cylinder per crankshaft revolution."""
        return 2.0 / self.strokes


class Fuel(Declared):
    """The fuel: a name of the reference table, or its own composition."""

    name: str = ""
    hydrogen_to_carbon: Annotated[float, Field(ge=0.0, le=6.0, strict=True)] | None = None
    oxygen_to_carbon: Annotated[float, Field(ge=0.0, le=3.0, strict=True)] | None = None
    lower_heating_value_mj_kg: Annotated[float, Field(ge=5.0, le=150.0, strict=True)] | None = None
    density_kg_l: Annotated[float, Field(gt=0.0, le=1.5, strict=True)] | None = None

    @model_validator(mode="after")
    def _oxygen_needs_hydrogen(self) -> Fuel:
        if self.oxygen_to_carbon is not None and self.hydrogen_to_carbon is None:
            raise ValueError("oxygen_to_carbon needs hydrogen_to_carbon beside it")
        return self


class ChargeTemperature(Declared):
    """Where the temperature is taken and how slow its sensor is."""

    place: TemperaturePlace | None = None
    time_constant_s: Annotated[float, Field(ge=0.0, le=60.0, strict=True)] | None = None


def metres(mm: float | None) -> float | None:
    """Return a length given in millimetres, or None. [m]"""
    return None if mm is None else mm * 1e-3


class Intake(Declared):
    """The two tubes of a plain before/after comparison."""

    bore_before_mm: Annotated[float, Field(ge=10.0, le=400.0, strict=True)] | None = None
    bore_after_mm: Annotated[float, Field(ge=10.0, le=400.0, strict=True)] | None = None
    depression_before_kpa: Annotated[float, Field(ge=0.0, le=30.0, strict=True)] | None = None
    depression_after_kpa: Annotated[float, Field(ge=0.0, le=30.0, strict=True)] | None = None

    @property
    def bore_before_m(self) -> float | None:
        """Inside diameter of the first tube at the sensor. [m]"""
        return metres(self.bore_before_mm)

    @property
    def bore_after_m(self) -> float | None:
        """Inside diameter of the second tube at the sensor. [m]"""
        return metres(self.bore_after_mm)


class CompressorMap(Declared):
    """A map file in corrected terms, and the conditions that it is corrected to.

    The defaults are the usual ones of SAE J1826 maps (from memory); the file's path is relative
    to engine.toml. `cooler_drop_kpa` is the drop from compressor outlet to manifold.
    """

    file: str
    reference_temperature_k: Annotated[float, Field(ge=250.0, le=330.0, strict=True)] = 298.0
    reference_pressure_kpa: Annotated[float, Field(ge=80.0, le=110.0, strict=True)] = 100.0
    cooler_drop_kpa: Annotated[float, Field(ge=0.0, le=50.0, strict=True)] = 0.0


Fraction = Annotated[float, Field(gt=0.0, le=1.0, strict=True)]


class Uncertainty(Declared):
    """Standard uncertainties (k = 1): overrides of the defaults; None keeps the default.

    `_abs` is common to all runs (it cancels in a change), `_run` differs from run to run and
    between configurations. Fractions of reading, but kelvin for temperatures; the absolute
    term of the manifold pressure is a fraction of full scale.
    """

    manifold_pressure_abs: Fraction | None = None
    manifold_pressure_run: Fraction | None = None
    charge_temperature_abs_k: Positive | None = None
    charge_temperature_run_k: Positive | None = None
    engine_speed_abs: Fraction | None = None
    engine_speed_run: Fraction | None = None
    volumetric_efficiency_abs: Fraction | None = None
    volumetric_efficiency_run: Fraction | None = None
    fuel_abs: Fraction | None = None
    fuel_run: Fraction | None = None
    lambda_abs: Fraction | None = None
    lambda_run: Fraction | None = None
    mass_air_flow_abs: Fraction | None = None
    mass_air_flow_run: Fraction | None = None
    brake_power_abs: Fraction | None = None
    brake_power_run: Fraction | None = None
    brake_efficiency_run: Fraction | None = None


class EngineSetup(Declared):
    """All of engine.toml."""

    engine: Engine
    fuel: Fuel = Field(default_factory=Fuel)
    charge_temperature: ChargeTemperature = Field(default_factory=ChargeTemperature)
    intake: Intake = Field(default_factory=Intake)
    compressor_map: CompressorMap | None = None
    channels: dict[str, str | tuple[str, ...]] = Field(default_factory=dict)
    uncertainty: Uncertainty = Field(default_factory=Uncertainty)
    weather: EngineWeather = Field(default_factory=EngineWeather)
    power: DeclaredPower = Field(default_factory=DeclaredPower)
    measured: tuple[Measured, ...] = ()
    priors: dict[Cause, DeclaredPrior] = Field(default_factory=dict)

    @field_validator("priors")
    @classmethod
    def _sizes_fit(cls, priors: dict[Cause, DeclaredPrior]) -> dict[Cause, DeclaredPrior]:
        check_sizes(priors)
        return priors
