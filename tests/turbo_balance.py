"""A turbocharged engine at full load by its balances of mass and work, solved numerically.

Independent of `airsense.physics.boost_control`: nothing is linearized, losses grow with flow,
exhaust pressure spoils breathing, and boost control has a finite gain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

from scipy.optimize import brentq

R = 287.05
CP, CPE = 1005.0, 1150.0
# Molar heat capacities of steam at 350 K and at 900 K. [J/(mol K)]
STEAM, HOT_STEAM = 33.9, 39.9
M_AIR = 0.028965


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Weather, intake and tune in one run; `restriction` scales the intake's loss."""

    p_a: float = 99000.0
    t_a: float = 293.0
    x: float = 0.01
    restriction: float = 1.0
    demand_ln: float = 0.0
    fuel_added_ln: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """One engine. `law` names what is held; `gain` is d ln(turbine area)/d ln(p_m over target)."""

    law: str
    gain: float = math.inf
    pressure_ratio: float = 2.4
    eta_c: float = 0.70
    eta_t: float = 0.60
    effectiveness: float = 0.75
    t_water: float | None = None
    v: float = 0.15
    spoil: float = 0.0  # loss of filling with exhaust over charge pressure
    t_3: float = 1025.0
    share: float = 0.055  # fuel in the exhaust gas
    follows: float = 0.0
    demand_slope: float = 0.0
    depression: float = 3000.0
    back_pressure: float = 7000.0
    reference: Day = Day()


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """Where the balances close."""

    w: float
    p_m: float
    p_1: float
    target: float
    depression: float
    fuel: float


