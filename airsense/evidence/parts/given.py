"""What is known of two configurations beside the air: weather, law, logged pressures and fuel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from airsense.errors import InputError
from airsense.evidence.parts.priors import (
    FOLLOWS_HELD,
    FOLLOWS_OPEN,
    LAW_PRIOR,
    LAW_SOURCE,
    U_SESSION_K,
    U_SESSION_PA,
    U_SOAK_K,
    U_WEATHER_HUMIDITY_FRAC,
    U_WEATHER_K,
    U_WEATHER_PA,
)
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.boost_control import BoostLaw, Cooler
from airsense.physics.constants import USUAL_AIR_K

# d ln T_m / d ln PR behind an air-to-air cooler, (1 - eff) k PR^k / (eta_c tau): 0.08 to 0.20 at a
# pressure ratio of two, for compressors and coolers of 0.8 and of 0.6.
CHARGE_PER_RATIO, U_CHARGE_PER_RATIO = 0.13, 0.05
BY_CHARGE = "ambient temperature by that of the charge behind the cooler"


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Mean weather of one configuration; each u (k = 1) is independent by configuration."""

    p_ambient_pa: float
    t_ambient_k: float
    x_vapour: float
    u_p_pa: float
    u_t_k: float
    u_x: float
    source: str


def weather_undeclared(
    p_ambient_pa: float = 100e3,
    t_ambient_k: float = USUAL_AIR_K,
    humidity_frac: float = 0.5,
    *,
    one_session: bool = False,
) -> Weather:
    """Return weather that was neither logged nor declared, with the doubt that goes with it.

    Parameters
    ----------
    p_ambient_pa, t_ambient_k, humidity_frac : float
        Best guess; the same one for both configurations.
    one_session : bool
        Whether both configurations were driven in one session, where weather drifts little.
    """
    x = float(vapour_mole_fraction(p_ambient_pa, t_ambient_k, humidity_frac))
    by_humidity = x / humidity_frac * U_WEATHER_HUMIDITY_FRAC
    if one_session:
        return Weather(
            p_ambient_pa=p_ambient_pa,
            t_ambient_k=t_ambient_k,
            x_vapour=x,
            u_p_pa=U_SESSION_PA,
            u_t_k=U_SESSION_K,
            # Vapour stays in the air when it warms: the share drifts as pressure does.
            u_x=x * U_SESSION_PA / U_WEATHER_PA,
            source="neither logged nor declared; one session (our choice)",
        )
    return Weather(
        p_ambient_pa=p_ambient_pa,
        t_ambient_k=t_ambient_k,
        x_vapour=x,
        u_p_pa=U_WEATHER_PA,
        u_t_k=U_WEATHER_K,
        u_x=by_humidity,
        source="neither logged nor declared (our choice)",
    )


def weather_by_charge(
    before: Weather, after: Weather, charge_ln: LnChange, pressure_ln: LnChange | None
) -> tuple[Weather, Weather]:
    """Return weather whose temperature, not known on either side, follows that of the charge.

    Parameters
    ----------
    before, after : Weather
        Of one believed temperature; its u is what is believed beforehand.
    charge_ln, pressure_ln : LnChange
        Changes of charge temperature behind an air-to-air cooler and of manifold pressure, at
        matched full load.

    Notes
    -----
    T_m = T_a tau(PR): at one pressure ratio the charge warms as the day does, in proportion. What
    more boost adds is taken off, and heat soak of cooler and bay is its doubt.
    """
    t_k = before.t_ambient_k
    boost = 0.0 if pressure_ln is None else pressure_ln.value
    day_ln = charge_ln.value - CHARGE_PER_RATIO * boost
    u_day_ln = float(np.hypot(charge_ln.u, U_CHARGE_PER_RATIO * boost))
    u_seen_k = float(np.hypot(t_k * u_day_ln, U_SOAK_K))
    u_before_k = float(np.hypot(before.u_t_k, after.u_t_k))
    share = u_before_k**2 / (u_before_k**2 + u_seen_k**2)
    u_k = u_before_k * float(np.sqrt((1.0 - share) / 2.0))
    return (
        replace(before, u_t_k=u_k, source=BY_CHARGE),
        replace(
            after,
            t_ambient_k=t_k * float(np.exp(share * day_ln)),
            u_t_k=u_k,
            source=BY_CHARGE,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LawBelief:
    """How probable a law of boost control is, and on whose word."""

    law: BoostLaw
    probability: float
    source: str


def laws_unknown(follows: bool | None = None) -> tuple[LawBelief, ...]:
    """Return what is believed of the law of boost control where it is not declared.

    Parameters
    ----------
    follows : bool, optional
        Whether the pressure keeps its ratio to a logged demand over speed; absent: not known.
    """
    told = {
        None: "",
        True: "; the pressure follows its demand",
        False: "; the pressure does not follow its demand",
    }
    weight = {w: p * _chance(w, follows) for w, p in LAW_PRIOR}
    total, source = sum(weight.values()), LAW_SOURCE + told[follows]
    return tuple(LawBelief(law=w, probability=x / total, source=source) for w, x in weight.items())


def laws_of(declared: str, follows: bool | None = None) -> tuple[LawBelief, ...]:
    """Return the declared law of boost control, or the mixture of `laws_unknown`."""
    if declared == "unknown":
        return laws_unknown(follows)
    return (LawBelief(law=BoostLaw(declared), probability=1.0, source="declared"),)


def _chance(law: BoostLaw, follows: bool | None) -> float:
    if follows is None:
        return 1.0
    chance = FOLLOWS_OPEN if law is BoostLaw.OPEN else FOLLOWS_HELD
    return chance if follows else 1.0 - chance


@dataclass(frozen=True, slots=True, kw_only=True)
class LnChange:
    """ln(after/before) of a logged quantity at matched full load, and its u (k = 1)."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What is known of two configurations beside the air; None where it was not logged.

    `pressure_ratio` is manifold over compressor inlet pressure at matched full load before;
    `demand_ln`, `pressure_ln`, `fuel_ln` are the changes of demanded and of measured absolute
    manifold pressure, and of fuel per stroke. With `same_intake` two tunes are compared on one.
    Probabilities of the laws must add to 1.
    """

    before: Weather
    after: Weather
    laws: tuple[LawBelief, ...]
    cooler: Cooler
    pressure_ratio: float
    depression_before_pa: float | None = None
    depression_after_pa: float | None = None
    demand_ln: LnChange | None = None
    pressure_ln: LnChange | None = None
    fuel_ln: LnChange | None = None
    same_tune: bool = True
    same_intake: bool = False

    def __post_init__(self) -> None:
        """Refuse laws that are no probabilities, and a depression that is none."""
        total = sum(b.probability for b in self.laws)
        if abs(total - 1.0) > 1e-6 or any(b.probability < 0.0 for b in self.laws):
            raise InputError(
                "the laws of boost control are no distribution",
                where="argument laws",
                got=f"probabilities that add to {total:g}",
                allowed="none below 0, and 1 in all",
                fix="give a declared law the probability 1",
            )
        for depression in (self.depression_before_pa, self.depression_after_pa):
            if depression is not None and not 0.0 <= depression < 0.5 * self.before.p_ambient_pa:
                raise InputError(
                    "intake depression is not a possible value",
                    where="argument depression_before_pa or depression_after_pa",
                    got=f"{depression:g} Pa",
                    allowed="0 to half the barometer",
                    fix="give ambient less compressor inlet pressure in Pa",
                )
