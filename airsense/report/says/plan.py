"""What a plan says."""

from __future__ import annotations

from collections.abc import Iterable

from airsense.report.blocks import Block, Table, table
from airsense.report.node import Node
from airsense.report.says.shared import answered, as_sentence, laid_out
from airsense.report.tables import budget_table
from airsense.report.units_shown import Shown
from airsense.report.words import number, percent, quantity_name


def blocks(result: Node, shown: Shown) -> tuple[Block, ...]:
    """Return runs, order, and what repeats and other measurements buy."""
    runs = result.runs_per_configuration
    budget, steps = result.budget or (), result.next_measurement or ()
    resolved = percent(result.detectable_change, 2, sign=False)
    answer = answered(
        "How should the test be run?",
        result.sentence,
        keys=(
            ("runs of each configuration", "out of reach" if runs is None else str(runs), ""),
            (
                "smallest change that they show",
                resolved,
                f"95 % half-width {percent(result.half_width, 2, sign=False)}",
            ),
        ),
        but=f"The largest part of the uncertainty is {budget[0].label}." if budget else "",
        measure_next=as_sentence(f"{steps[0].measurement}: {steps[0].reason}") if steps else "",
    )
    of_method = (budget_table(budget, of="the planned change"),)
    return laid_out(result, shown, answer, _tables(result), of_method=of_method)


def _tables(result: Node) -> tuple[Table, ...]:
    """Return what runs, order and further measurements buy."""
    return (
        _runs_table(result.by_runs or ()),
        table(
            "Order of the runs",
            ("order", "runs", "left of a steady drift"),
            ((o.name, o.order, number(o.drift_left, 2)) for o in result.run_orders or ()),
            numbers=("left of a steady drift",),
            note="In units of the drift from one run to the next. A and B are the configurations.",
        ),
        table(
            "What another measurement buys",
            ("measurement", "cost", "why", "detectable change", "half-width", "runs needed"),
            (
                (
                    m.measurement,
                    m.cost,
                    m.reason,
                    percent(m.detectable_change, 2, sign=False),
                    percent(m.half_width, 2, sign=False),
                    "–" if m.runs_per_configuration is None else str(m.runs_per_configuration),
                )
                for m in result.next_measurement or ()
            ),
            numbers=("detectable change", "half-width", "runs needed"),
        ),
        table(
            "The same runs for other quantities",
            ("quantity", "half-width"),
            (
                (quantity_name(q.quantity), percent(q.half_width, 2, sign=False))
                for q in result.by_quantity or ()
            ),
            numbers=("half-width",),
        ),
    )


def _runs_table(rows: Iterable[Node]) -> Table:
    columns = (
        "runs of each",
        "detectable change",
        "half-width",
    )
    return table(
        "What repeats buy",
        columns,
        (
            (
                str(r.runs_per_configuration),
                percent(r.detectable_change, 2, sign=False),
                percent(r.half_width, 2, sign=False),
            )
            for r in rows
        ),
        numbers=columns,
    )
