"""What a campaign's layout says beside its numbers: order, drift, bores, joint coverage."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.evidence.comparison import PairResult
from airsense.evidence.run_order import MAX_INFLATION
from airsense.evidence.verdict import percent, range_text
from airsense.jobs.campaign_layout import Layout, Pairing
from airsense.physics.duct import area_reading_factor
from airsense.results import Assumption, Finding, Severity

# Bores to 0.1 mm each and the range of flow profiles leave this of an area ratio: our choice.
U95_AREA = 0.01


def order_findings(layout: Layout) -> tuple[Finding, ...]:
    """Return what the order of the runs can and cannot tell."""
    if layout.order is None:
        return (_no_order(),)
    designs = {pairing: layout.design(pairing) for pairing in layout.pairings}
    untold = [p for p, d in designs.items() if not d.adjusted]
    costly = [p for p, d in designs.items() if d.adjusted and d.inflation > MAX_INFLATION]
    findings = [_untold(untold)] if untold else []
    findings += [_costly(costly)] if costly else []
    findings += [_drift(layout)] if layout.drifts else []
    return tuple(findings)


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
        message="the order of the runs cannot tell drift or heat soak from the intake in "
        f"{_names(pairings)}: what drifted meanwhile counts as a change there",
        fix="run the baseline again after the other intake (ABA), or alternate them",
        where="campaign file, order",
    )


def _costly(pairings: Sequence[Pairing]) -> Finding:
    return Finding(
        code="drift_widens_intervals",
        severity=Severity.WARNING,
        message=f"a drift is seen, and the order of the runs hardly tells it from the intake in "
        f"{_names(pairings)}: the intervals there are wide for it",
        fix="run the baseline again after the other intake (ABA), or alternate them",
        where="campaign file, order",
    )


def _names(pairings: Sequence[Pairing]) -> str:
    return "; ".join(
        f"{p.after.intake} against {p.before.intake}"
        + (f" at {p.after.tune}" if p.after.tune else "")
        for p in pairings
    )


def _drift(layout: Layout) -> Finding:
    assert layout.drift is not None
    return Finding(
        code="run_order_drift",
        severity=Severity.INFO,
        message=f"the indicated air flow drifts by {range_text(layout.drift)} a run; "
        "the changes are freed of it",
        fix="nothing to mend; let the engine and the charge cooler soak before each run",
        where="campaign file, order",
    )


def bore_findings(layout: Layout, pairs: Sequence[PairResult]) -> tuple[Finding, ...]:
    """Return, for each pair with declared bores, whether the area ratio explains the skew."""
    found = []
    for pair in pairs:
        old = layout.campaign.declared(pair.baseline).bore_mm
        new = layout.campaign.declared(pair.intake).bore_mm
        if old is not None and new is not None:
            found.append(_bore(pair, old, new))
    return tuple(found)


def _bore(pair: PairResult, old_mm: float, new_mm: float) -> Finding:
    by_area = float(area_reading_factor(old_mm * 1e-3, new_mm * 1e-3)) - 1.0
    skew = pair.sensor_skew
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
            value=f"{100.0 * layout.coverage:.2f} % each",
            source=f"{count} pairs are looked at, and all of their intervals hold together at "
            "95 % (Sidak)",
        ),
    )
