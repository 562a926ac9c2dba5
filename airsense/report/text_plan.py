"""The plan as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

if TYPE_CHECKING:
    from rich.console import Console

    from airsense.jobs.plan import PlanResult


def render(result: PlanResult, console: Console, units: str | None) -> None:
    """Print the answer, what more runs give, the order, the budget and what to add.

    All figures are fractions or counts, so `units` changes nothing.
    """
    console.print(f"[bold]{escape(result.sentence)}[/bold]", soft_wrap=True)
    console.print(_by_runs(result))
    console.print(_by_quantity(result))
    console.print("\n[bold]Order of the runs[/bold] (A before, B after)")
    for order in result.run_orders:
        console.print(
            f"  {order.name}: {order.order}; a steady drift leaves {order.drift_left:+.2g} "
            "times its size per run",
            soft_wrap=True,
        )
    console.print(_budget(result))
    if result.next_measurement:
        console.print(_next(result))
    for assumption in result.assumptions:
        console.print(
            f"assumed: {escape(assumption.quantity)}: {escape(assumption.value)} "
            f"({escape(assumption.source)})",
            soft_wrap=True,
        )
    for caution in result.cautions:
        console.print(f"caution: {escape(caution)}", soft_wrap=True)


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    table.add_column(columns[0], overflow="fold")
    for column in columns[1:]:
        table.add_column(column, justify="right", overflow="fold")
    return table


def _by_runs(result: PlanResult) -> Table:
    table = _table(
        "\nBy runs of each configuration",
        "runs",
        "+- alternating",
        "detectable",
        "+- one after the other",
        "detectable",
    )
    for row in result.by_runs:
        table.add_row(
            str(row.runs_per_configuration),
            _percent(row.half_width),
            _percent(row.detectable_change),
            _percent(row.half_width_one_after_the_other),
            _percent(row.detectable_change_one_after_the_other),
        )
    return table


def _by_quantity(result: PlanResult) -> Table:
    table = _table(
        f"\nWith {result.planned_runs} runs of each, alternating",
        "quantity",
        "+-",
        "detectable",
        "runs for the wanted change",
    )
    for row in result.by_quantity:
        table.add_row(
            row.quantity.value,
            _percent(row.half_width),
            _percent(row.detectable_change),
            _runs(row.runs_per_configuration),
        )
    return table


def _budget(result: PlanResult) -> Table:
    table = _table("\nWhat the interval is made of", "part", "u (k = 1)", "share", "averages")
    for part in result.budget:
        table.add_row(
            escape(part.label),
            _percent(part.u),
            f"{part.share:.0%}",
            "yes" if part.averages_over_runs else "no",
        )
    return table


def _next(result: PlanResult) -> Table:
    table = _table(
        "\nWhat to measure besides, most telling first",
        "measurement",
        "takes away",
        "+- then",
        "runs then",
        "because",
    )
    table.columns[-1].justify = "left"
    for item in result.next_measurement:
        table.add_row(
            escape(item.measurement),
            f"{item.reduction:.0%}",
            _percent(item.half_width),
            _runs(item.runs_per_configuration),
            escape(item.reason),
        )
    return table


def _runs(number: int | None) -> str:
    return "out of reach" if number is None else str(number)


def _percent(value: float) -> str:
    return f"{100.0 * value:.2f} %"
