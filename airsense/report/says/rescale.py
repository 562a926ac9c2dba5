"""What a new transfer table says."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.blocks import ONE_SCREEN, Block, Heading, Sentence, Table, filled, table
from airsense.report.figures import pictures_of
from airsense.report.figures.rescale import less_one
from airsense.report.node import Node
from airsense.report.says.shared import (
    SEVERITIES,
    about_logs,
    as_sentence,
    cautions,
    inputs,
    logs_used,
    method,
    next_measurement,
    part,
    unrecognised,
)
from airsense.report.tables import causes_table, findings_table, interval_text, quantity
from airsense.report.units_shown import Shown
from airsense.report.words import number, percent, percent_range, say, tone
from airsense.results import Interval

# Findings on the first screen, errors first; the others stand in the full answer.
MOST_FINDINGS = 3
QUESTION = "What should the transfer table be now?"


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return what a new table says, most important first."""
    found: list[Block] = [part(QUESTION, "answer")]
    found += _first_screen(result, shown)
    found += cautions(result)
    found.append(part("Evidence", "evidence"))
    found += pictures_of(result, shown.system)
    found.append(_whole(result, shown))
    found.append(_residuals(result))
    if result.equivalent_bore_m is not None:
        found.append(_bores(result, shown))
    found.append(
        table(
            "Routes to the true flow",
            ("route", "used", "why"),
            ((say(r.method), "yes" if r.used else "no", r.reason) for r in result.routes),
        )
    )
    found.append(causes_table(result.causes))
    found += about_logs(result.logs)
    found += method(result)
    found += inputs(result)
    return filled(found)


def _first_screen(result: Node, shown: Shown) -> Iterable[Block]:
    yield Heading(text=result.engine, badge=say(result.decision), tone=tone(result.decision))
    yield Sentence(text=result.sentence)
    rows = findings_table(result.findings).rows
    told = [row for s in SEVERITIES for row in rows if row[0] == s]
    for severity, message, _, fix in told[:MOST_FINDINGS]:
        yield Sentence(
            lead=f"{severity.capitalize()}:", text=f"{as_sentence(message)} To do: {fix}."
        )
    measured = [c for c in result.cells if c.support == "measured"]
    yield _measured(measured, result.signal_unit, shown)
    yield Sentence(
        lead="Runs:",
        text=f"{result.runs} with the present tube, {result.baseline_runs} of the baseline; "
        f"{len(measured)} of {len(result.cells)} breakpoints measured.",
    )
    yield from logs_used(result.logs)
    yield from unrecognised(result.findings)
    if result.next_measurement is not None and result.decision != "change":
        yield from next_measurement([result.next_measurement])


def _measured(cells: list[Node], signal_unit: str, shown: Shown) -> Table:
    """Return what becomes of the breakpoints that were measured, for one screen."""
    columns = _columns(signal_unit, shown)
    return table(
        "Breakpoints that were measured",
        columns,
        (_cell(c, shown) for c in cells),
        numbers=columns,
        level=ONE_SCREEN,
    )


def _whole(result: Node, shown: Shown) -> Table:
    """Return every breakpoint, with what its correction rests on."""
    numbers = (*_columns(result.signal_unit, shown), "samples", "runs")
    return table(
        "The whole table",
        (*numbers, "support"),
        ((*_cell(c, shown), str(c.samples), str(c.runs), c.support) for c in result.cells),
        numbers=numbers,
    )


def _columns(signal_unit: str, shown: Shown) -> tuple[str, ...]:
    unit = shown.unit("kg/s")
    return (f"signal, {signal_unit}", f"old, {unit}", f"new, {unit}", "correction", "95 % range")


def _cell(c: Node, shown: Shown) -> tuple[str, ...]:
    known = c.low is not None
    return (
        number(c.signal, 5),
        number(shown.number(c.flow_old, "kg/s"), 4),
        number(shown.number(c.flow_new, "kg/s"), 4),
        percent(c.correction - 1.0),
        percent_range(less_one(Interval(c.correction, c.low, c.high))) if known else "",
    )


def _residuals(result: Node) -> Table:
    rows = (("old", result.residual_before), ("new", result.residual_after))
    return table(
        "Disagreement with the true flow",
        ("table", "root mean square"),
        ((name, percent(value, 2, sign=False)) for name, value in rows if value is not None),
        numbers=("root mean square",),
    )


def _bores(result: Node, shown: Shown) -> Table:
    rows = [
        (
            "bore that would explain the correction",
            interval_text(result.equivalent_bore_m, "m", shown),
        )
    ]
    if result.bore_after_m is not None:
        rows.append(("bore declared", quantity(result.bore_after_m, "m", shown)))
    return table("Bores", ("what", "value"), rows, numbers=("value",))
