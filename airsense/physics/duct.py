"""Flow in the tube around the sensor: Reynolds number, velocity profile, bore, straight length.

A hot film sees the mass velocity where it sits, not the mass flow of the tube. What a change of
bore does to the reading is therefore an area ratio times a small change of the velocity profile.
"""

from __future__ import annotations

from enum import Enum

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import between, floats, positive
from airsense.physics.constants import KAPPA_AIR

RE_TURBULENT_MIN = 4.0e3  # below it no turbulent profile: results are NaN
RE_TURBULENT_MAX = 3.2e6  # end of the power-law table

# H. Schlichting, Boundary-Layer Theory, table 20.1 (from memory): Reynolds number -> exponent n.
_POWER_LAW_RE = np.array([4.0e3, 2.3e4, 1.1e5, 1.1e6, 2.0e6, 3.2e6])
_POWER_LAW_N = np.array([6.0, 6.6, 7.0, 8.8, 10.0, 10.0])

# ISO 5167-2 table 3, column A, single 90 degree bend (from memory): diameter ratio -> length / D.
_ISO_5167_BETA = np.array([0.2, 0.4, 0.5, 0.6, 0.67, 0.75])
_ISO_5167_LENGTH = np.array([6.0, 16.0, 22.0, 42.0, 44.0, 44.0])

# ISO 7145 (from memory): one velocity point, single 90 degree bend ahead of it.
ISO_7145_LENGTH_AXIS = 25.0
ISO_7145_LENGTH_MEAN_POINT = 50.0

_KAPPA = 0.4  # von Karman constant of Reichardt's profile
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


class Profile(Enum):
    """A model of the velocity profile of developed turbulent flow in a smooth round tube."""

    POWER_LAW = "power_law"
    LOG_LAW = "log_law"
    REICHARDT = "reichardt"


def reynolds_tube(mdot_kgps: ArrayLike, bore_m: ArrayLike, mu_pas: ArrayLike) -> FloatArray:
    """Return the Reynolds number 4 m / (pi D mu).

    Parameters
    ----------
    mdot_kgps : array_like, shape (n,)
        Mass flow. [kg/s]
    bore_m : array_like, broadcastable
        Inner diameter. [m]
    mu_pas : array_like, broadcastable
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray
        Reynolds number. NaN where an input is NaN.

    Raises
    ------
    InputError
        If a bore or viscosity is zero or negative.
    """
    bore = positive(bore_m, "bore_m")
    mu = positive(mu_pas, "mu_pas")
    return np.asarray(4.0 * floats(mdot_kgps) / (np.pi * bore * mu))


def friction_factor_smooth(reynolds: ArrayLike) -> FloatArray:
    """Return Darcy's friction factor of a smooth tube, turbulent flow.

    Parameters
    ----------
    reynolds : array_like, shape (n,)
        Reynolds number.

    Returns
    -------
    ndarray
        Friction factor; NaN outside 4e3 to 3.2e6.

    Notes
    -----
    Prandtl's universal law 1/sqrt(f) = 2 log10(Re sqrt(f)) - 0.8, solved by iteration.

    References
    ----------
    .. [1] H. Schlichting, Boundary-Layer Theory, eq. 20.30.
    """
    re = _turbulent(reynolds)
    inverse_root = np.full_like(re, 8.0)
    for _ in range(20):  # contracts by about 0.1 a step
        inverse_root = 2.0 * np.log10(re / inverse_root) - 0.8
    return np.asarray(inverse_root**-2)


def power_law_exponent(reynolds: ArrayLike) -> FloatArray:
    """Return n of the profile u/u_max = (y/R)^(1/n).

    Parameters
    ----------
    reynolds : array_like, shape (n,)
        Reynolds number.

    Returns
    -------
    ndarray
        Exponent n, linear in ln Re between the published points; NaN outside 4e3 to 3.2e6.

    References
    ----------
    .. [1] H. Schlichting, Boundary-Layer Theory, table 20.1 (from memory).
    """
    ln_re = np.log(_turbulent(reynolds))
    return np.asarray(np.interp(ln_re, np.log(_POWER_LAW_RE), _POWER_LAW_N))


def mean_to_centre_power_law(exponent: ArrayLike) -> FloatArray:
    """Return u_mean / u_max = 2 n^2 / ((n + 1)(2 n + 1)) of a power-law profile.

    Parameters
    ----------
    exponent : array_like, shape (n,)
        Exponent n of u/u_max = (y/R)^(1/n).

    Returns
    -------
    ndarray
        Ratio of mean to centre velocity. NaN where the exponent is NaN.
    """
    n = floats(exponent)
    return np.asarray(2.0 * n**2 / ((n + 1.0) * (2.0 * n + 1.0)))


