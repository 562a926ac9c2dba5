"""Free evidence in one configuration: moments in which a sensor's right reading is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airsense.estimates.run import Run
from airsense.estimates.segments import RUN_DOWN_S, Kind, Segmented
from airsense.evidence.cells import Cells
from airsense.evidence.rest import Rest, RestKind
from airsense.jobs.comparison.result import FreeEvidence
from airsense.jobs.observe import Observations
from airsense.results import Finding, Severity

# A hot film in still air shows its zero: this share of its largest reading is no zero any more.
MAX_ZERO_SHARE = 0.005
# Two sensors at rest may differ by this many standard uncertainties of their levels.
MOST_APART = 2.0
# An engine whose coolant starts this close to ambient has stood for a night; all its thermometers
# then show the same air, but for one that is off by more. Our choice.
COLD_START_K, MAX_THERMOMETER_K = 3.0, 5.0
COLD_START_S = 5.0
THERMOMETERS = ("intake_temperature", "charge_temperature")


def level_free_evidence(seen: Observations) -> tuple[tuple[FreeEvidence, ...], tuple[Finding, ...]]:
    """Return what such moments showed or that they were missing, and what stands out in them."""
    rows, findings = [], []
    for kind, name, where in (
        (RestKind.STILL, "engine_still", "with the ignition on and the engine still"),
        (RestKind.IDLE, "idle_pressure", "at an unthrottled idle"),
    ):
        row, found = _pressure_at_rest(seen.rest, kind, name, where)
        rows.append(row)
        findings += found
    for row, found in (_zero_flow(seen.runs, seen.cuts), _cold_start(seen.runs)):
        rows.append(row)
        findings += found
    rows += _loads(seen.cells)
    return tuple(rows), tuple(findings)


def _pressure_at_rest(
    rest: Rest, kind: RestKind, name: str, where: str
) -> tuple[FreeEvidence, list[Finding]]:
    own = rest.kind == kind
    if not own.any():
        why = "; ".join(rest.missing) if kind is RestKind.STILL and rest.missing else ""
        text = f"no reading of the pressure sensor {where}" + (f": {why}" if why else "")
        return FreeEvidence(kind=name, found=0, sentence=text), []
    apart = float(rest.value[own].mean())
    limit = MOST_APART * float(np.linalg.norm(kind.sizes))
    shown = f"the pressure sensor reads {100.0 * apart:+.1f} % of the barometer {where}"
    if abs(apart) <= limit:
        text = f"{shown}, within what both can know"
        return FreeEvidence(kind=name, found=int(own.sum()), sentence=text), []
    finding = Finding(
        code="pressure_sensor_off_at_rest",
        severity=Severity.WARNING,
        message=f"{shown}: more than both sensors' own errors allow ({100.0 * limit:.0f} %); speed "
        "density moves with it",
        fix="compare the sensor with a barometer, and check whether its unit and zero are right",
    )
    return FreeEvidence(kind=name, found=int(own.sum()), sentence=f"{shown}: off"), [finding]


def _zero_flow(
    runs: Sequence[Run], cuts: Sequence[Segmented]
) -> tuple[FreeEvidence, list[Finding]]:
    """Hold the air-flow sensor against the still air of an engine that stands."""
    top = max(_highest(run) for run in runs)
    shown, findings = [], []
    for run, found in zip(runs, cuts, strict=True):
        zero = _still_flow(run, found)
        if zero is None or top <= 0.0:
            continue
        shown.append(zero / top)
        if zero > MAX_ZERO_SHARE * top:
            findings.append(
                Finding(
                    code="flow_without_engine",
                    severity=Severity.WARNING,
                    message=f"the air-flow sensor reads {1e3 * zero:.1f} g/s with the engine "
                    f"still, {100.0 * zero / top:.1f} % of its largest reading",
                    fix="check the sensor's zero, its ground and its transfer table",
                    where=run.name,
                )
            )
    text = (
        f"with the engine still the air-flow sensor reads {100.0 * max(shown):.1f} % of its "
        "largest reading"
        if shown
        else "no reading of the air-flow sensor with the engine still"
    )
    return FreeEvidence(kind="zero_flow", found=len(shown), sentence=text), findings


def _highest(run: Run) -> float:
    flow = run.mdot_maf_kgps
    if flow is None or not np.isfinite(flow).any():
        return 0.0
    return float(np.nanquantile(flow, 0.999))


def _still_flow(run: Run, found: Segmented) -> float | None:
    """Return the flow shown with the engine standing, after it has run down. [kg/s]"""
    if run.mdot_maf_kgps is None:
        return None
    rows = []
    for s in found.segments:
        if s.kind is Kind.STILL and s.stop_s - s.start_s >= RUN_DOWN_S:
            down = 0 if s.first == 0 else round(RUN_DOWN_S / run.step_s)
            rows.append(run.mdot_maf_kgps[s.first + down : s.stop])
    flow = np.concatenate(rows) if rows else np.zeros(0)
    flow = flow[np.isfinite(flow)]
    return float(np.median(flow)) if flow.size else None


def _cold_start(runs: Sequence[Run]) -> tuple[FreeEvidence, list[Finding]]:
    """Hold the thermometers against ambient where the engine has stood cold."""
    cold, findings = 0, []
    for run in runs:
        ambient = _first(run, "ambient_temperature")
        coolant = _first(run, "coolant_temperature")
        if ambient is None or coolant is None or abs(coolant - ambient) > COLD_START_K:
            continue
        cold += 1
        for name in THERMOMETERS:
            reading = _first(run, name)
            if reading is not None and abs(reading - ambient) > MAX_THERMOMETER_K:
                findings.append(
                    Finding(
                        code="thermometer_off_when_cold",
                        severity=Severity.WARNING,
                        message=f"{run.log[name].header!r} starts {reading - ambient:+.0f} K from "
                        "ambient although the coolant shows a cold engine",
                        fix="compare the thermometer with another one before the engine is started",
                        where=run.name,
                    )
                )
    text = (
        f"{cold} logs begin with a cold engine: all thermometers should show ambient"
        if cold
        else "no log begins with a cold engine, coolant and ambient temperature logged"
    )
    return FreeEvidence(kind="cold_start", found=cold, sentence=text), findings


def _first(run: Run, name: str) -> float | None:
    """Return the middle of a channel's first seconds; None where it has none."""
    if name not in run.log or not run.log[name].value.size:
        return None
    channel = run.log[name]
    early = channel.time_s <= channel.time_s[0] + COLD_START_S
    return float(np.median(channel.value[early]))


def _loads(cells: Cells) -> list[FreeEvidence]:
    idle = int(np.unique(cells.run[cells.kind == Kind.IDLE]).size)
    part = int(np.count_nonzero(cells.part_load))
    return [
        FreeEvidence(
            kind="idle_air",
            found=idle,
            sentence=f"idle air in {idle} logs"
            if idle
            else "no idle at which a route holds: log some seconds of warm idle",
        ),
        FreeEvidence(
            kind="part_load",
            found=part,
            sentence=f"{part} states at part load beside full load"
            if part
            else "nothing at part load beside full load",
        ),
    ]
