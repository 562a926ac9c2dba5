"""Power beside the air: at the engine or the wheels, as measured and as named texts correct it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airsense.errors import InputError
from airsense.evidence.matched import LnChange, Matched
from airsense.jobs.comparison.circumstances import configuration_weather, weather_is_known
from airsense.jobs.comparison.given import PairInput
from airsense.jobs.comparison.result import PowerRow
from airsense.physics.standard_power import (
    CorrectionText,
    correct_power,
    specific_fuel_mg_per_l_cycle,
    texts_for,
)
from airsense.results import Interval
from airsense.setup.engine import EngineSetup, Ignition, Induction

ENGINE, WHEELS = "engine", "wheels"
# P_wheels = eta P_engine - P_0, so d ln P_engine = (1 - l) d ln P_wheels. Our choice.
DRIVE_LOSS, U_DRIVE_LOSS = 0.10, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """The change of engine power, where it was measured, and the corrections by named texts."""

    change: Interval | None
    place: str
    corrections: tuple[PowerRow, ...] = ()


def power_of(given: PairInput, matched: Matched | None) -> Power:
    """Return the change of brake power at matched full load; None where no power was logged."""
    if matched is None:
        return Power(change=None, place="")
    own = matched.sizes.brake_power
    between = own.run * float(np.sqrt(own.between))
    declared = given.setup.power.at
    at_engine = matched.state("power_w", run=own.run, between=between)
    at_wheels = matched.state("wheel_power_w", run=own.run, between=between)
    if declared is not None and declared.value == WHEELS and at_wheels is None:
        at_engine, at_wheels = None, at_engine
    if at_engine is not None:
        change, place = at_engine, ENGINE
    elif at_wheels is not None:
        change, place = _from_wheels(at_wheels), WHEELS
    else:
        return Power(change=None, place="")
    return Power(
        change=change.interval(), place=place, corrections=_corrections(given, matched, change)
    )


def _from_wheels(wheels: LnChange) -> LnChange:
    u = np.hypot((1.0 - DRIVE_LOSS) * wheels.u, U_DRIVE_LOSS * wheels.value)
    return LnChange(value=(1.0 - DRIVE_LOSS) * wheels.value, u=float(u), dof=wheels.dof)


def _corrections(given: PairInput, matched: Matched, change: LnChange) -> tuple[PowerRow, ...]:
    runs = given.seen.runs
    if not weather_is_known([runs[k] for k in given.numbers]):
        return ()
    engine = given.setup.engine
    texts = texts_for(
        compression_ignition=engine.ignition is Ignition.COMPRESSION,
        turbocharged=engine.induction is Induction.TURBOCHARGED,
    )
    rows = []
    for text in texts:
        factors = [_factor(text, given, matched, after=after) for after in (False, True)]
        if None not in factors:
            rows.append(_row(text, [f for f in factors if f is not None], change, given.setup))
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class _Factor:
    value: float
    in_range: bool


def _factor(
    text: CorrectionText, given: PairInput, matched: Matched, *, after: bool
) -> _Factor | None:
    runs = [given.seen.runs[k] for k in (given.after if after else given.before)]
    weather = configuration_weather(runs, one_session=given.one_session)
    fuel = matched.level("mdot_fuel_kgps", after=after)
    p = matched.level("p_manifold_pa", after=after)
    q = float("nan")
    if np.isfinite(fuel):
        q = specific_fuel_mg_per_l_cycle(
            fuel,
            given.setup.engine.displacement_m3,
            speed_rpm=float(np.mean(matched.speed_rpm)),
            strokes=given.setup.engine.strokes,
        )
    try:
        found = correct_power(
            text,
            p_dry_pa=weather.p_ambient_pa * (1.0 - weather.x_vapour),
            t_intake_k=weather.t_ambient_k,
            q_mg_per_l_cycle=q,
            pressure_ratio=p / weather.p_ambient_pa if np.isfinite(p) else 1.0,
        )
    except InputError:
        return None
    return _Factor(found.factor, found.in_range)


def _row(
    text: CorrectionText, factors: Sequence[_Factor], change: LnChange, setup: EngineSetup
) -> PowerRow:
    before, after = factors
    moved = float(np.log(after.value / before.value))
    corrected = LnChange(value=change.value + moved, u=change.u, dof=change.dof)
    cooled = setup.engine.induction is Induction.TURBOCHARGED
    note = (
        "this text was not made for an engine with a charge cooler and controlled boost: it can "
        "correct too much"
        if cooled
        else ""
    )
    return PowerRow(
        text=text.value,
        factor_before=before.value,
        factor_after=after.value,
        change=corrected.interval(),
        in_range=before.in_range and after.in_range,
        note=note,
    )
