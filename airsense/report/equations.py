"""The equations that results rest on, with where they are written down."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Equation:
    """One equation in words and symbols, the kinds of result that use it, and its source."""

    name: str
    text: str
    source: str
    kinds: frozenset[str]


_FLOW_KINDS = frozenset({"check", "compare", "rescale", "screen", "plan"})
_CHANGE_KINDS = frozenset({"compare", "plan"})
_ALL_AIR = _FLOW_KINDS | {"audit"}

EQUATIONS = (
    Equation(
        name="Speed density",
        text="air = VE · manifold pressure · displacement · engine speed / (120 · R · charge "
        "temperature) for a four-stroke; less recirculated exhaust gas, plus what fills the "
        "charge volume, V / (R · T) · dp/dt",
        source="J. B. Heywood, Internal Combustion Engine Fundamentals; L. Guzzella and "
        "C. H. Onder, Introduction to Modeling and Control of Internal Combustion Engine Systems",
        kinds=_ALL_AIR,
    ),
    Equation(
        name="Fuel and lambda",
        text="air = fuel · lambda · stoichiometric air-fuel ratio",
        source="J. B. Heywood, Internal Combustion Engine Fundamentals",
        kinds=_ALL_AIR,
    ),
    Equation(
        name="Brake power",
        text="power = fuel · lower heating value · brake efficiency",
        source="J. B. Heywood, Internal Combustion Engine Fundamentals",
        kinds=_ALL_AIR,
    ),
    Equation(
        name="Sensor skew",
        text="1 + skew = (reading after / reading before) / (route after / route before)",
        source="definition; what both configurations share cancels in the double ratio",
        kinds=_CHANGE_KINDS,
    ),
    Equation(
        name="Reconciliation",
        text="generalized least squares over routes and speed bins; global chi-square test and a "
        "measurement test for each route",
        source="VDI 2048; S. Narasimhan and C. Jordache, Data Reconciliation and Gross Error "
        "Detection",
        kinds=frozenset({"check", "compare", "plan"}),
    ),
    Equation(
        name="Causes",
        text="posterior probability ∝ prior · Gaussian marginal likelihood of the cause's "
        "signature over routes and speeds; results are averaged over the causes",
        source="Bayes' theorem with conjugate Gaussian sizes; priors are our choice and stand "
        "in the package (airsense/evidence/priors.py)",
        kinds=frozenset({"check", "compare"}),
    ),
    Equation(
        name="Intervals",
        text="95 % intervals by Student's t with Welch-Satterthwaite degrees of freedom",
        source="JCGM 100:2008, annex G",
        kinds=_FLOW_KINDS,
    ),
    Equation(
        name="Propagation of distributions",
        text="stratified draws of every rounding and every unprinted quantity, shared between "
        "configurations where it would cancel",
        source="JCGM 101:2008",
        kinds=frozenset({"audit"}),
    ),
    Equation(
        name="Transfer table",
        text="ln(true flow / indicated flow) as one factor or a smooth curve over the signal; "
        "the shape is kept only if runs left out of the fit agree",
        source="least squares with cross-validation over runs",
        kinds=frozenset({"rescale"}),
    ),
    Equation(
        name="Change of bore",
        text="reading ∝ velocity at the sensor: (bore before / bore after)² times the ratio of "
        "velocity profiles",
        source="continuity; profiles by power law and by logarithmic law of turbulent pipe flow",
        kinds=frozenset({"tube", "rescale"}),
    ),
)


def equations_for(kind: str) -> tuple[Equation, ...]:
    """Return the equations that a kind of result rests on."""
    used = "compare" if kind == "demo" else kind
    return tuple(e for e in EQUATIONS if used in e.kinds)
