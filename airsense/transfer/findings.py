"""What a person must know about a new table, in the words of a workshop."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airsense.arrays import FloatArray
from airsense.estimates import fuel_lambda, fuel_trims, speed_density
from airsense.results import Finding, Interval, Severity
from airsense.transfer.cells import Cell, Step, Support
from airsense.transfer.decision import Doubt
from airsense.transfer.model import TransferTable

# A smaller loss by rounding is not worth a line.
ROUNDING_TOLD = 0.002
# What is as likely as this is a warning, even where it would not move the table. Our choice.
LIKELY = 0.2
# What is at work, what it does to the logs, what to do about it.
_DOUBTS = {
    "leak": (
        "air lost between the compressor and the engine",
        "leak_after_compressor",
        "the sensor counts air that the engine never gets, the more the higher the boost",
        "pressure-test charge pipes, cooler and clamps, mend what leaks, and log again",
    ),
    "leak_before_compressor": (
        "air drawn in between the air-flow sensor and the compressor",
        "leak_before_compressor",
        "the engine gets air, and dust, that the sensor never counted, the more the higher the "
        "flow",
        "smoke-test the tube from the sensor to the compressor, mend what leaks, and log again",
    ),
    "pulsation": (
        "pulses in the tube",
        "pulsation",
        "backward flow at low speed under load is counted as air; the same signal means another "
        "flow elsewhere, and a table over the signal cannot hold both",
        "damp the pulses or move the sensor away from compressor or throttle, and log again",
    ),
    "pressure": (
        "a manifold-pressure sensor that reads otherwise than before",
        "manifold_pressure",
        "speed density moves with it, and a table would be bent to follow a wrong pressure",
        "log five seconds with the ignition on and the engine still, compare with a barometer, "
        "check hose and sensor, and log again",
    ),
    "temperature": (
        "a charge temperature that reads otherwise than before",
        "charge_temperature",
        "speed density moves with it, and a table would be bent to follow a wrong temperature",
        "compare the sensor with a thermometer, let the engine cool alike before each run, and "
        "log again",
    ),
    "recirculation": (
        "exhaust gas in the charge",
        "recirculation",
        "speed density counts it as air",
        "test with the valve shut, or log the recirculation rate",
    ),
}
_ROUTE_FAULTS = {
    speed_density.METHOD: (
        "manifold pressure, charge temperature or breathing",
        "fuel and lambda",
    ),
    fuel_lambda.METHOD: ("fuel quantity or lambda", "manifold pressure and charge temperature"),
    fuel_trims.METHOD: (
        "fuel pressure, injectors or tank ventilation",
        "manifold pressure and charge temperature",
    ),
}


def doubt_finding(doubt: Doubt, *, forced: bool) -> Finding:
    """Return the finding of something beside the table that may be at work."""
    name, code, effect, fix = _DOUBTS.get(doubt.cause.value, _DOUBTS[doubt.name])
    sure = f"probability {100.0 * doubt.probability:.0f} %"
    if not doubt.refuses:
        return Finding(
            code=f"{code}_not_excluded",
            severity=Severity.WARNING if doubt.probability >= LIKELY else Severity.INFO,
            message=f"{name} is not excluded ({sure}), but would change the table by less than "
            "its interval",
            fix=fix,
        )
    moved = (
        "without it the logs cannot be explained"
        if not np.isfinite(doubt.move)
        else f"with it the table differs by {100.0 * np.expm1(doubt.move):.1f} % (root mean "
        "square of the measured breakpoints)"
    )
    told = "baked into the table as asked" if forced else "not baked into a table"
    return Finding(
        code=code if doubt.probability >= 0.5 else f"{code}_suspected",
        severity=Severity.WARNING if forced else Severity.ERROR,
        message=f"{name} ({sure}): {effect}; {moved}; {told}",
        fix=fix,
    )


def table_findings(cells: Sequence[Cell], step: Step) -> list[Finding]:
    """Return what the new table itself calls for: limited steps, held ends, order."""
    max_step, share = step.largest, step.share
    found = [_share_finding(share)] if share < 1.0 else []
    asked = [(c, share * np.log(c.wanted)) for c in cells if c.wanted > 0.0]
    limited = [c for c, ln in asked if abs(ln) > np.log1p(max_step) * (1 + 1e-9)]
    if limited:
        most = max(limited, key=lambda c: abs(np.log(c.wanted)))
        found.append(
            Finding(
                code="step_limited",
                severity=Severity.WARNING,
                message=f"{len(limited)} of {len(cells)} breakpoints ask for more than "
                f"{100.0 * max_step:g} % in one step (up to {100.0 * (most.wanted - 1.0):+.1f} %) "
                "and are limited to that",
                fix="write this table, log again, and run a second pass; or raise --max-step",
            )
        )
    held = sum(c.support is Support.HELD for c in cells)
    if held:
        found.append(
            Finding(
                code="held_breakpoints",
                severity=Severity.INFO,
                message=f"{held} of {len(cells)} breakpoints lie beyond what was measured; they "
                "carry the mean factor of the measured ones, never a bend carried on",
                fix="log the range that the engine uses, idle to full load",
            )
        )
    moved = [
        c
        for c, ln in asked
        if c.flow_old > 0.0
        and abs(np.log(c.correction) - ln) > 1e-4
        and abs(ln) <= np.log1p(max_step)
    ]
    if moved:
        found.append(
            Finding(
                code="order_kept",
                severity=Severity.INFO,
                message=f"{len(moved)} breakpoints were moved to keep the flow rising",
                fix="nothing to mend",
            )
        )
    return found


def rounding_finding(table: TransferTable, flow_kgps: FloatArray) -> Finding | None:
    """Return what whole numbers cost, where the table is typed in them and it matters."""
    if table.layout is None or not table.layout.whole:
        return None
    flow = flow_kgps / table.flow_factor
    lost = np.abs(np.round(flow) - flow) / np.maximum(np.abs(flow), 1.0)
    worst = int(np.argmax(lost))
    if lost[worst] < ROUNDING_TOLD:
        return None
    return Finding(
        code="whole_numbers",
        severity=Severity.INFO,
        message="the table is typed in whole numbers, and so is the new one: rounding moves the "
        f"flow by up to {100.0 * lost[worst]:.1f} % (at {flow[worst]:.4g} {table.flow_unit})",
        fix="type one flow with a decimal, such as 25.0, if the controller takes it",
    )


def _share_finding(share: float) -> Finding:
    """Return the reminder that only a part of the correction is in the table."""
    return Finding(
        code="part_applied",
        severity=Severity.INFO,
        message=f"{100.0 * share:g} % of the correction is in this table; low and high are those "
        "of the whole of it",
        fix="log again with this table in force, and run the next pass",
    )


def bend_finding(cells: Sequence[Cell]) -> Finding:
    """Return what is to say of a curve that bends about an unchanged mean."""
    known = [c for c in cells if c.support is Support.MEASURED] or list(cells)
    low, high = (pick(known, key=lambda c: c.wanted) for pick in (min, max))
    return Finding(
        code="bend_about_the_mean",
        severity=Severity.WARNING,
        message="the mean reading is not shown to have changed, but its curve is bent: the logs "
        f"ask for {100.0 * (low.wanted - 1.0):+.1f} % at {1e3 * low.flow_old:.3g} g/s and "
        f"{100.0 * (high.wanted - 1.0):+.1f} % at {1e3 * high.flow_old:.3g} g/s",
        fix="log more runs over the whole range of flow; once the change is shown it is written",
    )


def single_route_finding(method: str) -> Finding:
    """Return the warning that nothing checks the only route."""
    faults, other = _ROUTE_FAULTS.get(method, ("that route", "another route"))
    return Finding(
        code="single_route",
        severity=Severity.WARNING,
        message=f"{method} is the only route to the true flow: a fault of {faults} between "
        "baseline and now would look like one of the air-flow sensor",
        fix=f"log {other} too, or check those sensors first",
    )


def baseline_finding(scale: Interval) -> Finding:
    """Return the warning that the reference is only as good as an absolute value."""
    return Finding(
        code="no_baseline",
        severity=Severity.WARNING,
        message="no baseline logs: the true flow rests on absolute values (volumetric efficiency, "
        f"fuel scale, sensors), so that the correction is known to +-"
        f"{100.0 * scale.half_width:.1f} % only",
        fix="add --baseline with logs of the old tube and the trusted table",
    )


def nothing_usable_finding() -> Finding:
    """Return the error that no state under load can be compared."""
    return Finding(
        code="nothing_to_compare",
        severity=Severity.ERROR,
        message="nothing under load is usable in the logs, or in the baseline: no breakpoint can "
        "be judged",
        fix="log full-load pulls, steady holds or a drive under load, with baseline and present "
        "tube alike; see what became of each log",
    )


def region_finding(kind: str, reason: str, seconds: float, logs: int) -> Finding:
    """Return what was driven and not used."""
    place = "one log" if logs == 1 else f"{logs} logs"
    return Finding(
        code="region_not_used",
        severity=Severity.INFO,
        message=f"{kind}: {seconds:.0f} s in {place} not used: {reason}",
        fix="nothing to mend, unless breakpoints of that region matter",
    )