class Solver:
    """Sizes a plant at its reference, then closes its balances on any day; air is 1 there."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        ref = plant.reference
        self.p_1 = ref.p_a - plant.depression
        self.p_m = plant.pressure_ratio * self.p_1
        self.fuel = plant.share / (1.0 - plant.share)
        self.t_m = self._charge_k(ref, plant.pressure_ratio)
        self.fill = R * self._gas(ref.x) * self.t_m ** (1 - plant.v) / self.p_m
        hot = self._heat_capacity(CPE, HOT_STEAM, ref.x)
        self.heat = (plant.t_3 - self.t_m) / plant.share * hot
        gas = 1.0 + self.fuel
        self.p_4 = ref.p_a + plant.back_pressure
        work = self._compressor(ref, plant.pressure_ratio)
        self.p_3 = brentq(
            lambda p: gas * self._turbine(ref, plant.t_3, p, self.p_4) - work,
            self.p_4,
            20.0 * self.p_4,
        )
        heated = self._gas(ref.x) * plant.t_3
        self.area = gas * math.sqrt(heated / (self.p_3**2 - self.p_4**2))

    @staticmethod
    @cache
    def _gas(x: float) -> float:
        return 1.0 / (1.0 - 0.378 * x)

    @staticmethod
    @cache
    def _heat_capacity(dry: float, steam: float, x: float) -> float:
        """Return c_p of a gas with a mole fraction x of steam added in place of dry gas."""
        return ((1.0 - x) * dry * M_AIR + x * steam) / M_AIR / (1.0 - 0.378 * x)

    def _compressor(self, day: Day, ratio: float) -> float:
        cp = self._heat_capacity(CP, STEAM, day.x)
        return cp * day.t_a * (ratio ** (R * self._gas(day.x) / cp) - 1.0) / self.plant.eta_c

    def _turbine(self, day: Day, t_3: float, p_3: float, p_4: float) -> float:
        cp = self._heat_capacity(CPE, HOT_STEAM, day.x)
        return self.plant.eta_t * cp * t_3 * (1.0 - (p_4 / p_3) ** (R * self._gas(day.x) / cp))

    def _charge_k(self, day: Day, ratio: float) -> float:
        hot = day.t_a + self._compressor(day, ratio) / self._heat_capacity(CP, STEAM, day.x)
        cold = day.t_a if self.plant.t_water is None else self.plant.t_water
        return hot - self.plant.effectiveness * (hot - cold)

    def _inlet(self, day: Day, w: float) -> float:
        ref = self.plant.reference
        dense = day.p_a / ref.p_a * ref.t_a / day.t_a * self._gas(ref.x) / self._gas(day.x)
        return day.p_a - self.plant.depression * day.restriction * w**2 / dense

    def _target(self, day: Day, p_1: float) -> float:
        ref = self.plant.reference
        base = {
            "absolute": self.p_m,
            "gauge": day.p_a + self.p_m - ref.p_a,
            "ratio_ambient": self.p_m * day.p_a / ref.p_a,
            "ratio_inlet": self.p_m * p_1 / self.p_1,
            "open": self.p_m,
        }[self.plant.law]
        return base * math.exp(day.demand_ln + self.plant.demand_slope * day.fuel_added_ln)

    def _air(self, day: Day, p_m: float, w: float, spoiled: float) -> float:
        t_m = self._charge_k(day, p_m / self._inlet(day, w))
        return p_m / (R * self._gas(day.x) * t_m ** (1 - self.plant.v)) * self.fill * spoiled

    def _closed(self, day: Day, p_m: float) -> tuple[float, float]:
        """Return air and the turbine's surplus of work over the compressor's, for one p_m."""
        plant, w, spoiled, surplus = self.plant, 1.0, 1.0, 0.0
        for _ in range(12):
            w = self._air(day, p_m, w, spoiled)
            p_1 = self._inlet(day, w)
            fuel = self.fuel * w**plant.follows * math.exp(day.fuel_added_ln)
            gas = w + fuel
            hot = self._heat_capacity(CPE, HOT_STEAM, day.x)
            t_3 = self._charge_k(day, p_m / p_1) + self.heat * fuel / gas / hot
            off = math.log(p_m / self._target(day, p_1))
            opened = 0.0 if plant.law == "open" else plant.gain * off
            area = self.area * math.exp(min(max(opened, -2.0), 2.0))
            p_4 = self._behind(day, gas, t_3)
            p_3 = math.sqrt(p_4**2 + gas**2 * self._gas(day.x) * t_3 / area**2)
            spoiled = max(1.0 - plant.spoil * ((p_3 / p_m) - (self.p_3 / self.p_m)), 0.5)
            surplus = gas * self._turbine(day, t_3, p_3, p_4)
            surplus -= w * self._compressor(day, p_m / p_1)
        return w, surplus

    def _behind(self, day: Day, gas: float, t_3: float) -> float:
        ref = self.plant.reference
        full = (1.0 + self.fuel) ** 2 * self._gas(ref.x) * self.plant.t_3 / ref.p_a
        now = gas**2 * self._gas(day.x) * t_3 / day.p_a
        return day.p_a + self.plant.back_pressure * now / full

    def at(self, day: Day) -> Point:
        """Return where the balances close on a day."""
        if self.plant.law != "open" and math.isinf(self.plant.gain):
            w = 1.0
            for _ in range(30):
                p_m = self._target(day, self._inlet(day, w))
                w = self._air(day, p_m, w, 1.0)
        else:
            p_m = brentq(
                lambda p: self._closed(day, p)[1], 0.6 * self.p_m, 1.6 * self.p_m, xtol=1e-3
            )
            w, _ = self._closed(day, p_m)
        p_1 = self._inlet(day, w)
        return Point(
            w=w,
            p_m=p_m,
            p_1=p_1,
            target=self._target(day, p_1),
            depression=day.p_a - p_1,
            fuel=self.fuel * w**self.plant.follows * math.exp(day.fuel_added_ln),
        )


def parts_ln(solver: Solver, before: Day, after: Day) -> dict[str, float]:
    """Return the parts of ln(air) by runs that change one thing after the other."""
    days = [before]
    days.append(replace(before, p_a=after.p_a, t_a=after.t_a, x=after.x))
    days.append(replace(days[-1], restriction=after.restriction))
    days.append(replace(days[-1], demand_ln=after.demand_ln))
    days.append(replace(days[-1], fuel_added_ln=after.fuel_added_ln))
    air = [math.log(solver.at(day).w) for day in days]
    names = ("weather", "intake", "demand", "feedback")
    return {name: b - a for name, a, b in zip(names, air[:-1], air[1:], strict=True)}