def mean_to_centre(reynolds: ArrayLike, profile: Profile = Profile.POWER_LAW) -> FloatArray:
    """Return u_mean / u_max of developed turbulent flow in a smooth tube.

    Parameters
    ----------
    reynolds : array_like, shape (n,)
        Reynolds number.
    profile : Profile
        Model. The three differ by up to 3.5 % between Re 2e4 and 5e5, so quote their range.

    Returns
    -------
    ndarray, shape (n,)
        Ratio of mean to centre velocity; NaN outside Re 4e3 to 3.2e6, where the flow is not
        surely turbulent.

    Notes
    -----
    Log law: 1 / (1 + 1.326 sqrt(f)), from u+ = 2.5 ln y+ + B. Reichardt: wall law with the
    wake factor for pipes, integrated over the section.

    References
    ----------
    .. [1] H. Schlichting, Boundary-Layer Theory, ch. 20.
    .. [2] H. Reichardt, Z. angew. Math. Mech. 31 (1951) 208.
    """
    return np.asarray(1.0 / local_to_mean(reynolds, 1.0, profile))


def local_to_mean(
    reynolds: ArrayLike, wall_distance: ArrayLike, profile: Profile = Profile.POWER_LAW
) -> FloatArray:
    """Return u(y) / u_mean of developed turbulent flow in a smooth tube.

    Parameters
    ----------
    reynolds : array_like, shape (n,)
        Reynolds number.
    wall_distance : array_like, broadcastable
        Distance from the wall over the radius, above 0 (wall) to 1 (axis).
    profile : Profile
        Model; see `mean_to_centre` for formulas and sources.

    Returns
    -------
    ndarray, shape (n,)
        Ratio of local to mean velocity; NaN outside Re 4e3 to 3.2e6.

    Raises
    ------
    InputError
        If a wall distance is outside 0.01 to 1.
    """
    y = between(wall_distance, 0.01, 1.0, name="wall_distance")
    if profile is Profile.POWER_LAW:
        n = power_law_exponent(reynolds)
        return np.asarray(y ** (1.0 / n) / mean_to_centre_power_law(n))
    friction = friction_factor_smooth(reynolds)
    if profile is Profile.LOG_LAW:
        # u_max - u(y) = -2.5 ln(y/R) friction velocities, each sqrt(f/8) of the mean
        return np.asarray(
            1.0 + 1.326 * np.sqrt(friction) + 2.5 * np.log(y) * np.sqrt(friction / 8.0)
        )
    radius_plus = 0.5 * floats(reynolds) * np.sqrt(friction / 8.0)
    local = _reichardt_velocity(y, radius_plus)
    return np.asarray(local / _reichardt_mean(radius_plus))


def _reichardt_mean(radius_plus: FloatArray) -> FloatArray:
    """Average Reichardt's profile; y/R = s^3 puts the nodes where the velocity rises."""
    s = 0.5 * (_NODES + 1.0)
    y = s**3
    velocity = _reichardt_velocity(y, np.expand_dims(radius_plus, -1))
    return np.asarray(np.sum(velocity * 2.0 * (1.0 - y) * 3.0 * s**2 * 0.5 * _WEIGHTS, axis=-1))


def _reichardt_velocity(y: FloatArray, radius_plus: FloatArray) -> FloatArray:
    """Velocity in wall units at the distance y/R from the wall."""
    r = 1.0 - y
    y_plus = y * radius_plus
    wake = 1.5 * (1.0 + r) / (1.0 + 2.0 * r**2)
    log_part = np.log((1.0 + _KAPPA * y_plus) * wake) / _KAPPA
    wall_part = 7.8 * (1.0 - np.exp(-y_plus / 11.0) - y_plus / 11.0 * np.exp(-y_plus / 3.0))
    return np.asarray(log_part + wall_part)


def area_reading_factor(bore_before_m: ArrayLike, bore_after_m: ArrayLike) -> FloatArray:
    """Return indicated over true flow after a change of bore, by area alone.

    Parameters
    ----------
    bore_before_m, bore_after_m : array_like, shape (n,)
        Inner diameters at the sensor. [m]

    Returns
    -------
    ndarray, shape (n,)
        (D_before / D_after)^2: a narrower tube makes the sensor read high.

    Raises
    ------
    InputError
        If a bore is zero or negative.
    """
    before = positive(bore_before_m, "bore_before_m")
    after = positive(bore_after_m, "bore_after_m")
    return np.asarray((before / after) ** 2)


