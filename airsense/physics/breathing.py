"""Speed density: what the cylinders draw from the charge in front of the valves.

`cycles_per_rev` is the number of working cycles of one cylinder in one revolution: 0.5 for a
four-stroke engine, 1 for a two-stroke engine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import between, floats, not_negative, positive

SECONDS_PER_MINUTE = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VePrior:
    """Volumetric efficiency, referred to the manifold, as known without data; u is k = 1."""

    value: float
    u: float
    source: str


_HANDBOOK = "handbook, four valves: 0.85 to 1.0 (from memory)"

# By ignition and induction, in the words of the engine file.
VE_PRIOR: Mapping[tuple[str, str], VePrior] = MappingProxyType(
    {
        ("compression", "turbocharged"): VePrior(
            value=0.91,
            u=0.05,
            source="two published mean-value diesel models: 0.89 to 0.97 (12.7 l) and 0.83 to "
            "0.97 (6.7 l); " + _HANDBOOK,
        ),
        ("compression", "naturally_aspirated"): VePrior(
            value=0.88, u=0.06, source="textbook examples 0.68 to 0.85; " + _HANDBOOK
        ),
        ("spark", "turbocharged"): VePrior(value=0.92, u=0.05, source=_HANDBOOK),
        ("spark", "naturally_aspirated"): VePrior(
            value=0.90, u=0.07, source="wider for tuned runners and throttling; " + _HANDBOOK
        ),
    }
)


def strokes_per_second(
    speed_rpm: ArrayLike, *, cylinders: float, cycles_per_rev: float
) -> FloatArray:
    """Return the number of intake strokes of all cylinders in a second.

    Parameters
    ----------
    speed_rpm : array_like, shape (n,)
        Engine speed. [1/min]
    cylinders, cycles_per_rev : float
        Number of cylinders; working cycles of one of them per revolution.

    Returns
    -------
    ndarray, shape (n,)
        Rate. [1/s] NaN where the speed is NaN.

    Raises
    ------
    InputError
        If the speed is negative, or another input is not above zero.
    """
    per_rev = positive(cylinders, "cylinders") * positive(cycles_per_rev, "cycles_per_rev")
    return not_negative(speed_rpm, "speed_rpm") * per_rev / SECONDS_PER_MINUTE


def ideal_charge_flow_kgps(
    p_manifold_pa: ArrayLike,
    t_charge_k: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    displacement_m3: float,
    cycles_per_rev: float,
    r_jpkgk: ArrayLike,
    z: ArrayLike = 1.0,
) -> FloatArray:
    """Return the charge flow of an engine that fills its swept volume at manifold state.

    Parameters
    ----------
    p_manifold_pa, t_charge_k, speed_rpm : array_like, shape (n,)
        Absolute manifold pressure [Pa], charge temperature [K], engine speed. [1/min]
    displacement_m3, cycles_per_rev : float
        Swept volume of all cylinders [m3]; working cycles of one of them per revolution.
    r_jpkgk : array_like, shape (n,)
        Specific gas constant of the charge. [J/(kg K)]
    z : array_like, shape (n,), optional
        Compressibility factor.

    Returns
    -------
    ndarray, shape (n,)
        p V n cycles_per_rev / (60 z R T) [kg/s], p V n / (120 z R T) for four strokes. It counts
        recirculated exhaust gas and water vapour. NaN where an input is NaN.

    Raises
    ------
    InputError
        If the speed is negative, or another input is not above zero.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eq. (2.27).
    """
    p, t = positive(p_manifold_pa, "p_manifold_pa"), positive(t_charge_k, "t_charge_k")
    density = p / (positive(z, "z") * positive(r_jpkgk, "r_jpkgk") * t)
    cycles_ps = strokes_per_second(speed_rpm, cylinders=1, cycles_per_rev=cycles_per_rev)
    return density * positive(displacement_m3, "displacement_m3") * cycles_ps


def volumetric_efficiency(
    mdot_kgps: ArrayLike,
    p_manifold_pa: ArrayLike,
    t_charge_k: ArrayLike,
    speed_rpm: ArrayLike,
    *,
    displacement_m3: float,
    cycles_per_rev: float,
    r_jpkgk: ArrayLike,
    z: ArrayLike = 1.0,
) -> FloatArray:
    """Return the volumetric efficiency referred to the state given, manifold or ambient.

    Parameters
    ----------
    mdot_kgps : array_like, shape (n,)
        Charge flow. [kg/s]
    p_manifold_pa, t_charge_k, speed_rpm, displacement_m3, cycles_per_rev, r_jpkgk, z
        As in `ideal_charge_flow_kgps`.

    Returns
    -------
    ndarray, shape (n,)
        Flow over ideal flow. NaN where an input is NaN or the engine stands.

    Raises
    ------
    InputError
        If the speed is negative, or another input but the flow is not above zero.
    """
    ideal = ideal_charge_flow_kgps(
        p_manifold_pa,
        t_charge_k,
        speed_rpm,
        displacement_m3=displacement_m3,
        cycles_per_rev=cycles_per_rev,
        r_jpkgk=r_jpkgk,
        z=z,
    )
    return _per(floats(mdot_kgps), ideal)


def _per(amount: FloatArray, rate: FloatArray) -> FloatArray:
    """Quotient; NaN where the engine stands."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(rate > 0.0, amount / rate, np.nan)


def fresh_air_fraction(egr_rate: ArrayLike) -> FloatArray:
    """Return the part of the charge that the air meter sees.

    Parameters
    ----------
    egr_rate : array_like, shape (n,)
        Mass flow of recirculated exhaust gas over that of the whole charge, 0 to 1.

    Returns
    -------
    ndarray, shape (n,)
        1 - egr_rate. NaN where the input is NaN.

    Raises
    ------
    InputError
        If a rate is outside 0 to 1.
    """
    return 1.0 - between(egr_rate, 0.0, 1.0, name="egr_rate")


def filling_flow_kgps(
    dp_dt_papersec: ArrayLike, *, volume_m3: float, t_charge_k: ArrayLike, r_jpkgk: ArrayLike
) -> FloatArray:
    """Return the flow that the charge volume stores while its pressure rises.

    Parameters
    ----------
    dp_dt_papersec : array_like, shape (n,)
        Rate of change of the manifold pressure. [Pa/s]
    volume_m3 : float
        Volume between compressor and valves. [m3]
    t_charge_k, r_jpkgk : array_like, shape (n,)
        Charge temperature [K] and specific gas constant. [J/(kg K)]

    Returns
    -------
    ndarray, shape (n,)
        V / (R T) dp/dt, what the sensor sees beyond the cylinders. [kg/s] Negative while boost
        falls. NaN where an input is NaN.

    Raises
    ------
    InputError
        If the volume is negative, or temperature or gas constant are not above zero.

    Notes
    -----
    Isothermal: cooler and pipes hold the temperature. An adiabatic volume would store 1/1.4 of it.

    References
    ----------
    .. [1] L. Guzzella, C. Onder, Introduction to Modeling and Control of Internal Combustion
       Engine Systems, 2nd ed. (2010), section 2.3.
    """
    rt = positive(r_jpkgk, "r_jpkgk") * positive(t_charge_k, "t_charge_k")
    return not_negative(volume_m3, "volume_m3") * floats(dp_dt_papersec) / rt
