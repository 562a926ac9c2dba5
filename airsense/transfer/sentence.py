"""The answer in a sentence or two."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.results import Interval
from airsense.setup.engine import Intake
from airsense.transfer.cells import Cell, Support
from airsense.transfer.decision import Decision, Doubt, Model
from airsense.transfer.tube import bore_sentence, equivalent_bore

# A factor that is known to this, about 1, needs no further pass: the margin of a comparison.
CONVERGED = 0.01


def bore_of(scale: Interval, bore_before_m: float | None) -> Interval | None:
    """Return the bore that would make the sensor read off by the mean correction. [m]"""
    return None if bore_before_m is None else equivalent_bore(bore_before_m, skew_of(scale))


def skew_of(scale: Interval) -> Interval:
    """Return indicated over true, less 1, from the correction."""
    return Interval(1.0 / scale.value - 1.0, 1.0 / scale.high - 1.0, 1.0 / scale.low - 1.0)


def sentence(
    decision: Decision,
    model: Model,
    scale: Interval,
    cells: Sequence[Cell],
    bore: Interval | None,
    found: Sequence[Doubt],
    intake: Intake,
) -> str:
    """Return what to do with the table, and why."""
    factor = f"{scale.value:.3f} ({scale.low:.3f} to {scale.high:.3f})"
    if decision is Decision.REFUSED:
        named = " or ".join(d.name for d in found if d.refuses)
        return (
            f"Refused: {named or 'air lost behind the sensor'} may be what the logs show, and no "
            "table mends that; see the findings. Mend it first and log again, or add "
            "--force-cause if it was checked. The table stays as it is."
        )
    if decision is Decision.LEAVE_IT:
        close = abs(scale.low - 1.0) < CONVERGED and abs(scale.high - 1.0) < CONVERGED
        why = (
            "If these logs were taken with this table in force, it has converged."
            if close
            else "That it should change is not shown by these logs: more runs would settle it. "
            "If they were taken with this table in force, it has converged within that range."
        )
        return f"Leave it: the logs ask for a factor of {factor} on the flows. {why}"
    if model is Model.SCALE:
        text = (
            f"One factor fits: multiply the flows by {factor}; the sensor reads "
            f"{100.0 * skew_of(scale).value:+.1f} %."
        )
    else:
        known = [c for c in cells if c.support is not Support.HELD] or list(cells)
        low = 100.0 * (min(c.correction for c in known) - 1.0)
        high = 100.0 * (max(c.correction for c in known) - 1.0)
        text = (
            f"The correction changes with flow: from {low:+.1f} % to {high:+.1f} %, on average a "
            f"factor of {factor}."
        )
    return text + _bore_words(scale, bore, intake)


def _bore_words(scale: Interval, bore: Interval | None, intake: Intake) -> str:
    if bore is None or intake.bore_before_m is None:
        return ""
    text = " " + bore_sentence(intake.bore_before_m, skew_of(scale), bore)
    if intake.bore_after_m is not None:
        agree = "agrees" if bore.contains(intake.bore_after_m) else "does not agree"
        text += f" The declared {intake.bore_after_m * 1e3:.1f} mm {agree}."
    return text