def reading_factor(
    mdot_kgps: ArrayLike,
    *,
    bore_before_m: float,
    bore_after_m: float,
    mu_pas: float,
    profile: Profile = Profile.POWER_LAW,
    depth_m: float | None = None,
) -> FloatArray:
    """Return indicated over true flow after a change of bore, with the change of profile.

    Parameters
    ----------
    mdot_kgps : array_like, shape (n,)
        True mass flow. [kg/s]
    bore_before_m, bore_after_m : float
        Inner diameters at the sensor: where the table is true, and now. [m]
    mu_pas : float
        Dynamic viscosity of the air. [Pa s]
    profile : Profile
        Velocity profile.
    depth_m : float, optional
        Distance of the film from the wall it is fixed to, the same in both tubes; without it
        the film sits on the axis of both. [m]

    Returns
    -------
    ndarray, shape (n,)
        Indicated over true flow; NaN where the flow is not surely turbulent.

    Raises
    ------
    InputError
        If a bore or the viscosity is zero or negative, or the film would touch a wall.

    Notes
    -----
    The film sees G = m l(Re_after) / A_after, with l = u(y) / u_mean where it sits; the table
    answers the flow that makes the same G in the old tube, m_i = G A_before / l(Re_i). Solved
    by iteration, which contracts because l changes by about 2 % a decade of Re.
    """
    flow = floats(mdot_kgps)
    y_before, y_after = (_wall_distance(depth_m, bore) for bore in (bore_before_m, bore_after_m))
    local_after = local_to_mean(reynolds_tube(flow, bore_after_m, mu_pas), y_after, profile)
    by_area = area_reading_factor(bore_before_m, bore_after_m)
    factor = np.full_like(local_after, float(by_area))
    for _ in range(4):
        re_indicated = reynolds_tube(flow * factor, bore_before_m, mu_pas)
        factor = by_area * local_after / local_to_mean(re_indicated, y_before, profile)
    return factor


def _wall_distance(depth_m: float | None, bore_m: float) -> float:
    """Distance from the nearer wall over the radius."""
    if depth_m is None:
        return 1.0
    return min(depth_m, bore_m - depth_m) / (0.5 * bore_m)


def equivalent_bore_m(bore_before_m: ArrayLike, skew: ArrayLike) -> FloatArray:
    """Return the bore that would make the sensor read off by `skew`.

    Parameters
    ----------
    bore_before_m : array_like, shape (n,)
        Bore for which the table is true. [m]
    skew : array_like, shape (n,)
        Indicated over true flow, less 1.

    Returns
    -------
    ndarray, shape (n,)
        D_before / sqrt(1 + skew). [m]

    Raises
    ------
    InputError
        If a bore is zero or negative, or a skew is -1 or less.
    """
    before = positive(bore_before_m, "bore_before_m")
    factor = positive(1.0 + floats(skew), "1 + skew")
    return np.asarray(before / np.sqrt(factor))


def orifice_flow_relative(p_up_pa: ArrayLike, p_down_pa: ArrayLike) -> FloatArray:
    """Return the flow through a hole, up to a constant, at one temperature upstream.

    Parameters
    ----------
    p_up_pa, p_down_pa : array_like, shape (n,)
        Absolute pressures ahead of and behind the hole. [Pa]

    Returns
    -------
    ndarray, shape (n,)
        p_up sqrt(r^(2/k) - r^((k+1)/k)), with r = p_down / p_up not below its choked value; zero
        where the pressure falls the other way. [Pa]

    Raises
    ------
    InputError
        If a pressure is zero or negative.

    References
    ----------
    .. [1] J. B. Heywood, Internal Combustion Engine Fundamentals (1988), appendix C.
    """
    up, down = positive(p_up_pa, "p_up_pa"), positive(p_down_pa, "p_down_pa")
    kappa = KAPPA_AIR.value
    choked = (2.0 / (kappa + 1.0)) ** (kappa / (kappa - 1.0))
    ratio = np.clip(down / up, choked, 1.0)
    return np.asarray(up * np.sqrt(ratio ** (2.0 / kappa) - ratio ** ((kappa + 1.0) / kappa)))


def straight_length_iso_5167(diameter_ratio: ArrayLike) -> FloatArray:
    """Return the straight length after a single 90 degree bend ahead of an orifice, over D.

    Parameters
    ----------
    diameter_ratio : array_like, shape (n,)
        Orifice bore over tube bore, 0.2 to 0.75.

    Returns
    -------
    ndarray, shape (n,)
        Length over tube bore, linear between the printed points; NaN outside.

    References
    ----------
    .. [1] ISO 5167-2:2003, table 3, column A (from memory).
    """
    beta = floats(diameter_ratio)
    inside = (beta >= _ISO_5167_BETA[0]) & (beta <= _ISO_5167_BETA[-1])
    beta = np.where(inside, beta, np.nan)
    return np.asarray(np.interp(beta, _ISO_5167_BETA, _ISO_5167_LENGTH))


def _turbulent(reynolds: ArrayLike) -> FloatArray:
    re = floats(reynolds)
    return np.where((re >= RE_TURBULENT_MIN) & (re <= RE_TURBULENT_MAX), re, np.nan)
