"""Charge temperature: the measured one where it is one, an estimate with its range elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates.pressures import Pressures
from airsense.estimates.run import on_grid
from airsense.logs.log import Log
from airsense.physics.charge import (
    estimate_charge_temperature_k,
    infer_place,
    undo_thermistor_lag,
)
from airsense.physics.charge_place import LEAST_BOOST_RATIO, SOAK_K
from airsense.physics.constants import CELSIUS_ZERO_K, USUAL_AIR_K
from airsense.results import Assumption, Finding, Severity
from airsense.setup.engine import EngineSetup, Induction, TemperaturePlace

# Odds, before its behaviour is seen, that a temperature is taken in the charge: where the setup
# file says so (many are copied from another car), where the header does, where nothing does. Our
# choice.
DECLARED_ODDS, NAMED_ODDS, SILENT_ODDS = 8.0, 4.0, 1.0
# Where behaviour alone speaks against the name at these odds, that is told. Our choice.
DOUBT_ODDS = 3.0
# An open bead in moving air: 1 to 3 s (common practice, no source).
DEFAULT_TIME_CONSTANT_S = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """Charge temperature on the grid. [K] `u_k` is given where it is estimated."""

    t_charge_k: FloatArray | None
    t_ambient_k: float | None
    estimated: bool
    u_k: float | None
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    t_inlet_k: float | None = None
    ln_odds: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    """Where a temperature is taken, and ln of the odds that it is the charge's, NaN if not seen."""

    place: TemperaturePlace
    finding: Finding | None = None
    ln_odds: float = float("nan")


def find_charge_temperature(
    log: Log,
    setup: EngineSetup,
    time_s: FloatArray,
    pressures: Pressures,
    shown: TemperaturePlace | None = None,
) -> Charge:
    """Return the charge temperature, measured and freed of its lag, or estimated.

    A temperature counts as measured in the charge only if its header says so, the setup says so,
    or its behaviour under boost shows it; where the behaviour contradicts the declared place, a
    finding says so and the estimate is taken. `shown` is what all logs of the engine show.
    """
    ambient = _median(log, "ambient_temperature")
    for name in ("charge_temperature", "intake_temperature"):
        measured = on_grid(log, name, time_s)
        if measured is None:
            continue
        own = _place(name, measured, log, setup, pressures, time_s)
        if shown is not None and own.place is not shown:
            own = replace(own, place=shown, finding=_as_others(log[name].header, log.path))
        findings = (own.finding,) if own.finding else ()
        if own.place is TemperaturePlace.AFTER_COOLER:
            found = _measured(log, name, setup, time_s, ambient, findings)
        else:
            inlet = float(np.nanmedian(measured))
            found = _estimated(log, pressures, inlet, ambient, findings)
        return replace(found, ln_odds=own.ln_odds)
    return _estimated(log, pressures, ambient, ambient, ())


def _median(log: Log, name: str) -> float | None:
    if name not in log or not log[name].value.size:
        return None
    return float(np.median(log[name].value))


def _place(  # each input is a different kind of evidence
    name: str,
    measured: FloatArray,
    log: Log,
    setup: EngineSetup,
    pressures: Pressures,
    time_s: FloatArray,
) -> _Placed:
    declared = setup.charge_temperature.place
    if setup.engine.induction is Induction.NATURALLY_ASPIRATED:
        return _Placed(place=TemperaturePlace.AFTER_COOLER)
    odds = DECLARED_ODDS if declared is TemperaturePlace.AFTER_COOLER else SILENT_ODDS
    if declared is None:
        named = name == "charge_temperature"
        odds = NAMED_ODDS if named else SILENT_ODDS
        declared = TemperaturePlace.AFTER_COOLER if named else TemperaturePlace.UNKNOWN
    if pressures.p_manifold_pa is None:
        return _Placed(place=declared)
    guess = infer_place(
        measured,
        _air_outside(name, measured, log, pressures, time_s),
        pressures.p_manifold_pa,
        pressures.p_ambient_pa,
        time_s=time_s,
        odds_after=odds,
    )
    seen = TemperaturePlace(guess.place)
    header = log[name].header
    place, finding = declared, None
    if seen is TemperaturePlace.BEFORE_COMPRESSOR and declared is not seen:
        place, finding = seen, _finding(header, log.path, guess.reason)
    elif declared is TemperaturePlace.AFTER_COOLER and guess.ln_odds < np.log(odds / DOUBT_ODDS):
        finding = _doubted(header, log.path, guess.reason)
    elif declared is TemperaturePlace.UNKNOWN:
        place = seen
        finding = _unknown(header, log.path, guess.reason) if seen is declared else None
    return _Placed(place=place, finding=finding, ln_odds=guess.ln_odds)


