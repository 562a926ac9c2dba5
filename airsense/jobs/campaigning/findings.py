"""What a campaign's layout says beside its numbers: order, drift, bores, joint coverage."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.evidence.run_order import OrderDrift
from airsense.jobs.campaigning.layout import Layout, Pairing
from airsense.jobs.comparison.given import TUNE
from airsense.jobs.comparison.result import PairResult
from airsense.jobs.comparison.sentences import percent, range_text
from airsense.physics.duct import area_reading_factor
from airsense.results import Assumption, Finding, Interval, Severity

# Bores to 0.1 mm each and the range of flow profiles leave this of an area ratio: our choice.
U95_AREA = 0.01
# A drift from run to run is told where it is this often its standard uncertainty.
SEEN_K = 2.5


def order_findings(layout: Layout) -> tuple[Finding, ...]:
    """Return what the order of the runs can and cannot tell."""
    if layout.laid is None:
        return (_no_order(),)
    confounded = [p for p in layout.pairings if untold(layout, p)]
    drifts = [d for p in layout.pairings if (d := layout.drift(p)) is not None]
    findings = [_untold(confounded)] if confounded else []
    seen = [d for d in drifts if abs(d.slope) > SEEN_K * d.u_slope]
    return (*findings, _drift(seen[0])) if seen else tuple(findings)


def untold(layout: Layout, pairing: Pairing) -> bool:
    """Return whether an order was declared that cannot tell drift from the configuration."""
    return layout.laid is not None and not layout.told(pairing)


def _no_order() -> Finding:
    return Finding(
        code="run_order_unknown",
        severity=Severity.INFO,
        message="the order of the runs is not declared, so drift and heat soak cannot be told "
        "from the intake",
        fix="add order to every [[run]]; best run baseline, other, baseline (ABA)",
        where="campaign file",
    )


def _untold(pairings: Sequence[Pairing]) -> Finding:
    return Finding(
        code="drift_not_separable",
        severity=Severity.WARNING,
        message="the order of the runs cannot tell drift or heat soak from the change in "
        f"{_names(pairings)}: the intake's part is the wider for it, and nothing is priced on it",
        fix="run the baseline again after the other intake (ABA), or alternate them",
        where="campaign file, order",
    )


def _names(pairings: Sequence[Pairing]) -> str:
    return "; ".join(
        f"{p.after.name} against {p.before.name}"
        if p.question == TUNE
        else f"{p.after.intake} against {p.before.intake}"
        + (f" at {p.after.tune}" if p.after.tune else "")
        for p in pairings
    )


def _drift(drift: OrderDrift) -> Finding:
    return Finding(
        code="run_order_drift",
        severity=Severity.INFO,
        message=f"the air flow moves by {percent(drift.slope)} from pull to pull of one "
        "configuration; what that may have given is taken from the intake's part, the changes as "
        "measured stay as they are",
        fix="nothing to mend; let the engine and the charge cooler soak before each run",
        where="campaign file, order",
    )


def bore_findings(layout: Layout, pairs: Sequence[PairResult]) -> tuple[Finding, ...]:
    """Return, for each pair with declared bores, whether the area ratio explains the skew."""
    found = []
    for pair in pairs:
        old = layout.campaign.declared(pair.baseline).bore_mm
        new = layout.campaign.declared(pair.intake).bore_mm
        skew = pair.sensor_skew
        if old is not None and new is not None and skew is not None:
            found.append(_bore(pair, skew, old, new))
    return tuple(found)


def _bore(pair: PairResult, skew: Interval, old_mm: float, new_mm: float) -> Finding:
    by_area = float(area_reading_factor(old_mm * 1e-3, new_mm * 1e-3)) - 1.0
    agrees = skew.low - U95_AREA <= by_area <= skew.high + U95_AREA
    return Finding(
        code="bore_explains_skew" if agrees else "bore_contradicts_skew",
        severity=Severity.INFO if agrees else Severity.WARNING,
        message=f"{pair.intake} against {pair.baseline}: the bores, {old_mm:g} and {new_mm:g} mm, "
        f"alone would change the reading by {percent(by_area)}; the skew found is "
        f"{range_text(skew)}, which " + ("agrees" if agrees else "does not agree"),
        fix="nothing to mend"
        if agrees
        else "measure the bores at the sensor again, and look for a bend or a step ahead of it",
        where="campaign file, bore_mm",
    )


def family(layout: Layout) -> tuple[Assumption, ...]:
    """Return how the intervals of several pairs hold together."""
    count = len(layout.pairings)
    if count == 1:
        return ()
    return (
        Assumption(
            quantity="coverage of the intervals",
            value="95 % each",
            source=f"{count} pairs are looked at; that all of their intervals hold together is "
            "less sure than that one does",
        ),
    )
