"""What a route hands on: a flow per sample and a labelled budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.defaults import DEFAULT_DOF, Size


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """One component of a route's budget: relative standard uncertainties of a quantity (k = 1).

    `key` names the physical cause: components of two routes with the same key are one and the
    same error (lambda in fuel x lambda and in brake power). `absolute` is shared by all runs and
    cancels in a change; `between` differs between the configurations and does not average over
    repeats; `run` differs from run to run. `sensitivity` is d ln(flow) / d ln(quantity).
    """

    key: str
    label: str
    absolute: float
    run: float
    between: float
    sensitivity: float = 1.0
    dof: float = DEFAULT_DOF

    def total(self) -> float:
        """Return what it gives to the relative standard uncertainty of a single run's flow."""
        of_quantity = np.sqrt(self.absolute**2 + self.run**2 + self.between**2)
        return abs(self.sensitivity) * float(of_quantity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Air mass flow of one run by one route.

    `mdot_kgps` and `u_kgps` have shape (n,) on the run's time grid; NaN where the route has no
    valid sample. `u_kgps` is the standard uncertainty (k = 1) of the absolute value. `to_pressure`
    is d ln(flow) / d ln(manifold pressure) by sample, where that is not the budget's constant.
    """

    method: str
    mdot_kgps: FloatArray
    budget: tuple[Influence, ...]
    notes: tuple[str, ...] = ()
    to_pressure: FloatArray | None = None

    @property
    def u_kgps(self) -> FloatArray:
        """Standard uncertainty of the absolute flow. [kg/s]"""
        return self.mdot_kgps * float(np.sqrt(sum(i.total() ** 2 for i in self.budget)))

    @property
    def ln_flow(self) -> FloatArray:
        """Natural logarithm of the flow in kg/s; NaN where it is not positive."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(self.mdot_kgps > 0.0, np.log(self.mdot_kgps), np.nan)


def influence_of(
    size: Size, *, key: str, sensitivity: float = 1.0, scale: float = 1.0
) -> Influence:
    """Turn a declared size into a component of a flow budget.

    Parameters
    ----------
    size : Size
        The declared standard uncertainties.
    key : str
        Name of the physical cause.
    sensitivity : float
        d ln(flow) / d ln(quantity).
    scale : float
        Divisor that makes the size relative (a temperature in kelvin for a size in kelvin).
    """
    return Influence(
        key=key,
        label=size.label,
        absolute=size.absolute / scale,
        run=size.run / scale * float(np.sqrt(1.0 - size.between)),
        between=size.run / scale * float(np.sqrt(size.between)),
        sensitivity=sensitivity,
    )


def largest_first(budget: Sequence[Influence]) -> tuple[Influence, ...]:
    """Return the components ordered by their single-run uncertainty."""
    return tuple(sorted(budget, key=lambda i: -i.total()))
