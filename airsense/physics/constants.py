"""Constants with unit, standard uncertainty and source; derived ones are computed here."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Constant:
    """A number with its unit, standard uncertainty (k = 1) and source."""

    value: float
    unit: str
    u: float
    source: str


R_MOLAR = Constant(
    8.314462618, "J mol-1 K-1", 0.0, "CODATA 2018; exact k*N_A, rounded to 10 digits"
)
M_DRY_AIR = Constant(
    28.96546e-3,
    "kg mol-1",
    0.00033e-3,
    "CIPM-2007 (Picard et al., Metrologia 45 (2008) 149), 400 ppm CO2",
)
M_WATER = Constant(
    18.01528e-3, "kg mol-1", 0.00017e-3, "CIPM-2007 (Picard et al., Metrologia 45 (2008) 149)"
)
M_CARBON = Constant(12.011e-3, "kg mol-1", 0.001e-3, "IUPAC 2013 conventional atomic mass")
M_HYDROGEN = Constant(1.008e-3, "kg mol-1", 0.0001e-3, "IUPAC 2013 conventional atomic mass")
M_OXYGEN = Constant(15.999e-3, "kg mol-1", 0.0004e-3, "IUPAC 2013 conventional atomic mass")

# The one definition of air for combustion: everything in dry air that is not oxygen counts as
# atmospheric nitrogen. 20.946 % O2, 78.112 % N2, 0.942 % Ar gives 3.774; the 3.76 of some
# textbooks leaves out the argon and shifts every stoichiometric ratio by -0.65 %.
NITROGEN_PER_OXYGEN = Constant(
    3.773,
    "mol mol-1",
    0.001,
    "Heywood, Internal Combustion Engine Fundamentals (1988), section 3.2",
)

AIR_PER_OXYGEN = 1.0 + NITROGEN_PER_OXYGEN.value
R_DRY_AIR_JPKGK = R_MOLAR.value / M_DRY_AIR.value

KAPPA_AIR = Constant(
    1.4, "1", 0.005, "ratio of specific heats of dry air, 250-450 K (CoolProp Air: 1.391-1.402)"
)
# Exact, by definition of the Celsius scale (SI brochure).
CELSIUS_ZERO_K = 273.15
# What is taken where nobody measured: 20 degC, our choice.
USUAL_AIR_K = CELSIUS_ZERO_K + 20.0
