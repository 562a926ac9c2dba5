"""What a person must know about a new table, in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airsense.results import Finding, Interval, Severity
from airsense.transfer.cells import Cell, Support
from airsense.transfer.cure import CauseTest, CovariateTest, RouteGap

REFUSING = frozenset(
    {
        "leak_after_compressor",
        "routes_disagree",
        "manifold_pressure_suspected",
        "recirculation_in_reference",
    }
)

_CAUSE_WORDS = {
    "leak_after_compressor": (
        "a leak between compressor and engine",
        "the reading exceeds the engine's air by {size} at full boost, and by less below",
        "pressure-test the charge pipes, cooler and clamps, mend them, and log again",
    ),
    "pulsation": (
        "pulsation at low speed",
        "at the lowest speeds the reading is {size} too high for the same signal elsewhere",
        "leave the low-flow end of the table alone; damp the pulses or move the sensor away "
        "from the compressor or throttle",
    ),
}
_VARIABLE_WORDS = {
    "engine_speed": ("engine speed", 1.0, "1/min"),
    "manifold_pressure": ("manifold pressure", 1e-3, "kPa"),
}


def cause_finding(test: CauseTest, *, forced: bool) -> Finding | None:
    """Return the finding of a cause that is named, or that cannot be excluded."""
    if test.status == "excluded":
        return None
    name, effect, fix = _CAUSE_WORDS[test.cause]
    size = f"{100.0 * test.size.value:.1f} % ({_range(test.size.low, test.size.high)})"
    if test.status == "not_excluded":
        return Finding(
            code=f"{test.cause}_not_excluded",
            severity=Severity.WARNING if test.size.value > 0.01 else Severity.INFO,
            message=f"{name} cannot be told from a bend of the sensor's curve: odds "
            f"{test.odds:.2g} to 1, size {size}",
            fix="log part load too, so that the same signal occurs at several speeds and boosts",
        )
    refuse = test.cause in REFUSING
    told = "baked into the table as asked" if forced else "not baked into the table"
    return Finding(
        code=test.cause,
        severity=Severity.ERROR if refuse else Severity.WARNING,
        message=f"{name}: {effect.format(size=size)}; odds {test.odds:.2g} to 1 against a bend of "
        f"the sensor's curve; {told}",
        fix=fix,
    )


def covariate_finding(test: CovariateTest) -> Finding | None:
    """Return the finding that a one-dimensional table cannot mend the whole of it."""
    name, scale, unit = _VARIABLE_WORDS[test.variable]
    if not test.tested:
        return Finding(
            code=f"{test.variable}_not_tested",
            severity=Severity.INFO,
            message=f"each signal occurred at one {name} only: whether the reading depends on "
            f"{name} at the same signal is not tested",
            fix="add a drive over part load to the full-load sweeps",
        )
    if not test.depends:
        return None
    return Finding(
        code="not_a_table_alone",
        severity=Severity.WARNING,
        message=f"at the same signal the error changes with {name} by "
        f"{100.0 * abs(test.effect.value):.1f} % over the range logged, most at "
        f"{test.low * scale:.0f} to {test.high * scale:.0f} {unit} "
        f"({100.0 * test.excess:+.1f} %); a table over the signal alone cannot mend that part, "
        "and the correction given is the mean over what was logged",
        fix="look for pulsation, recirculation or a leak there before changing the table",
    )


def gap_finding(gap: RouteGap, suspect: str) -> Finding:
    """Return the finding that two routes contradict each other."""
    words = {
        "speed_density": (
            "manifold_pressure_suspected",
            "the manifold pressure (or charge temperature, or breathing) is the likelier fault: "
            "fuel x lambda and the air-flow sensor agree with each other",
            "compare manifold pressure with a barometer at standstill, check its hose and sensor",
        ),
        "fuel_lambda": (
            "fuel_or_lambda_suspected",
            "fuel quantity or lambda is the likelier fault: speed density and the air-flow "
            "sensor agree with each other",
            "check the lambda sensor in free air and the fuel scale",
        ),
        "": (
            "routes_disagree",
            "which of them is wrong, these logs cannot tell",
            "check manifold pressure against a barometer and lambda in free air, and log again",
        ),
    }
    code, story, fix = words[suspect]
    return Finding(
        code=code,
        severity=Severity.ERROR,
        message=f"{gap.first} and {gap.second} differ by {100.0 * gap.gap.value:+.1f} % "
        f"({_range(gap.gap.low, gap.gap.high)}), {abs(gap.z):.1f} standard uncertainties: "
        f"{gap.first} makes the sensor read {100.0 * gap.first_skew:+.1f} %, {gap.second} "
        f"{100.0 * gap.second_skew:+.1f} %; {story}",
        fix=fix,
    )


_ROUTE_FAULTS = {
    "speed_density": ("manifold pressure, charge temperature or breathing", "fuel and lambda"),
    "fuel_lambda": ("fuel quantity or lambda", "manifold pressure and charge temperature"),
}


def single_route_finding(method: str) -> Finding:
    """Return the warning that nothing checks the only route."""
    faults, other = _ROUTE_FAULTS[method]
    return Finding(
        code="single_route",
        severity=Severity.WARNING,
        message=f"{method} is the only route to the true flow: a fault of {faults} between "
        "baseline and now would look like one of the air-flow sensor",
        fix=f"log {other} too, or check those sensors first",
    )


def still_reading_finding(method: str, change_ln: float, scale: Interval) -> Finding:
    """Return the finding that the route moved while the reading stood still."""
    faults, other = _ROUTE_FAULTS[method]
    code = "manifold_pressure_suspected" if method == "speed_density" else "routes_disagree"
    return Finding(
        code=code,
        severity=Severity.ERROR,
        message=f"at the same speed the sensor reads as before ({100.0 * np.expm1(change_ln):+.1f} "
        f"%), and only {method} moved, by {100.0 * (scale.value - 1.0):+.1f} %: either {faults} is "
        "at fault, or a change of the air is cancelled by the sensor's error to the percent",
        fix=f"compare the manifold pressure with a barometer at standstill, log {other} too, or "
        "add --force-cause if those sensors were checked",
    )


def recirculation_finding() -> Finding:
    """Return the finding that the only route counts exhaust gas as air."""
    return Finding(
        code="recirculation_in_reference",
        severity=Severity.ERROR,
        message="exhaust gas recirculation is suspected in these logs, and speed density, the "
        "only route here, counts the gas as air: what looks like an error of the sensor may be an "
        "open valve",
        fix="test with the valve shut, log the recirculation rate, or add fuel and lambda",
    )


def table_findings(cells: Sequence[Cell], max_step: float) -> list[Finding]:
    """Return what the new table itself calls for: limited steps, held ends, order."""
    found = []
    limited = [c for c in cells if abs(np.log(c.wanted)) > np.log1p(max_step) * (1 + 1e-9)]
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
                message=f"{held} of {len(cells)} breakpoints lie outside the logged range; they "
                "carry the factor, not a measurement",
                fix="log the range that the engine uses, idle to full load",
            )
        )
    moved = [
        c
        for c in cells
        if c.flow_old > 0.0
        and abs(np.log(c.correction / c.wanted)) > 1e-4
        and abs(np.log(c.wanted)) <= np.log1p(max_step)
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


def baseline_finding(half_width: float) -> Finding:
    """Return the warning that the reference is only as good as an absolute value."""
    return Finding(
        code="no_baseline",
        severity=Severity.WARNING,
        message="no baseline logs: the true flow rests on absolute values (volumetric efficiency, "
        f"fuel scale, sensors), so that the correction is known to +-{100.0 * half_width:.1f} % "
        "only",
        fix="add --baseline with logs of the old tube and the trusted table",
    )


def _range(low: float, high: float) -> str:
    return f"{100.0 * low:+.1f} to {100.0 * high:+.1f} %"
