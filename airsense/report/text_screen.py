"""The screen of a folder as text: counts, the most suspicious logs, vehicles that drift."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import (
    plain_table,
    print_cautions,
    print_findings,
    print_headline,
)
from airsense.report.words import NOTHING, cause, log_outcome, number, percent_range

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.jobs.screen_result import ScreenResult

MOST_LOGS = 20


def render(result: ScreenResult | Node, console: Console, units: str | None) -> None:
    """Print counts, the most suspicious logs, refused logs and vehicles that drift.

    Everything is a ratio, so `units` changes nothing.
    """
    node = node_of(result)
    for headline in headlines(node):
        print_headline(headline, console)
    console.print("; ".join(f"{c.logs} {log_outcome(c.outcome)}" for c in node.counts if c.logs))
    console.print("")
    answered = tuple(row for row in node.logs if row.sensor_error is not None)
    if answered:
        _print_logs(answered, console)
    _print_problems(tuple(row for row in node.logs if row.problem is not None), console)
    for vehicle in node.vehicles:
        if vehicle.sentence:
            console.print(escape(f"{vehicle.vehicle or 'no vehicle named'}: {vehicle.sentence}"))
    print_findings(node.findings, console)
    print_cautions(node.cautions, console)


def _print_logs(rows: tuple[Node, ...], console: Console) -> None:
    table = plain_table(
        "log", "outcome", "sensor error", "suspicion", "leading cause",
        right=("sensor error", "suspicion"),
    )  # fmt: skip
    for row in rows[:MOST_LOGS]:
        table.add_row(
            escape(row.log),
            log_outcome(row.outcome),
            percent_range(row.sensor_error),
            number(row.suspicion, 2),
            cause(row.leading_cause) if row.leading_cause else NOTHING,
        )
    console.print(table)
    if len(rows) > MOST_LOGS:
        console.print(f"and {len(rows) - MOST_LOGS} more: see --json or --report")


def _print_problems(rows: tuple[Node, ...], console: Console) -> None:
    for row in rows[:MOST_LOGS]:
        problem = row.problem
        said = f"{problem.what} (got {problem.got}); {problem.fix}"
        console.print(escape(f"{row.log}: {log_outcome(row.outcome)}: {said}"))
    if len(rows) > MOST_LOGS:
        console.print(f"and {len(rows) - MOST_LOGS} more without an answer")
