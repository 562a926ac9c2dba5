"""How an engine's air follows ambient pressure, temperature and the intake, by boost control.

d ln W = a d ln p_a - b d ln T_a - 0.378 r dx + c d ln(p_1/p_a)                            (1)

with W the moist air at full load, p_a and T_a ambient pressure and temperature, x the mole
fraction of vapour, and p_1 the pressure ahead of the compressor; r is one where a pressure is held.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import Enum
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.errors import InputError
from airsense.physics.arguments import between, floats, positive
from airsense.physics.character import RANGES, Character
from airsense.physics.constants import KAPPA_AIR, M_DRY_AIR, M_WATER

Cooler = Literal["air", "water"]

# 1/R of moist air falls by this share of the vapour's mole fraction: 0.378.
VAPOUR_LIGHTER = 1.0 - M_WATER.value / M_DRY_AIR.value

# Dry air at 300 K, and products of lean combustion at 900 K: Heywood, tables of air and of burned
# gas, from memory.
CP_AIR_JPKGK = 1006.0
CP_EXHAUST_JPKGK = 1150.0
K_AIR = (KAPPA_AIR.value - 1.0) / KAPPA_AIR.value
# d ln c_p/d ln R of exhaust gas with vapour, (40.0/33.3 - 1 + 0.378)/0.378: steam at 900 K (Wagner
# and Pruss 2002, IAPWS-95, through CoolProp) beside the gas above, in J/(mol K).
CP_PER_R = 1.53
# Ratio of specific heats of 1.33 for lean exhaust gas: handbook value, from memory.
K_EXHAUST = 0.25


class BoostLaw(Enum):
    """What the boost control keeps constant when weather or intake change."""

    ABSOLUTE = "absolute"
    GAUGE = "gauge"
    RATIO_AMBIENT = "ratio_ambient"
    RATIO_INLET = "ratio_inlet"
    OPEN = "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exponents:
    """Exponents of equation (1) and r, with standard uncertainties (k = 1); any one shape.

    The uncertainties of a law are those of one engine's unknown character: they are the same
    before and after, and the three are not independent.
    """

    a: FloatArray
    b: FloatArray
    c: FloatArray
    r: FloatArray
    u_a: FloatArray
    u_b: FloatArray
    u_c: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Partial derivatives of ln W, or of ln p_m, to first order; any one shape.

    With respect to ln p_a (p_1/p_a held), minus ln T_a, minus ln R of moist air, ln(p_1/p_a), ln of
    the demanded pressure, and ln of fuel per stroke added beside what follows the air.
    """

    ambient_pressure: FloatArray
    ambient_temperature: FloatArray
    gas_constant: FloatArray
    inlet_pressure: FloatArray
    demand: FloatArray
    fuel: FloatArray


def exponents(
    law: BoostLaw,
    pressure_ratio: ArrayLike,
    *,
    cooler: Cooler,
    follows: float | None = None,
) -> Exponents:
    """Return the exponents of equation (1) for a law of boost control.

    Parameters
    ----------
    law : BoostLaw
        What the boost control holds.
    pressure_ratio : array_like, shape (n,)
        Manifold over compressor inlet pressure at full load, absolute; 1.2 to 4.
    cooler : "air" or "water"
        What cools the charge: ambient air, or a circuit whose temperature is held.
    follows : float, optional
        d ln(fuel)/d ln(air) of an open law: 0 fuel fixed, 1 lambda fixed; absent: between.

    Returns
    -------
    Exponents
        Values at the middle of the ranges of `RANGES`, u from the rectangular ranges to first
        order. NaN where the pressure ratio is NaN.

    Raises
    ------
    InputError
        If a pressure ratio is outside 1 to 5 or `follows` outside 0 to 1.

    Notes
    -----
    Held laws: ideal gas with the compressor's isentropic rise. Open law: balance of turbine and
    compressor work with a fixed turbine (see `responses`). Against a work balance solved
    numerically for +-15 K and +-15 hPa, with losses that grow with flow and residual gas: see
    tests/published/test_boost_control.py. Below a pressure ratio of 1.2 a turbine with a
    fixed area is no longer what limits an engine, and u is too small.

    References
    ----------
    .. [1] N. Watson, M. S. Janota, Turbocharging the Internal Combustion Engine (1982), ch. 10
       (from memory).
    .. [2] ISO 3046-1, exponents of a charge-cooled engine without control (from memory): the
       open law with fuel fixed and with lambda fixed must lie on either side of them.
    """
    middle = Character() if follows is None else Character(follows=follows)
    air, _ = responses(law, pressure_ratio, middle, cooler=cooler)
    names = [n for n in RANGES if n != "follows" or follows is None]
    spread = [_spread(law, pressure_ratio, middle, name, cooler) for name in names]
    u_a, u_b, u_c = (np.sqrt(np.sum(np.square(s), axis=0)) for s in zip(*spread, strict=True))
    return Exponents(
        a=air.ambient_pressure,
        b=air.ambient_temperature,
        c=air.inlet_pressure,
        r=air.gas_constant,
        u_a=u_a,
        u_b=u_b,
        u_c=u_c,
    )


