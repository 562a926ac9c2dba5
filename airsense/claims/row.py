"""One printed configuration: its figures as draws, and the air in which it was tested.

A drawn figure is the printed one, moved by what its digits leave open. Where the weather is not
printed, a prior over sites and days stands in; a site is common to all configurations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from airsense.arrays import BoolArray, FloatArray
from airsense.claims import priors as prior
from airsense.claims.context import Configuration, Context, mean_figure, plain_name
from airsense.claims.draws import Source
from airsense.evidence.parts.priors import U_SESSION_K, U_SESSION_PA, U_WEATHER_K, U_WEATHER_PA
from airsense.physics.atmosphere import standard_pressure_pa
from airsense.physics.constants import CELSIUS_ZERO_K
from airsense.setup.printed import Printed

ASK_WEATHER = "barometer, temperature and humidity at each test"


@dataclass(frozen=True)
class Row:
    """A configuration in its weather; every property has shape (draws,)."""

    configuration: Configuration
    context: Context

    def printed(self, name: str) -> Printed | None:
        """Return the printed figure, the mean where rows repeat it, else what is said once."""
        figures = [f for row in self.configuration.rows if (f := row.figure(name)) is not None]
        if figures:
            return mean_figure(figures)
        once: Printed | None = getattr(self.context.claims.publication, name, None)
        return once

    @property
    def prints_pressure(self) -> bool:
        """Whether a boost or manifold pressure is printed, not assumed."""
        return any(self.printed(n) is not None for n in ("manifold_pressure", "boost_pressure"))

    @property
    def runs(self) -> int:
        """Number of runs behind each figure."""
        stated = self.context.claims.publication.runs_per_configuration
        return max(stated or 1, len(self.configuration.rows))

    @property
    def day(self) -> str:
        """What configurations of one weather share: the session, if one is named, else nothing."""
        return self._session or self._key

    @property
    def _session(self) -> str:
        session = self.configuration.rows[0].session or self.context.claims.publication.session
        return f"session {session}" if session else ""

    @cached_property
    def p_ambient_pa(self) -> FloatArray:
        """Barometer [Pa]: printed, or a prior over test sites and weathers."""
        ask = Source("barometer", ASK_WEATHER)
        drift = U_SESSION_PA * self._normal(f"barometer:{self._key}", ask)
        figure = self.printed("barometric_pressure")
        if figure is not None:
            read = self._as_printed("barometric_pressure", figure)
            return read + self._apart("barometric_pressure", figure, U_SESSION_PA)
        site = self.p_site_pa
        own = U_WEATHER_PA * self._normal(f"pressure:{self.day}", ask)
        self.context.assume(
            "barometer",
            f"{np.mean(site) / 1e3:.1f} kPa, +-{np.std(site) / 1e3:.1f} kPa (k = 1) by site, "
            f"+-{U_WEATHER_PA / 1e3:g} kPa by {'session' if self._session else 'test'}",
            "not printed: prior over test sites",
        )
        return np.asarray(site + own + (drift if self._session else 0.0))

    @cached_property
    def p_site_pa(self) -> FloatArray:
        """Barometer [Pa], less what differs by test where it is not printed."""
        figure = self.printed("barometric_pressure")
        if figure is not None:
            return self._as_printed("barometric_pressure", figure)
        ask = Source("barometer", ASK_WEATHER)
        altitude = prior.ALTITUDE_MEAN_M * self.context.draws.exponential("altitude", ask)
        return standard_pressure_pa(np.minimum(altitude, 4000.0))

    @cached_property
    def t_ambient_k(self) -> FloatArray:
        """Temperature of the inlet air in the weather of the test. [K]"""
        ask = Source("ambient temperature", ASK_WEATHER)
        drift = U_SESSION_K * self._normal(f"cold:{self._key}", ask)
        figure = self.printed("ambient_temperature")
        if figure is not None:
            return self.t_site_k + self._apart("ambient_temperature", figure, U_SESSION_K)
        own = U_WEATHER_K * self._normal(f"temperature:{self.day}", ask)
        return self.t_site_k + own + (drift if self._session else 0.0)

    @property
    def one_weather(self) -> bool:
        """Whether the publication gives one temperature for all its tests."""
        figure = self.printed("ambient_temperature")
        return figure is not None and self._said_once("ambient_temperature", figure)

    @property
    def of_two_days(self) -> BoolArray:
        """Whether the rows of the table are of different days, where no weather says so."""
        drawn = self._spread("two days", Source("weather of the tests", ASK_WEATHER), 0.0, 1.0)
        return np.asarray(drawn < prior.ROWS_OF_TWO_DAYS)

    @cached_property
    def p_table_pa(self) -> FloatArray:
        """Barometer for figures that are held against each other. [Pa]"""
        ask = Source("barometer", ASK_WEATHER)
        if self.printed("barometric_pressure") is not None:
            return self.p_ambient_pa
        drift = U_SESSION_PA * self._normal(f"barometer:{self._key}", ask)
        return np.where(self.of_two_days, self.p_ambient_pa, self.p_site_pa + drift)

    @property
    def t_table_k(self) -> FloatArray:
        """Temperature of the inlet air for figures that are held against each other. [K]"""
        return np.where(self.of_two_days, self.t_ambient_k, self.t_site_k)

    @cached_property
    def t_site_k(self) -> FloatArray:
        """Temperature of the inlet air, less what differs by test where it is not printed. [K]"""
        figure = self.printed("ambient_temperature")
        if figure is not None:
            return self._as_printed("ambient_temperature", figure)
        ask = Source("ambient temperature", ASK_WEATHER)
        self.context.assume(
            "ambient temperature",
            f"{prior.AMBIENT_K - CELSIUS_ZERO_K:.0f} degC, "
            f"+-{prior.AMBIENT_U_K:g} K (k = 1) by site, "
            f"+-{U_WEATHER_K:g} K by {'session' if self._session else 'test'}",
            "not printed: prior over test sites",
        )
        return prior.AMBIENT_K + prior.AMBIENT_U_K * self._normal("ambient", ask)

    @cached_property
    def depression_pa(self) -> FloatArray | None:
        """Pressure drop across filter and tube [Pa], if printed."""
        figure = self.printed("inlet_depression")
        return None if figure is None else self._as_printed("inlet_depression", figure)

    @property
    def _key(self) -> str:
        return self.configuration.name

    def _as_printed(self, name: str, figure: Printed) -> FloatArray:
        label = plain_name(name)
        ask = Source(f"rounding of the printed {label}", f"{label} with one more digit")
        once = self._said_once(name, figure)
        key = f"print:{name}" if once else f"print:{name}:{self._key}"
        if figure.explicit:
            drawn = figure.value + figure.u * self._normal(key, ask)
        else:
            drawn = figure.value + figure.half_width * self.context.draws.uniform(key, ask)
        positive = drawn if name == "boost_pressure" else np.maximum(drawn, 1e-3 * figure.value)
        return np.asarray(positive)

    def _apart(self, name: str, figure: Printed, u_session: float) -> FloatArray | float:
        """Return what a figure said once for all may differ by: its digits, at most a day's drift.

        A figure of the row itself differs by its own rounding, which is drawn already.
        """
        if not self._said_once(name, figure):
            return 0.0
        half = min(figure.half_width, u_session * math.sqrt(3.0))
        ask = Source("weather of the tests", ASK_WEATHER)
        return half * self.context.draws.uniform(f"apart:{name}:{self._key}", ask)

    def _said_once(self, name: str, figure: Printed) -> bool:
        """Whether a figure is said for all configurations together."""
        return figure is getattr(self.context.claims.publication, name, None)

    def _normal(self, key: str, ask: Source) -> FloatArray:
        return self.context.draws.normal(key, ask)

    def _spread(self, key: str, ask: Source, low: float, high: float) -> FloatArray:
        return 0.5 * (low + high) + 0.5 * (high - low) * self.context.draws.uniform(key, ask)