def _air_outside(
    name: str, measured: FloatArray, log: Log, pressures: Pressures, time_s: FloatArray
) -> FloatArray | None:
    """Return what air outside the engine has, if logged: ambient, or an inlet that is cooler."""
    ambient = on_grid(log, "ambient_temperature", time_s)
    if ambient is not None or name != "charge_temperature":
        return ambient
    inlet = on_grid(log, "intake_temperature", time_s)
    if inlet is None or pressures.p_manifold_pa is None:
        return None
    # A second thermometer in the charge itself shows no such difference under boost.
    with np.errstate(invalid="ignore"):
        boosted = pressures.p_manifold_pa >= LEAST_BOOST_RATIO * pressures.p_ambient_pa
    excess = (measured - inlet)[boosted & np.isfinite(measured) & np.isfinite(inlet)]
    return inlet if excess.size and float(np.median(excess)) > SOAK_K else None


def _finding(header: str, path: str, reason: str) -> Finding:
    return Finding(
        code="temperature_before_compressor",
        severity=Severity.WARNING,
        message=f"{header!r} behaves like a sensor ahead of the compressor ({reason}); it is not "
        "used as charge temperature, which is estimated instead",
        fix="log the temperature after the charge cooler, or declare [charge_temperature] place",
        where=path,
    )


def _doubted(header: str, path: str, reason: str) -> Finding:
    return Finding(
        code="temperature_place_doubted",
        severity=Severity.WARNING,
        message=f"{header!r} hardly answers to boost ({reason}): a sensor ahead of the compressor "
        "does so, and one that is warm from standing; it is used as what it is called",
        fix='look where it sits; declare [charge_temperature] place = "before_compressor" if it is '
        "no charge temperature",
        where=path,
    )


def _as_others(header: str, path: str) -> Finding:
    return Finding(
        code="temperature_place_by_other_logs",
        severity=Severity.INFO,
        message=f"where {header!r} is measured is taken from all logs together; this one alone "
        "would say otherwise, or nothing",
        fix='declare place = "after_cooler" or "before_compressor" in [charge_temperature]',
        where=path,
    )


def _unknown(header: str, path: str, reason: str) -> Finding:
    return Finding(
        code="temperature_place_unknown",
        severity=Severity.WARNING,
        message=f"it cannot be told where {header!r} is measured ({reason}); "
        "the charge temperature is estimated",
        fix='declare place = "after_cooler" or "before_compressor" in [charge_temperature]',
        where=path,
    )


def _measured(
    log: Log,
    name: str,
    setup: EngineSetup,
    time_s: FloatArray,
    ambient: float | None,
    findings: tuple[Finding, ...],
) -> Charge:
    tau = setup.charge_temperature.time_constant_s
    channel = log[name]
    used = DEFAULT_TIME_CONSTANT_S if tau is None else tau
    quick = undo_thermistor_lag(channel.time_s, channel.value, used) if used else channel.value
    assumed = (
        ()
        if tau is not None
        else (
            Assumption(
                quantity="time constant of the charge-temperature sensor",
                value=f"{used:g} s",
                source="generic bare or shielded thermistor; set "
                "[charge_temperature] time_constant_s",
            ),
        )
    )
    return Charge(
        t_charge_k=np.interp(time_s, channel.time_s, quick, left=np.nan, right=np.nan),
        t_ambient_k=ambient,
        estimated=False,
        u_k=None,
        findings=findings,
        assumptions=assumed,
    )


def _estimated(
    log: Log,
    pressures: Pressures,
    inlet_k: float | None,
    ambient_k: float | None,
    findings: tuple[Finding, ...],
) -> Charge:
    if pressures.p_manifold_pa is None:
        return Charge(
            t_charge_k=None,
            t_ambient_k=ambient_k,
            estimated=True,
            u_k=None,
            findings=findings,
            assumptions=(),
        )
    t_in = inlet_k if inlet_k is not None else USUAL_AIR_K
    t_ambient = ambient_k if ambient_k is not None else t_in
    guess = estimate_charge_temperature_k(
        t_in, t_ambient, pressures.p_manifold_pa, pressures.p_ambient_pa
    )
    where = "logged ahead of the compressor" if inlet_k is not None else "assumed 20 degC"
    return Charge(
        t_charge_k=guess.t_charge_k,
        t_ambient_k=ambient_k,
        estimated=True,
        u_k=float(np.nanmedian(guess.u_k)),
        t_inlet_k=inlet_k,
        findings=findings,
        assumptions=(
            Assumption(
                quantity=f"charge temperature of {log.path}",
                value=f"about {float(np.nanmedian(guess.t_charge_k)) - CELSIUS_ZERO_K:.0f} degC, "
                f"+-{float(np.nanmedian(guess.u_k)):.0f} K (k = 1)",
                source="estimated from pressure ratio, compressor efficiency and cooler "
                f"effectiveness with ranges; inlet air {where}",
            ),
        ),
    )