def _spread(
    law: BoostLaw, pressure_ratio: ArrayLike, middle: Character, name: str, cooler: Cooler
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what the standard uncertainty of one property does to a, b and c."""
    at = RANGES[name]
    (up, _), (down, _) = (
        responses(law, pressure_ratio, replace(middle, **{name: value}), cooler=cooler)
        for value in (at.high, at.low)
    )
    share = at.u / (at.high - at.low)
    return (
        share * (up.ambient_pressure - down.ambient_pressure),
        share * (up.ambient_temperature - down.ambient_temperature),
        share * (up.inlet_pressure - down.inlet_pressure),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Charge:
    """Charge temperature: d ln T_m = own d ln T_a + rise d ln PR; its level over T_exhaust."""

    ratio: FloatArray
    ratio_k: FloatArray
    own: FloatArray
    rise: FloatArray
    thinner: FloatArray  # 1 - v: what charge temperature costs in air
    t_charge_k: FloatArray


def responses(
    law: BoostLaw, pressure_ratio: ArrayLike, character: Character, *, cooler: Cooler
) -> tuple[Response, Response]:
    """Return how ln W and ln p_m respond, for given properties of engine and turbocharger.

    Parameters
    ----------
    law : BoostLaw
        What the boost control holds.
    pressure_ratio : array_like, shape (n,)
        Manifold over compressor inlet pressure, 1 to 5.
    character : Character
        Properties, broadcast against the pressure ratio.
    cooler : "air" or "water"
        What cools the charge.

    Returns
    -------
    tuple of Response
        Of the air and of the manifold pressure. NaN where an input is NaN; NaN for the open law
        where the exhaust cannot drive the compressor, or where a fixed lambda runs away.

    Raises
    ------
    InputError
        If an argument is outside what is possible.

    Notes
    -----
    W = VE p_m V n/(R T_m), VE ~ T_m^v, PR = p_m/p_1. Charge: T_m = T_2 - eff (T_2 - T_cold),
    T_2 = T_a (1 + (PR^k - 1)/eta). Open law, with F fuel, f = F/(W + F), E = p_3/p_4 and
    p_4 - p_a ~ (W + F)^2 T_3/p_4: W T_a (PR^k - 1) ~ (W + F) T_3 (1 - E^-k_e);
    T_3 = T_m + heat F/(W + F); (W + F) sqrt(R T_3)/p_3 ~ sqrt(1 - E^-2) (Stodola). Efficiencies
    are held. Vapour moves R, and c_p of air and exhaust; their ratio k is held. The loss ahead of
    the compressor grows with flow too, which damps a law that answers to p_1: a ratio to the inlet
    has b = 0.83 where 1 - v is 0.85.
    """
    charge = _charge(pressure_ratio, character, cooler)
    if law is BoostLaw.OPEN:
        return _with_inlet_loss(*_open(charge, character), character)
    return _with_inlet_loss(*_held(law, charge, character), character)


def _charge(pressure_ratio: ArrayLike, character: Character, cooler: Cooler) -> _Charge:
    """Return the charge behind compressor and cooler and what moves its temperature."""
    if cooler not in ("air", "water"):
        raise InputError(
            "cooler is not a known kind",
            where="argument cooler",
            got=repr(cooler),
            allowed="air, water",
            fix="say what cools the charge: ambient air or a water circuit",
        )
    ratio = between(pressure_ratio, 1.0, 5.0, name="pressure_ratio")
    eta = positive(character.compressor_efficiency, "compressor_efficiency")
    warm = 1.0 - between(character.cooler_effectiveness, 0.0, 1.0, name="cooler_effectiveness")
    t_a = positive(character.t_ambient_k, "t_ambient_k")
    ratio_k = ratio**K_AIR
    hot = t_a * (1.0 + (ratio_k - 1.0) / eta)
    cold = t_a if cooler == "air" else positive(character.t_coolant_k, "t_coolant_k")
    t_charge = warm * hot + (1.0 - warm) * cold
    return _Charge(
        ratio=ratio,
        ratio_k=ratio_k,
        own=np.ones_like(t_charge) if cooler == "air" else warm * hot / t_charge,
        rise=warm * K_AIR * ratio_k * t_a / (eta * t_charge),
        thinner=1.0 - floats(character.ve_exponent),
        t_charge_k=t_charge,
    )


def _held(law: BoostLaw, charge: _Charge, character: Character) -> tuple[Response, Response]:
    """Return the responses where control holds a pressure, whatever the turbine has to give."""
    inlet = positive(character.inlet_ratio, "inlet_ratio")
    zero, one = np.zeros_like(charge.rise), np.ones_like(charge.rise)
    of_ambient = {
        BoostLaw.ABSOLUTE: zero,
        BoostLaw.GAUGE: 1.0 / np.maximum(charge.ratio * inlet, 1.0) * one,
    }.get(law, one)
    of_inlet = one if law is BoostLaw.RATIO_INLET else zero
    hotter = charge.thinner * charge.rise
    pressure = Response(
        ambient_pressure=of_ambient,
        ambient_temperature=zero,
        gas_constant=zero,
        inlet_pressure=of_inlet,
        demand=one,
        fuel=zero,
    )
    air = Response(
        ambient_pressure=of_ambient - hotter * (of_ambient - 1.0),
        ambient_temperature=charge.thinner * charge.own,
        gas_constant=one,
        inlet_pressure=of_inlet - hotter * (of_inlet - 1.0),
        demand=one - hotter,
        fuel=zero,
    )
    return air, pressure


def _open(charge: _Charge, character: Character) -> tuple[Response, Response]:
    """Return the responses of a fixed turbine: the linearized balance, solved by hand."""
    share = floats(character.fuel_share)
    follows = between(character.follows, 0.0, 1.0, name="follows")
    t3 = positive(character.t_exhaust_k, "t_exhaust_k")
    head, through = _turbine(charge, character, share, t3)
    lift = K_AIR * charge.ratio_k / (charge.ratio_k - 1.0)
    per_ratio = 1.0 - charge.thinner * charge.rise
    # The gas drives by temperature directly and by the pressure that its flow needs, less what
    # that flow loses behind the turbine.
    drive = head / (1.0 + through) * (1.0 - 2.0 * floats(character.exhaust_loss))
    heat = 1.0 + 0.5 * drive
    cool = charge.t_charge_k / t3
    burnt = (1.0 - cool) * (1.0 - share)
    compress = (lift - heat * cool * charge.rise) / per_ratio
    gain = (
        share * (1.0 - follows)
        + compress
        + heat * burnt * (1.0 - follows)
        - drive * (1.0 - share + share * follows)
    )
    gain = np.where(gain > 0.0, gain, np.nan)
    thinned = charge.thinner * charge.own
    inlet = compress / gain
    colder = (1.0 + thinned * compress - heat * cool * charge.own) / gain
    lighter = (compress + heat * (1.0 - cool) * CP_PER_R - 0.5 * drive) / gain
    fuel = (share + heat * burnt + drive * share) / gain
    air = Response(
        ambient_pressure=inlet - drive / gain,
        ambient_temperature=colder,
        gas_constant=lighter,
        inlet_pressure=inlet,
        demand=np.zeros_like(inlet),
        fuel=fuel,
    )
    return air, _pressure_of_open(air, per_ratio, thinned)


def _with_inlet_loss(
    air: Response, pressure: Response, character: Character
) -> tuple[Response, Response]:
    """Return the responses with p_1 falling as flow rises: p_a - p_1 ~ W^2 T_a/p_a.

    So d ln(p_1/p_a) = relief - lost (2 dW + d ln R T_a - 2 d ln p_a), with W and p_m answering to
    p_1 by `inlet_pressure`, which stays the response to p_1 as it is.
    """
    lost = 1.0 / positive(character.inlet_ratio, "inlet_ratio") - 1.0
    damped = 1.0 + 2.0 * lost * air.inlet_pressure
    by_pressure = 1.0 + (air.ambient_pressure - 1.0) / damped
    by_cold, by_dry = (
        (of_density + lost * air.inlet_pressure) / damped
        for of_density in (air.ambient_temperature, air.gas_constant)
    )
    demand, fuel = air.demand / damped, air.fuel / damped
    follows = lost * pressure.inlet_pressure
    return (
        Response(
            ambient_pressure=by_pressure,
            ambient_temperature=by_cold,
            gas_constant=by_dry,
            inlet_pressure=air.inlet_pressure,
            demand=demand,
            fuel=fuel,
        ),
        Response(
            ambient_pressure=pressure.ambient_pressure - 2.0 * follows * (by_pressure - 1.0),
            ambient_temperature=pressure.ambient_temperature - follows * (2.0 * by_cold - 1.0),
            gas_constant=pressure.gas_constant - follows * (2.0 * by_dry - 1.0),
            inlet_pressure=pressure.inlet_pressure,
            demand=pressure.demand - 2.0 * follows * demand,
            fuel=pressure.fuel - 2.0 * follows * fuel,
        ),
    )


def _turbine(
    charge: _Charge, character: Character, share: FloatArray, t3: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return d ln(work)/d ln E and d ln(flow function)/d ln E at the expansion that is needed."""
    eta = floats(character.compressor_efficiency)
    eta_t = between(character.turbine_efficiency, 0.05, 1.0, name="turbine_efficiency")
    work = CP_AIR_JPKGK * floats(character.t_ambient_k) * (charge.ratio_k - 1.0) / eta
    drop = work * (1.0 - share) / (eta_t * CP_EXHAUST_JPKGK * t3)
    left = np.where(drop < 1.0, 1.0 - drop, np.nan)  # E^-k_e
    expanded = left ** (2.0 / K_EXHAUST)  # E^-2
    return K_EXHAUST * left / drop, expanded / (1.0 - expanded)


def _pressure_of_open(air: Response, per_ratio: FloatArray, thinned: FloatArray) -> Response:
    """Return the response of manifold pressure from that of the air: ln p_m = ln PR + ln p_1."""

    def lifted(of_air: FloatArray, of_inlet: float) -> FloatArray:
        return np.asarray((of_air - of_inlet) / per_ratio + of_inlet, dtype=np.float64)

    return Response(
        ambient_pressure=lifted(air.ambient_pressure, 1.0),
        ambient_temperature=lifted(air.ambient_temperature - thinned, 0.0),
        gas_constant=lifted(air.gas_constant - 1.0, 0.0),
        inlet_pressure=lifted(air.inlet_pressure, 1.0),
        demand=air.demand,
        fuel=lifted(air.fuel, 0.0),
    )


def blended(first: Response, second: Response, share: ArrayLike) -> Response:
    """Return `first` mixed with a `share` of `second`; shapes broadcast."""
    part = between(share, 0.0, 1.0, name="share")
    mixed = {
        f.name: (1.0 - part) * getattr(first, f.name) + part * getattr(second, f.name)
        for f in fields(Response)
    }
    return Response(**mixed)
