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
# Those that rest on the one posterior over all cells.
_JUDGED = frozenset({"check", "compare", "rescale", "plan"})
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
        name="Routes against each other",
        text="the changes that the routes give, reconciled by generalized least squares; the sum "
        "of squares that is left, with declared sizes of few degrees of freedom, by an F test",
        source="VDI 2048; S. Narasimhan and C. Jordache, Data Reconciliation and Gross Error "
        "Detection",
        kinds=frozenset({"compare"}),
    ),
    Equation(
        name="Causes",
        text="posterior probability ∝ prior · Gaussian marginal likelihood of the cause's "
        "signature over routes and speeds; results are averaged over the causes",
        source="Bayes' theorem with conjugate Gaussian sizes; priors are our choice and stand "
        "in the package (airsense/evidence/priors.py)",
        kinds=_JUDGED | {"audit"},
    ),
    Equation(
        name="Intervals",
        text="95 % intervals as quantiles of draws from that posterior; a factor common to all "
        "declared sizes and one common to the runs, of few degrees of freedom, are averaged over",
        source="JCGM 101:2008; degrees of freedom of a declared size by JCGM 100:2008, G.4.2",
        kinds=_JUDGED,
    ),
    Equation(
        name="Intervals over many logs",
        text="95 % intervals by Student's t; the declared sizes are weighed as degrees of freedom "
        "against the scatter of the logs",
        source="JCGM 100:2008, annex G",
        kinds=frozenset({"screen"}),
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
        text="ln(true flow / indicated flow) as one factor or a smooth curve over the flow, "
        "averaged over the causes; what no table mends is left out of it",
        source="the posterior of the causes; C. E. Rasmussen and C. K. I. Williams, Gaussian "
        "Processes for Machine Learning, for the curve",
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
