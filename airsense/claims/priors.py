"""What is taken for granted where a publication is silent, by engine type. One table.

Each value is our choice from the handbook ranges that stand beside it; each is printed with the
result as an assumption when it was used.
"""

from __future__ import annotations

from dataclasses import dataclass

from airsense.setup.engine import Engine, Ignition, Induction

TWO_STROKES = 2


@dataclass(frozen=True, slots=True)
class Span:
    """A closed range and where it comes from."""

    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Possible:
    """What an engine at full load can do; outside of these a figure is wrong or mislabelled."""

    volumetric_efficiency: Span
    lambda_: Span
    brake_efficiency: Span
    power_per_air: Span


_COMPRESSION = Possible(
    volumetric_efficiency=Span(
        0.65, 1.05, "two published diesel models span 0.83 to 0.97; wider for EGR and tuned ports"
    ),
    lambda_=Span(
        0.95, 4.0, "smoke limit 1.1 to 1.3 (handbook); a published 12.7 l diesel reaches 2.6"
    ),
    brake_efficiency=Span(0.20, 0.50, "published peaks 43 % (car) and 45 to 48 % (truck diesel)"),
    power_per_air=Span(0.0, 0.38, "filling 0.95 at lambda 1.05 and efficiency 0.42, our choice"),
)
_SPARK = Possible(
    volumetric_efficiency=Span(
        0.60, 1.15, "handbook 0.8 to 1.05; wider for tuned runners and scavenging"
    ),
    lambda_=Span(0.65, 1.8, "flammable and drivable mixtures (handbook); lean burning to 1.7"),
    brake_efficiency=Span(0.15, 0.43, "handbook 0.25 to 0.38; lower when rich"),
    power_per_air=Span(0.0, 0.40, "filling 1.08 at lambda 1 and efficiency 0.37, our choice"),
)
# Tuned pipes fill a naturally aspirated spark-ignition engine beyond its swept volume.
_SPARK_TUNED = Possible(
    volumetric_efficiency=Span(0.60, 1.25, "handbook 0.8 to 1.05; racing runners reach 1.2"),
    lambda_=_SPARK.lambda_,
    brake_efficiency=_SPARK.brake_efficiency,
    power_per_air=Span(0.0, 0.46, "15 bar mean pressure of racing engines at 1 bar (handbook)"),
)


def possible(engine: Engine) -> Possible:
    """Return what the engine can do at full load."""
    if engine.strokes == TWO_STROKES:
        return _scavenged(engine)
    if engine.ignition is Ignition.COMPRESSION:
        return _COMPRESSION
    if engine.induction is Induction.NATURALLY_ASPIRATED:
        return _SPARK_TUNED
    return _SPARK


# Test site: altitude exponential with this mean; the weather of each test on top.
ALTITUDE_MEAN_M = 300.0
AMBIENT_K = 297.0
AMBIENT_U_K = 6.0
# Charge temperature: what the shared compressor and cooler do not explain.
CHARGE_ABSOLUTE_U_K = 8.0
CHARGE_CHANGE_U_K = 2.0
NATURAL_PICK_UP_K = 8.0


def _scavenged(engine: Engine) -> Possible:
    """Return what an engine can do that is scavenged by more air than it keeps."""
    four = _COMPRESSION if engine.ignition is Ignition.COMPRESSION else _SPARK
    return Possible(
        volumetric_efficiency=Span(0.4, 1.8, "delivery ratio of two-stroke engines, handbook"),
        lambda_=Span(four.lambda_.low, 2.0 * four.lambda_.high, "scavenging air included"),
        brake_efficiency=Span(0.10, four.brake_efficiency.high, "fuel may be scavenged too"),
        power_per_air=four.power_per_air,
    )


# Where neither boost nor speed is printed.
MANIFOLD_PA = Span(1.1e5, 4.5e5, "turbocharged road and racing engines, our choice")
CHARGE_K = Span(290.0, 350.0, "behind a charge-air cooler, common practice, no source")
SPEED_RPM = {
    Ignition.COMPRESSION: Span(600.0, 6_000.0, "road engines, common practice, no source"),
    Ignition.SPARK: Span(1_000.0, 10_000.0, "road and racing engines, common practice, no source"),
}
# Share of tables without weather whose rows were measured on different days (our choice).
ROWS_OF_TWO_DAYS = 0.08
# The same where an accusation would follow from it: nothing printed says that it was one day.
ACCUSED_OF_TWO_DAYS = 0.3
# How power and air of an engine follow pressure (dry, for power) and cold; our choice from the
# exponents of correction texts: ISO 1585 and SAE J1349 have 1.2 and 0.6, 1.18 and 0.59.
ENGINE_IN_WEATHER = "how this engine answers to weather"
SPARK_PER_PRESSURE = Span(1.0, 1.25, "correction texts")
SPARK_PER_COLD = Span(0.4, 0.8, "correction texts")
DIESEL_FACTOR = Span(0.2, 1.2, "limits of the engine factor of correction texts")
DIESEL_PER_COLD = 0.7
AIR_PER_COLD = Span(0.5, 1.0, "heat picked up on the way in, published 0.5 to 1")
SPARK_POWER_PER_AIR = Span(1.0, 1.2, "lambda held; friction stays")
DIESEL_POWER_PER_AIR = Span(0.0, 1.0, "fuel held (0) to lambda held (1)")
# A printed speed is that of a display; both configurations are read on the same one.
SPEED_SHARED_U = 0.005
SPEED_MISSING_U = 0.01
# Loss between crankshaft and rollers, common practice, no source.
DRIVELINE_LOSS = Span(0.10, 0.25, "chassis dynamometers, common practice, no source")
# Depression across filter and tube at full load, before the change (service limits 6 to 7 kPa).
RESTRICTION_PA = Span(500.0, 7_500.0, "handbook: clean 1.5 to 3 kPa, service limit 6 to 7 kPa")
# d ln(brake efficiency) / d ln(lambda): burning leaner helps a little, richer than 1 costs much.
EFFICIENCY_PER_LAMBDA_LEAN = Span(0.0, 0.2, "air-standard trend of the cycle, our choice")
EFFICIENCY_PER_LAMBDA_RICH = Span(0.5, 1.1, "the surplus fuel finds no oxygen")
# Spark timing and enrichment follow knock control by themselves at one and the same tune.
SPARK_EFFICIENCY_CHANGE_U = 0.007
SPARK_LAMBDA_CHANGE_U = 0.03
FUEL_DENSITY_U = 0.01
FUEL_HEATING_VALUE_U = 0.01
# Two peaks at different speeds: breathing and efficiency differ by this per ln of speed (k = 1).
BREATHING_PER_SPEED = 0.3
# Breathing against the ratio of exhaust to manifold pressure, where exhaust pressure is unknown.
VE_PER_PRESSURE = 0.05
