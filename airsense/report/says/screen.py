"""What a screened folder says."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.blocks import Block, Table, table
from airsense.report.node import Node
from airsense.report.says.shared import answered, caveat_of, laid_out
from airsense.report.units_shown import Shown
from airsense.report.words import (
    NOTHING,
    cause,
    log_outcome,
    number,
    percent,
    percent_interval,
    percent_range,
    probability,
    say,
)

# More rows than a reader scrolls through; the embedded result holds all of them.
MOST_ROWS = 400


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return the logs, most suspicious first, those without an answer, and the vehicles."""
    without = sum(c.logs for c in result.counts if c.outcome in ("refused", "failed"))
    drifting = [v.sentence for v in result.vehicles if v.drift == "drifts"]
    usual = (
        "Logs without an answer are no good logs: see what is wrong with them."
        if without
        else "One log alone is seldom proof: look at the next one too."
    )
    answer = answered(
        "Which logs of the folder need a look?",
        " ".join((result.sentence, *drifting[:1])),
        keys=((log_outcome(c.outcome), str(c.logs), "logs") for c in result.counts if c.logs),
        but=caveat_of(result.findings) or usual,
        measure_next="Look at the first log of the list, by airsense check.",
    )
    tables = (
        _logs_table([row for row in result.logs if row.sensor_error is not None]),
        _vehicles_table(result.vehicles),
        _problems_table([row for row in result.logs if row.problem is not None]),
    )
    return laid_out(result, shown, answer, tables)


def _logs_table(rows: list[Node]) -> Table:
    numbers = ("sensor error", "95 % interval", "suspicion", "probability")
    more = "" if len(rows) <= MOST_ROWS else " The saved result holds the other logs."
    return table(
        "Logs, most suspicious first",
        ("log", "vehicle", "outcome", *numbers, "leading cause", "started"),
        (
            (
                r.log,
                r.vehicle or "",
                log_outcome(r.outcome),
                percent(r.sensor_error.value),
                percent_range(r.sensor_error),
                number(r.suspicion, 2),
                probability(r.cause_probability) if _blamed(r) else NOTHING,
                cause(r.leading_cause) if _blamed(r) else NOTHING,
                r.started or "",
            )
            for r in rows[:MOST_ROWS]
        ),
        numbers=numbers,
        note="Suspicion: how far zero lies outside of the interval; above 1 the 95 % interval "
        "excludes zero." + more,
    )


def _blamed(row: Node) -> bool:
    return row.leading_cause not in (None, "none")


def _vehicles_table(rows: Iterable[Node]) -> Table:
    numbers = ("logs", "dated", "change", "days")
    return table(
        "Vehicles: does the reading drift?",
        ("vehicle", "drift", *numbers, "against", "why"),
        (
            (
                r.vehicle or "",
                say(r.drift),
                str(r.logs),
                str(r.dated),
                percent_interval(r.change),
                number(r.days),
                say(r.method) if r.method else NOTHING,
                r.sentence,
            )
            for r in rows
        ),
        numbers=numbers,
    )


def _problems_table(rows: list[Node]) -> Table:
    return table(
        "Logs without an answer",
        ("log", "outcome", "what is wrong", "where", "found", "allowed", "what to do"),
        (
            (
                r.log,
                log_outcome(r.outcome),
                r.problem.what,
                r.problem.where,
                r.problem.got,
                r.problem.allowed,
                r.problem.fix,
            )
            for r in rows[:MOST_ROWS]
        ),
    )
