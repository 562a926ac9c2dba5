"""The plan as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.padding import Padding

from airsense.report.headline import headlines
from airsense.report.node import Node, node_of
from airsense.report.text_parts import plain_table, print_cautions, print_headline
from airsense.report.words import number, percent

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from airsense.jobs.plan import PlanResult

_DIGITS = 2


def render(result: PlanResult | Node, console: Console, units: str | None) -> None:
    """Print the answer, what more runs give, the order, the budget and what to add.

    All figures are fractions or counts, so `units` changes nothing.
    """
    node = node_of(result)
    for headline in headlines(node):
        print_headline(headline, console)
    console.print("\n[bold]By runs of each configuration[/bold] (95 % half-width, detectable)")
    console.print(_by_runs(node))
    console.print(f"[bold]With {node.planned_runs} runs of each, alternating[/bold]")
    console.print(_by_quantity(node))
    console.print("[bold]Order of the runs[/bold] (A before, B after)")
    for order in node.run_orders:
        line = (
            f"{order.name}: {order.order}; a steady drift leaves {number(order.drift_left, 2)} "
            "times its size per run"
        )
        console.print(Padding(escape(line), (0, 0, 0, 2), expand=False))
    console.print("[bold]What the interval is made of[/bold]")
    console.print(_budget(node))
    if node.next_measurement:
        console.print("[bold]What to measure besides[/bold], most telling first")
        console.print(_next(node))
    for item in node.assumptions:
        console.print(escape(f"assumed: {item.quantity}: {item.value} ({item.source})"))
    print_cautions(node.cautions, console)


def _by_runs(node: Node) -> Table:
    titles = ("runs", "ABBA", "detects", "one after the other", "detects then")
    table = plain_table(*titles, right=titles)
    for row in node.by_runs:
        table.add_row(
            str(row.runs_per_configuration),
            _percent(row.half_width),
            _percent(row.detectable_change),
            _percent(row.half_width_one_after_the_other),
            _percent(row.detectable_change_one_after_the_other),
        )
    return table


def _by_quantity(node: Node) -> Table:
    titles = ("half-width", "detects", "runs needed")
    table = plain_table("quantity", *titles, right=titles)
    for row in node.by_quantity:
        table.add_row(
            row.quantity.replace("_", " "),
            _percent(row.half_width),
            _percent(row.detectable_change),
            _runs(row.runs_per_configuration),
        )
    return table


def _budget(node: Node) -> Table:
    titles = ("u (k = 1)", "share")
    table = plain_table("part", *titles, "averages", right=titles)
    for part in node.budget:
        table.add_row(
            escape(part.label),
            _percent(part.u),
            percent(part.share, 0, sign=False),
            "yes" if part.averages_over_runs else "no",
        )
    return table


def _next(node: Node) -> Table:
    titles = ("takes away", "half-width then", "runs then")
    table = plain_table("measurement", *titles, "because", right=titles)
    for item in node.next_measurement:
        table.add_row(
            escape(item.measurement),
            percent(item.reduction, 0, sign=False),
            _percent(item.half_width),
            _runs(item.runs_per_configuration),
            escape(item.reason),
        )
    return table


def _runs(number_of_runs: int | None) -> str:
    return "out of reach" if number_of_runs is None else str(number_of_runs)


def _percent(value: float) -> str:
    return percent(value, _DIGITS, sign=False)
