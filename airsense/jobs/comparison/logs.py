"""What became of each log of a comparison, and the prior table as it is shown."""

from __future__ import annotations

from collections.abc import Sequence

from airsense.estimates.run import Run
from airsense.evidence.priors import Prior, PriorTable
from airsense.jobs.comparison.circumstances import weather_use
from airsense.jobs.comparison.result import PairResult, PriorRow
from airsense.jobs.comparison.sentences import range_text
from airsense.jobs.log_use import LogUse, SegmentUse
from airsense.jobs.observe import Observations
from airsense.results import Finding, Severity

NO_MATCH, PARTLY_USED = "no_match", "nothing_under_load"


def log_uses(
    seen: Observations, roles: Sequence[str], odd: Sequence[str] = (), aside: Sequence[int] = ()
) -> tuple[LogUse, ...]:
    """Return one row a log; `odd` holds the reason of each log that stands out, else ""; the
    answer goes without those of `aside`.
    """
    rows = []
    for k, (run, found) in enumerate(zip(seen.runs, seen.cuts, strict=True)):
        # Idle and a still engine are evidence too.
        at_rest = k in seen.cells.run or k in seen.rest.run
        strange = odd[k] if odd else ""
        reason = strange if k in aside else seen.no_match.get(k, "")
        rows.append(
            LogUse(
                path=run.log.path,
                role=roles[k],
                used=k not in aside and (at_rest or not reason),
                reason=reason,
                segments=tuple(
                    SegmentUse(
                        kind=s.kind.word,
                        start_s=s.start_s,
                        stop_s=s.stop_s,
                        used=s.used,
                        reason=s.reason,
                    )
                    for s in found.segments
                ),
                weather=weather_use(run),
                odd=bool(strange),
                odd_reason=strange,
            )
        )
    return tuple(rows)


def match_findings(seen: Observations, roles: Sequence[str]) -> tuple[Finding, ...]:
    """Return which logs lack what a comparison needs; `no_match` where a side has nothing left."""
    left = {r for k, r in enumerate(roles) if k not in seen.no_match}
    return tuple(
        Finding(
            code=PARTLY_USED if roles[k] in left else NO_MATCH,
            severity=Severity.INFO if roles[k] in left else Severity.ERROR,
            message=f"nothing of this log under load can be compared: {why}",
            fix="log full-load pulls or steady holds, or a drive with more steady stretches under "
            "load",
            where=seen.runs[k].log.path,
        )
        for k, why in seen.no_match.items()
    )


def prior_rows(table: PriorTable) -> tuple[PriorRow, ...]:
    """Return the prior table that was used."""
    return tuple(_row(p) for p in table.rows())


def _row(prior: Prior) -> PriorRow:
    tail = (
        f"; {100.0 * prior.heavy_share:.0f} % of it {prior.heavy_size:g}"
        if prior.heavy_share
        else ""
    )
    return PriorRow(
        cause=prior.cause.value,
        probability=prior.probability,
        size=prior.size,
        unit=prior.unit,
        source=f"{prior.source}: {prior.reason}{tail}",
    )


def odd_findings(
    pairs: Sequence[PairResult],
    others: Sequence[PairResult],
    odd: Sequence[str],
    runs: Sequence[Run],
    aside: Sequence[int],
) -> tuple[Finding, ...]:
    """Return which logs stand out, and the `others`: the answers with them, if they were left
    out, else without them.
    """
    left = "it is left out, and the answer with it is given beside"
    found = [
        Finding(
            code="odd_log",
            severity=Severity.WARNING,
            message=f"this log stands out: {reason}",
            fix="look at the run again; "
            + (left if k in aside else "the answer without it is given beside"),
            where=run.log.path,
        )
        for k, (run, reason) in enumerate(zip(runs, odd, strict=True))
        if reason
    ]
    found += [_beside(p, o, bool(aside)) for p, o in zip(pairs, others, strict=False)]
    return tuple(found)


def _beside(pair: PairResult, other: PairResult, with_them: bool) -> Finding:
    parts = [
        f"{name} {range_text(own)} instead of {range_text(old)}"
        for name, own, old in (
            ("the intake's part", other.airflow_change_intake, pair.airflow_change_intake),
            ("the surplus of the reading", other.indicated_surplus, pair.indicated_surplus),
        )
        if own is not None and old is not None
    ]
    verdict = other.verdict.value.replace("_", " ")
    word = "with" if with_them else "without"
    return Finding(
        code=f"{word}_odd_logs",
        severity=Severity.INFO,
        message=f"{pair.intake} against {pair.baseline} {word} the logs that stand out: "
        f"{verdict}" + ("; " + "; ".join(parts) if parts else ""),
        fix="run again what stands out, where you cannot tell why",
    )
