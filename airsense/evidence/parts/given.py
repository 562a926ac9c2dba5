"""What is known of two configurations beside the air: weather, law, logged pressures and fuel."""

from __future__ import annotations

from dataclasses import dataclass

from airsense.errors import InputError
from airsense.evidence.parts.priors import (
    LAW_PRIOR,
    LAW_SOURCE,
    U_SESSION_K,
    U_SESSION_PA,
    U_WEATHER_HUMIDITY_FRAC,
    U_WEATHER_K,
    U_WEATHER_PA,
)
from airsense.physics.air import vapour_mole_fraction
from airsense.physics.boost_control import BoostLaw, Cooler


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
    t_ambient_k: float = 293.15,
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LawBelief:
    """How probable a law of boost control is, and on whose word."""

    law: BoostLaw
    probability: float
    source: str


def laws_unknown() -> tuple[LawBelief, ...]:
    """Return what is believed of the law of boost control where it is not declared."""
    return tuple(LawBelief(law=w, probability=p, source=LAW_SOURCE) for w, p in LAW_PRIOR)


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
    manifold pressure, and of fuel per stroke. Probabilities of the laws must add to 1.
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
